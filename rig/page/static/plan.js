"use strict";
// The room from above, the door's wall where the job has it, y upwards as on a building plan.
const plan = (() => {
  const NS = "http://www.w3.org/2000/svg";
  let box = null, scale = 1, places = [], walls = [], texts = [], onTap = () => {};

  function make(name, attributes, parent, text) {
    const made = document.createElementNS(NS, name);
    for (const key in attributes) made.setAttribute(key, attributes[key]);
    if (text !== undefined) made.textContent = text;
    if (parent) parent.append(made);
    return made;
  }

  const ring = (corners) => corners.map(([x, y]) => `${x},${-y}`).join(" ");

  function draw(svg, state) {
    const room = state.plan;
    svg.replaceChildren();
    places = [];
    box = null;
    if (!room || !room.walls.length) return;
    const xs = room.walls.map((c) => c[0]), ys = room.walls.map((c) => -c[1]);
    const width = Math.max(...xs) - Math.min(...xs), height = Math.max(...ys) - Math.min(...ys);
    scale = Math.max(width, height) / 100;
    const sides = (corners) => corners.map(([x, y], n) => [x, -y, corners.at(n - 1)[0], -corners.at(n - 1)[1]]);
    walls = [room.walls, ...room.openings].flatMap(sides);
    const rim = 5 * scale;
    box = [Math.min(...xs) - rim, Math.min(...ys) - rim, width + 2 * rim, height + 2 * rim];
    svg.setAttribute("viewBox", box.join(" "));
    const defs = make("defs", {}, svg);
    const hatch = make("pattern", { id: "hatch", width: 2.4 * scale, height: 2.4 * scale, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, defs);
    make("path", { class: "hatch", d: `M0 0V${2.4 * scale}`, "stroke-width": 0.8 * scale }, hatch);
    make("polygon", { points: ring(room.walls) }, make("clipPath", { id: "inside" }, defs));
    make("polygon", { class: "floor", points: ring(room.walls) }, svg);
    make("g", { id: "strips" }, svg);
    make("polygon", { class: "wall", points: ring(room.walls), "stroke-width": 2 * scale }, svg);
    for (const [x, y, x2, y2] of room.doors)
      make("line", { class: "door", x1: x, y1: -y, x2, y2: -y2, "stroke-width": 2.4 * scale }, svg);
    for (const opening of room.openings)
      make("polygon", { class: "opening", points: ring(opening), "stroke-width": 0.6 * scale }, svg);
    make("g", { id: "measures" }, svg);
    make("g", { id: "places" }, svg);
    make("g", { id: "numbers" }, svg);
    make("g", { id: "top" }, svg);
    drawPlaces(svg, state);
    drawHere(svg, state);
  }

  // A text stands at the first of the places offered for it where no wall and no other text is;
  // a box is its middle, half its width and half its height.
  function crosses([cx, cy, half, high], [x1, y1, x2, y2]) {
    let from = 0, to = 1;
    for (const [start, step, least, most] of [[x1, x2 - x1, cx - half, cx + half], [y1, y2 - y1, cy - high, cy + high]]) {
      if (Math.abs(step) < 1e-6) {
        if (start < least || start > most) return false;
        continue;
      }
      const ends = [(least - start) / step, (most - start) / step];
      [from, to] = [Math.max(from, Math.min(...ends)), Math.min(to, Math.max(...ends))];
    }
    return from <= to;
  }

  const lies = (one, other) => Math.abs(one[0] - other[0]) < one[2] + other[2] && Math.abs(one[1] - other[1]) < one[3] + other[3];

  function write(parent, kind, text, size, offers, taken) {
    const half = 0.31 * size * text.length + scale, high = 0.5 * size + scale;
    const boxes = offers(half, high).map(([x, y]) => [x, y, half, high]);
    const clear = boxes.filter((one) => !walls.some((wall) => crosses(one, wall)));
    const free = (one) => !taken.some((other) => lies(one, other));
    const at = clear.find(free) || boxes.find(free) || clear[0] || boxes[0];
    taken.push(at);
    make("text", { class: kind, x: at[0], y: at[1] + 0.36 * size, "font-size": size, "text-anchor": "middle", "stroke-width": 0.24 * size }, parent, text);
  }

  // Covered strips are hatched, the next one has a thick broken rim: told without colour.
  function drawStrips(svg, state) {
    const areas = svg.querySelector("#strips"), numbers = svg.querySelector("#numbers");
    const strips = (state.plan && state.plan.strips) || [], pour = state.pour;
    if (!areas || !pour || !strips.length) return "";
    const poured = new Set(state.places.filter((place) => place.state === "done").map((place) => +place.label));
    const covered = [], over = pour.poured >= pour.batches;
    areas.replaceChildren();
    numbers.replaceChildren();
    let rim = null;
    for (const { strip, batches, rings, x, y } of strips) {
      const how = batches.every((n) => poured.has(n)) ? "covered" : !over && strip === pour.strip ? "next" : "todo";
      if (how === "covered") covered.push(strip);
      const d = rings.map((corners) => `M${ring(corners)}Z`).join("");
      const path = make("path", { class: `strip ${how}`, "data-strip": strip, d, "fill-rule": "evenodd", "stroke-width": (how === "next" ? 1.6 : 0.4) * scale }, areas);
      if (how === "next") rim = path;
    }
    // The next strip's number comes first; one that would stand on another is left out.
    const taken = state.here && state.here.x != null ? [[state.here.x, -state.here.y, 6]] : [];
    const turn = ({ strip }) => (strip === pour.strip ? 0 : 1);
    for (const { strip, x, y } of [...strips].sort((one, other) => turn(one) - turn(other))) {
      const next = rim && strip === pour.strip, text = next ? say("strip {strip}", { strip }) : `${strip}`;
      const half = (1.5 + 1.6 * text.length) * scale, high = 3 * scale, wall = 6 * scale;
      let cx = Math.min(Math.max(x, box[0] + wall + half), box[0] + box[2] - wall - half);
      let cy = Math.min(Math.max(-y, box[1] + wall + high), box[1] + box[3] - wall - high);
      const shifts = [0, -1, 1].flatMap((down) => [0, 0.5, -0.5, 1, -1].map((aside) => [cx + aside * half, cy + 2 * down * high]));
      [cx, cy] = shifts.find((one) => !walls.some((side) => crosses([...one, half + scale, high + scale], side))) || [cx, cy];
      if (!next && taken.some(([tx, ty, far]) => Math.abs(tx - cx) < far * scale + half && Math.abs(ty - cy) < 6.4 * scale)) continue;
      taken.push([cx, cy, half / scale]);
      texts.push([cx, cy, half, high]);
      const one = make("g", { class: next ? "number next" : "number" }, numbers);
      make("rect", { x: cx - half, y: cy - high, width: 2 * half, height: 2 * high, "stroke-width": 0.4 * scale }, one);
      make("text", { x: cx, y: cy + 1.8 * scale, "font-size": 5 * scale, "text-anchor": "middle" }, one, text);
    }
    if (rim) areas.append(rim);
    return say("Strips covered: {strips}.", { strips: covered.join(", ") || say("none") }) + (rim ? ` ${say("Next: strip {strip}.", { strip: pour.strip })}` : "");
  }

  function drawPlaces(svg, state) {
    const group = svg.querySelector("#places");
    if (!group) return;
    group.replaceChildren();
    places = state.places;
    const r = 2.4 * scale, pour = state.pour, strips = (pour && state.plan.strips) || [];
    const named = strips.length && new Set(strips.filter((one) => one.strip === pour.strip).flatMap((one) => one.batches));
    texts = places.map((place) => [place.x, -place.y, r, r]);
    const around = (x, y, far) => (half, high) => [[x, y + far + high], [x, y - far - high], [x + far + half, y], [x - far - half, y]];
    for (const { label, x, y, state: how, area } of places) {
      if (area && !strips.length) make("circle", { class: "bubble", "clip-path": "url(#inside)", cx: x, cy: -y, r: 1000 * Math.sqrt(area / Math.PI) * 0.94, "stroke-width": 0.3 * scale }, group);
      const wet = pour && how === "done" ? "wet" : "";
      make("circle", { class: `place ${how} ${wet}`, cx: x, cy: -y, r, "stroke-width": 0.6 * scale }, group);
      if (how === "done") make("path", { class: "tick", d: `M${x - r * 0.5} ${-y} l${r * 0.38} ${r * 0.42} l${r * 0.66} ${-r * 0.9}`, "stroke-width": 0.8 * scale }, group);
      if (how === "doubt") make("text", { class: "sign", x, y: -y + 1.4 * scale, "font-size": 4 * scale, "text-anchor": "middle" }, group, "?");
      if (!named || named.has(+label)) write(group, "label", label, 4.4 * scale, around(x, -y, r - 0.6 * scale), texts);
    }
    if (state.sofar) {
      const { x, y } = state.sofar, u = scale;
      make("path", { class: "high", d: `M${x} ${-y - 3 * u}l${3 * u} ${5 * u}h${-6 * u}Z`, "stroke-width": 0.8 * u }, group);
      write(group, "label", say("high"), 4.4 * u, around(x, -y, 2.4 * u), texts);
    }
    const done = places.filter((place) => place.state === "done").length;
    svg.setAttribute("aria-label", `${say("Plan of the room: {done} of {all} places done.", { done, all: places.length })} ${drawStrips(svg, state)}`.trim());
  }

  function drawHere(svg, state) {
    const measures = svg.querySelector("#measures"), top = svg.querySelector("#top");
    if (!measures) return;
    measures.replaceChildren();
    top.replaceChildren();
    const here = state.here;
    if (!here || here.x === null || here.x === undefined) return;
    const { x, y } = here, taken = [[x, -y, 6 * scale, 6 * scale], ...texts];
    for (const measure of here.measures) {
      const [fx, fy] = [measure.x, -measure.y];
      make("line", { class: "measure", x1: fx, y1: fy, x2: x, y2: -y, "stroke-width": 0.7 * scale, "stroke-dasharray": `${2 * scale} ${scale}` }, measures);
      const across = Math.abs(fy + y) < Math.abs(fx - x);
      const tick = 1.6 * scale;
      make("line", { class: "measure", "stroke-width": 1 * scale, ...(across ? { x1: fx, x2: fx, y1: fy - tick, y2: fy + tick } : { x1: fx - tick, x2: fx + tick, y1: fy, y2: fy }) }, measures);
      write(top, "measure-text", measure.text, 5.6 * scale, beside(x, -y, fx, fy, across), taken);
    }
    make("circle", { class: "here", cx: x, cy: -y, r: 4.6 * scale, "stroke-width": 1.5 * scale }, top);
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]])
      make("line", { class: "here", x1: x + dx * 4.6 * scale, y1: -y + dy * 4.6 * scale, x2: x + dx * 7 * scale, y2: -y + dy * 7 * scale, "stroke-width": 1.5 * scale }, top);
  }

  // Beside its line, on either side and along it; else beyond the place, away from the wall.
  function beside(x, y, fx, fy, across) {
    return (half, high) => {
      const found = [], gap = 0.6 * scale;
      for (const share of [0.5, 0.35, 0.65, 0.2, 0.8])
        for (const side of [-1, 1]) {
          const [mx, my] = [fx + (x - fx) * share, fy + (y - fy) * share];
          found.push(across ? [mx, my + side * (high + gap)] : [mx + side * (half + gap), my]);
        }
      const away = 8 * scale, [right, low] = [Math.sign(x - fx) || 1, Math.sign(y - fy) || 1];
      for (const side of [0, -1, 1])
        found.push(across ? [x + right * (away + half), y + side * 2 * high] : [x + side * half, y + low * (away + high)]);
      for (const share of [1, 0.5, 0])
        for (const side of [-1, 1])
          found.push(across ? [x + right * share * half, y + side * (away + high)] : [x + side * (away + half), y + low * share * high]);
      return found;
    };
  }

  // Where a finger points, in millimetres of the room.
  function at(svg, event) {
    if (!box) return null;
    const matrix = svg.getScreenCTM();
    if (!matrix) return null;
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
    return [point.x, -point.y];
  }

  // The place nearest to a finger, which is wide: a tap anywhere nearby will do.
  function nearest(x, y) {
    let best = null, least = 14 * scale;
    for (const place of places) {
      const far = Math.hypot(place.x - x, place.y - y);
      if (far < least) [best, least] = [place, far];
    }
    return best;
  }

  function listen(svg, tapped) {
    onTap = tapped;
    svg.addEventListener("click", (event) => {
      const spot = at(svg, event);
      const place = spot && nearest(...spot);
      if (place) onTap(place.label);
    });
  }

  return { draw, drawPlaces, drawHere, listen, at, make, unit: () => scale };
})();
