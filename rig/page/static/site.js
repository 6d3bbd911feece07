"use strict";
// A tap on a plan becomes a place in the room; everything else is the server's, and htmx's.
(() => {
  document.addEventListener("click", (event) => {
    const sheet = event.target.closest("[data-tap]");
    const svg = sheet && event.target.closest("svg");
    if (!svg || !svg.dataset.room) return;
    const form = document.getElementById(sheet.dataset.tap);
    if (!form) return;
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    const [a, b, c, d, e, f] = svg.dataset.room.split(" ").map(Number);
    const place = at.matrixTransform(new DOMMatrix([a, b, c, d, e, f]).inverse());
    form.elements.x.value = `${place.x.toFixed(0)}mm`;
    form.elements.y.value = `${place.y.toFixed(0)}mm`;
    mark(svg, at);
    form.dispatchEvent(new Event("tapped", { bubbles: true }));
  });

  document.addEventListener("input", (event) => {
    const shown = event.target.type === "range" && document.querySelector(`output[for="${event.target.id}"]`);
    if (shown) shown.textContent = event.target.value;
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
})();
