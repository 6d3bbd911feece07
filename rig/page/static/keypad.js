"use strict";
// A keypad for tapes: what is typed on it is sent as a line, as at a terminal.
window.keypad = (() => {
  const FRACTIONS = Array.from({ length: 15 }, (_, n) => {
    let top = n + 1, bottom = 16;
    while (top % 2 === 0) { top /= 2; bottom /= 2; }
    return `${top}/${bottom}`;
  });
  const UNITS = { in: say("inches"), ft: say("feet"), mm: "mm", cm: "cm", m: "m" };
  let text = "", part = "", last = "", drawn = "", box = null, unit = "";

  // A language's own decimal sign; feet and inches have a point in all of them.
  const decimal = () => unit === "in" || unit === "ft" ? "." : document.body.dataset.decimal || ".";
  const line = () => [text, part].filter(Boolean).join(" ");

  function shown() {
    const typed = box && box.querySelector(".typed span");
    if (typed) typed.textContent = line() || "…";
  }

  function press(key) {
    if (text.length < 7 && !(key === decimal() && text.includes(key))) text += key;
    shown();
  }

  function more() {  // a thirty-second on top of the sixteenth that was tapped
    const [top, bottom] = (part || "0/16").split("/").map(Number);
    part = `${top * (32 / bottom) + 1}/32`;
    shown();
  }

  function take() {
    if (!line()) return;
    last = text;
    window.floorPage.send({ say: "type", line: line() });
    text = part = "";
    shown();
  }

  // Under one line readings are alike: the last one's beginning is a tap.
  function beginnings() {
    if (!last) return [];
    if (unit === "in") return [-1, 0, 1].map((by) => String(Math.floor(Number(last)) + by)).filter((n) => Number(n) > 0);
    const digits = last.length > 2 ? last.slice(0, -1) : last;
    return [digits];
  }

  function button(name, work, main, small) {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = name;
    if (main || small) made.className = main ? "main" : "small";
    made.onclick = work;
    return made;
  }

  function grid(name, buttons) {
    const made = document.createElement("div");
    made.className = name;
    made.append(...buttons);
    return made;
  }

  function draw(element, state, me) {
    const typing = state.typing, over = state.home && state.home.over;
    box = element;
    box.hidden = !typing || !me.acts || over;
    if (!typing || box.hidden) { drawn = ""; return; }
    unit = typing.unit || (state.job && state.job.units) || "in";
    const key = JSON.stringify([typing, unit, last]);
    if (key === drawn) return;
    drawn = key;
    if (typing.choices.length) {
      box.replaceChildren(grid("keys", typing.choices.map((one) => button(UNITS[one], () => window.floorPage.send({ say: "type", line: one })))));
      return;
    }
    const typed = document.createElement("p"), words = document.createElement("span"), small = document.createElement("small");
    typed.className = "typed";
    typed.setAttribute("role", "status");
    small.textContent = typing.unit ? UNITS[typing.unit] : say("unit not settled");
    typed.append(words, small);
    const digits = "1234567890".split("").map((digit) => button(digit, () => press(digit)));
    const parts = [typed];
    const begun = beginnings();
    if (begun.length) parts.push(grid("keys", begun.map((n) => button(n, () => { text = n; shown(); }))));
    if (unit === "in") parts.push(grid("fractions", FRACTIONS.map((one) => button(one, () => { part = one; shown(); }))));
    const wipe = button("⌫", () => { if (part) part = ""; else text = text.slice(0, -1); shown(); });
    wipe.setAttribute("aria-label", say("Wipe"));
    parts.push(grid("keys", [
      ...digits, wipe, button(decimal(), () => press(decimal())),
      ...(unit === "in" ? [button("+1/32", more, false, true)] : []),
      button(say("Take"), take, true),
    ]));
    box.replaceChildren(...parts);
    shown();
  }

  return { draw };
})();
