"use strict";
// Practice: the finger is the walker. Dragging carries the rod, lifting the finger stands it.
window.rod = (() => {
  const EVERY_MS = 60;
  const TURNS = { in: [25.4 / 8, 25.4 / 32], mm: [4, 1] };
  const NAMES = { in: ["1/8", "1/32"], mm: ["4 mm", "1 mm"] };
  const svg = document.getElementById("plan"), box = document.getElementById("turning");
  let held = false, sent = 0, units = "", may = false, state = {};

  const owns = (now) => !!(now.job && now.job.practice && ["survey", "set"].includes(now.job.screen));

  function tell(what, spot) {
    const told = { say: "rod", do: what };
    if (spot) [told.x, told.y] = [Math.round(spot[0]), Math.round(spot[1])];
    window.floorPage.send(told);
  }

  function draw(x, y, standing) {
    const top = svg.querySelector("#top");
    if (!top) return;
    let glyph = top.querySelector(".hand");
    if (!glyph) {
      glyph = plan.make("g", { class: "hand" }, top);
      const u = plan.unit();
      plan.make("circle", { class: "rod", r: 2.6 * u, "stroke-width": 0.8 * u }, glyph);
      plan.make("path", { class: "measure", d: `M0 0V${-11 * u}M${-2.4 * u} ${-11 * u}h${4.8 * u}`, "stroke-width": 1.3 * u }, glyph);
    }
    glyph.setAttribute("transform", `translate(${x} ${-y})`);
    glyph.setAttribute("opacity", standing ? "1" : "0.6");
    svg.append(top);
  }

  svg.addEventListener("pointerdown", (event) => {
    if (!may) return;
    const spot = plan.at(svg, event);
    if (!spot) return;
    held = true;
    svg.setPointerCapture(event.pointerId);
    tell("carry", spot);
    draw(...spot, false);
    event.preventDefault();
  });
  svg.addEventListener("pointermove", (event) => {
    if (!held) return;
    const spot = plan.at(svg, event);
    draw(...spot, false);
    if (performance.now() - sent < EVERY_MS) return;
    sent = performance.now();
    tell("carry", spot);
  });
  for (const end of ["pointerup", "pointercancel"])
    svg.addEventListener(end, (event) => {
      if (!held) return;
      held = false;
      const spot = plan.at(svg, event);
      tell("stand", spot);
      draw(...spot, true);
    });

  function turning() {
    if (box.dataset.units === units) return;
    box.dataset.units = units;
    const made = [];
    for (const [word, sign] of [[(by) => say("Up {by}", { by }), 1], [(by) => say("Down {by}", { by }), -1]])
      TURNS[units].forEach((by, n) => {
        const button = document.createElement("button");
        button.type = "button";
        button.textContent = word(NAMES[units][n]);
        button.onclick = () => window.floorPage.send({ say: "rod", do: "turn", by: sign * by });
        made.push(button);
      });
    box.replaceChildren(...made);
  }

  function render(now, changed, me) {
    state = now;
    may = owns(now) && me.acts;
    svg.classList.toggle("held", may);
    units = now.job ? now.job.units : "in";
    box.hidden = !(may && now.job.screen === "set");
    if (!box.hidden) turning();
    const redrawn = ["hand", "plan", "here", "places"].some((section) => changed.has(section));
    if (redrawn && now.hand && !held) draw(now.hand.x, now.hand.y, now.hand.does === "stand");
  }

  // For whoever cannot drag: the rod goes to a place by its name.
  function walk(place) {
    tell("carry", [place.x, place.y]);
    setTimeout(() => tell("stand", [place.x, place.y]), 400);
  }

  return { render, owns, walk };
})();
