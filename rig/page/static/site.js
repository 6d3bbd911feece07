"use strict";
// A tap on a plan becomes a place in the room; everything else is the server's, and htmx's.
(() => {
  document.addEventListener("click", (event) => {
    const sheet = event.target.closest("[data-tap]");
    const svg = sheet && event.target.closest("svg");
    if (!svg || !svg.dataset.room) return;
    const form = document.getElementById(sheet.dataset.tap);
    if (!form) return;
    if (event.target.closest(".grip")) return;
    put(svg, form, event);
  });

  function put(svg, form, event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    const [a, b, c, d, e, f] = svg.dataset.room.split(" ").map(Number);
    const place = at.matrixTransform(new DOMMatrix([a, b, c, d, e, f]).inverse());
    form.elements.x.value = `${place.x.toFixed(0)}mm`;
    form.elements.y.value = `${place.y.toFixed(0)}mm`;
    mark(svg, at);
    form.dispatchEvent(new Event("tapped", { bubbles: true }));
  }

  // A marker is dragged by a grip as wide as a thumb; where it is let go the form moves it.
  const FAR_PX = 8;
  for (const svg of document.querySelectorAll("[data-drag] svg")) {
    const sheet = svg.closest("[data-drag]"), form = document.getElementById(sheet.dataset.tap);
    for (const group of svg.querySelectorAll(`[data-kind="${sheet.dataset.drag}"]`)) {
      const dot = group.querySelector("circle");
      if (!dot || !form) continue;
      const grip = document.createElementNS("http://www.w3.org/2000/svg", "circle");
      grip.setAttribute("class", "grip");
      grip.setAttribute("cx", dot.getAttribute("cx"));
      grip.setAttribute("cy", dot.getAttribute("cy"));
      grip.setAttribute("r", 5.5);
      let from = null, far = false;
      grip.addEventListener("pointerdown", (event) => {
        from = event;
        far = false;
        grip.setPointerCapture(event.pointerId);
        form.elements.label.value = group.dataset.name;
      });
      grip.addEventListener("pointermove", (event) => {
        if (!from) return;
        far = far || Math.hypot(event.clientX - from.clientX, event.clientY - from.clientY) > FAR_PX;
        if (far) put(svg, form, event);
      });
      grip.addEventListener("pointerup", (event) => {
        if (from && far) {
          put(svg, form, event);
          form.requestSubmit(form.querySelector("[value=move]"));
        }
        from = null;
      });
      grip.addEventListener("pointercancel", () => { from = null; });
      group.append(grip);
    }
  }

  document.addEventListener("input", (event) => {
    const shown = event.target.type === "range" && document.querySelector(`output[for="${event.target.id}"]`);
    const plain = { maximumFractionDigits: 4, useGrouping: false };
    if (shown) shown.textContent = Number(event.target.value).toLocaleString(document.documentElement.lang, plain);
  });

  function mark(svg, at) {
    for (const old of svg.querySelectorAll(".tapped")) old.remove();
    const ring = document.createElementNS("http://www.w3.org/2000/svg", "circle");
    ring.setAttribute("class", "tapped");
    ring.setAttribute("cx", at.x);
    ring.setAttribute("cy", at.y);
    ring.setAttribute("r", 2.4);
    svg.append(ring);
  }

  // Over an encrypted link the page installs as an app.
  const app = document.querySelector("link[rel=manifest]");
  if (app && navigator.serviceWorker) navigator.serviceWorker.register(new URL("worker.js", app.href));
})();
