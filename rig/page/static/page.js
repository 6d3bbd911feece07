"use strict";
// Shows the state that the session sends, section by section, and sends back what a thumb does.
(() => {
  const $ = (id) => document.getElementById(id);
  const body = document.body.dataset;
  const QUIET_MS = 2000;  // the server beats four times as often
  const DEAD_MS = 6000;
  const RETRY_MS = [300, 600, 1200, 2500, 5000];
  const FLASH_MS = 900;
  const MAIN = { survey: say("Accept"), set: say("Accept"), pour: say("Batch poured") };

  const state = {};
  let socket = null, opened = 0, heard = 0, tries = 0, retry = 0, linked = false, ended = false, lastCue = -1;
  let me = { acts: false, phones: 0 }, changed = new Set(), flashing = 0, wake = null, strip = null;

  // --- the link ---------------------------------------------------------------------------

  function name() {
    let mine = null;
    try { mine = sessionStorage.getItem("phone"); } catch { /* a new name each time */ }
    if (!mine) {
      mine = Array.from(crypto.getRandomValues(new Uint8Array(12)), (byte) => byte.toString(16).padStart(2, "0")).join("");
      try { sessionStorage.setItem("phone", mine); } catch { /* as above */ }
    }
    return mine;
  }
  const phone = name();

  function connect() {
    clearTimeout(retry);
    if (ended || (socket && socket.readyState <= WebSocket.OPEN)) return;
    const mine = new WebSocket(new URL("live", location.href.replace(/^http/, "ws")));
    socket = mine;
    opened = Date.now();
    mine.onopen = () => mine.send(JSON.stringify({ say: "hello", phone }));
    mine.onmessage = (event) => { if (mine === socket) hear(JSON.parse(event.data)); };
    mine.onclose = () => {
      if (mine !== socket) return;
      socket = null;
      if (ended) return;
      lose();
      if (tries >= 2) ask();
      retry = setTimeout(connect, RETRY_MS[Math.min(tries++, RETRY_MS.length - 1)]);
    };
  }

  // A socket that is refused does not say why; a plain request does.
  async function ask() {
    try {
      const answer = await fetch("alive", { cache: "no-store" });
      if (answer.status === 403) {
        ended = true;
        clearTimeout(retry);
        $("old").textContent = say("This address is old. Scan the code that the terminal shows now.");
      }
    } catch { /* no link at all: it is tried again */ }
  }

  function lose() {
    if (!linked && body.link === "old") return age();
    linked = false;
    body.link = "old";
    changed.add("now");
    render();
    age();
  }

  function age() {
    if (linked || ended) return;
    const when = heard ? new Date(heard) : null;
    $("old").hidden = false;
    put($("old"), when
      ? say("Link lost: this is old, of {time}. Trying again …", { time: when.toLocaleTimeString(document.documentElement.lang) })
      : say("Not connected yet. Trying …"));
  }

  function hear(message) {
    heard = Date.now();
    tries = 0;
    const caughtUp = linked && state.cues;  // what was said while nobody listened is old
    if (!linked) {
      linked = true;
      body.link = "live";
      $("old").hidden = true;
      for (const section in state) changed.add(section);
    }
    for (const section in message.state) {
      state[section] = message.state[section];
      changed.add(section);
    }
    if (message.me) {
      me = message.me;
      changed.add("me");
    }
    if (message.refused) tell(message.refused);
    if (message.state.cues && state.cues.length) {
      const fresh = caughtUp ? state.cues.filter((cue) => cue.n > lastCue) : [];
      lastCue = state.cues.at(-1).n;
      sound.cues(fresh);
      flash(fresh.find((cue) => cue.tone === "set" || cue.tone === "taken"));
    }
    // A page in the background paints nothing, and must not fall behind for it.
    if (document.hidden) render();
    else schedule();
  }

  let scheduled = false;
  function schedule() {
    if (scheduled) return;
    scheduled = true;
    requestAnimationFrame(() => { scheduled = false; render(); });
  }

  function send(told) {
    if (socket && socket.readyState === WebSocket.OPEN && linked) socket.send(JSON.stringify(told));
    else tell(say("Not sent: the link is lost."));
  }

  function act(what, label) {
    send(label === undefined ? { say: "act", act: what } : { say: "act", act: what, label });
  }

  setInterval(() => {
    if (ended || !heard) return;
    const quiet = Date.now() - heard;
    if (linked && quiet > QUIET_MS) lose();
    if (quiet > DEAD_MS && socket && socket.readyState === WebSocket.OPEN && Date.now() - opened > DEAD_MS) {
      socket.close();
      socket = null;
      connect();
    }
    age();
  }, 250);
  addEventListener("offline", () => {
    if (socket) socket.close();
    socket = null;
    lose();
    clearTimeout(retry);
    retry = setTimeout(connect, RETRY_MS[0]);
  });
  addEventListener("online", () => { tries = 0; connect(); });
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) return;
    stayAwake();
    tries = 0;
    connect();
    changed = new Set(Object.keys(state));
    schedule();
  });

  // --- what is shown ----------------------------------------------------------------------

  function put(element, text) {
    if (element.textContent !== text) element.textContent = text;
  }

  const PAINT = {
    job() {
      body.screen = state.job.screen;
      put($("title"), state.job.title);
      document.title = `${state.job.title} · floor-rig`;
      $("pour").hidden = state.job.screen !== "pour";
      $("rodbox").setAttribute("aria-label", state.job.tape ? say("The tape") : say("The rod"));
      buttons();
    },
    plan() { plan.draw($("plan"), state); },
    places() { plan.drawPlaces($("plan"), state); },
    here() { plan.drawHere($("plan"), state); },
    count() { put($("count"), state.count.of ? say("{done} of {all}", { done: state.count.done, all: state.count.of }) : ""); },
    now: paintNow,
    rod() {
      put($("shown"), state.rod.shown);
      put($("state"), state.rod.state);
      const full = state.rod.still >= 1 ? "full" : "";
      if ($("still").className !== full) $("still").className = full;
      $("still").firstElementChild.style.transform = `scaleX(${state.rod.still})`;
    },
    sofar() {
      put($("sofar"), state.sofar ? state.sofar.text : "");
      plan.drawPlaces($("plan"), state);
    },
    last() { put($("last"), state.last); },
    notes() {
      $("notes").replaceChildren(...state.notes.map((note) => {
        const row = document.createElement("li");
        row.className = note.level;
        row.textContent = (note.level === "warn" ? "! " : "") + note.text;
        return row;
      }));
    },
    ask() {
      $("question").hidden = !state.ask;
      put($("question"), state.ask ? state.ask.text : "");
      buttons();
    },
    pour() {
      paintPour();
      const next = state.pour && `${state.pour.strip} ${state.pour.poured}`;
      if (next !== strip) plan.drawPlaces($("plan"), state);
      strip = next;
    },
    score() {
      $("score").hidden = !state.score;
      if (!state.score) return;
      $("scorerows").replaceChildren(...state.score.map(({ what, got, aim, good }) => {
        const row = document.createElement("tr");
        for (const text of [what, got, aim, good === null ? "" : good ? say("good") : say("not yet")]) {
          const cell = document.createElement(row.children.length ? "td" : "th");
          if (cell.tagName === "TH") cell.scope = "row";
          cell.textContent = text;
          row.append(cell);
        }
        row.className = good === false ? "bad" : "";
        return row;
      }));
    },
    me() { buttons(); keypad.draw($("keypad"), state, me); },
    typing() { keypad.draw($("keypad"), state, me); body.typing = state.typing ? "yes" : ""; },
    home() {
      $("home").hidden = !state.home;
      if (state.home) $("home").href = state.home.href;
      if (state.home && state.home.over) body.typing = "";
      keypad.draw($("keypad"), state, me);
      buttons();
    },
    ended() {
      if (!state.ended) return;
      ended = true;
      $("old").hidden = false;
      $("old").className = "ended";
      put($("old"), state.ended.text);
      buttons();
    },
  };

  function paintNow() {
    const now = state.now || { mode: "wait", text: "", shown: "" };
    const text = linked || ended ? now.shown : say("link lost");
    const fresh = text === now.text && (linked || ended);
    body.mode = fresh ? now.mode : "lost";
    body.move = fresh && now.mode === "prompt" ? now.move : "";
    const prompt = $("prompt");
    if (prompt.dataset.text !== text) {
      prompt.dataset.text = text;
      const space = now.mode === "prompt" && fresh ? text.indexOf(" ") : -1;
      if (space > 0) {
        const amount = document.createElement("span");
        amount.className = "amount";
        amount.textContent = text.slice(space + 1);
        prompt.replaceChildren(`${text.slice(0, space)} `, amount);
      } else prompt.textContent = text;
      prompt.className = space < 0 && text.length > 60 ? "text" : space < 0 && text.length > 12 ? "long" : text.length > 11 ? "wide" : "";
    }
    const chip = fresh && now.stale ? ` · ${now.stale}` : "";
    put($("where"), fresh ? lead(now) + (now.where || "").replaceAll(", ", "\n") + chip : "");
    fit($("say"));
    buttons();
    put($("mark"), (body.mode === "prompt" || (body.mode === "lost" && body.screen === "set")) && now.label ? now.label : "");
  }

  // Words are as long as a language has them: what does not fit its box is written smaller.
  let fitted = "";
  function fit(box) {
    const field = $("field");
    const key = [box.id, box.innerText, body.mode, body.move, body.typing, innerWidth, innerHeight, field.clientHeight].join("|");
    if (key === fitted) return;
    fitted = key;
    const parts = [...box.children, box];
    for (let share = 1; share > 0.3; share *= 0.9) {
      box.style.setProperty("--fit", share);
      const most = box === $("say") && !["raise", "lower"].includes(body.move) ? field.clientHeight : box.clientHeight;
      if (box.scrollHeight <= most + 1 && parts.every((part) => part.scrollWidth <= part.clientWidth)) return;
    }
  }
  addEventListener("resize", () => fit($("say")));

  function lead(now) {
    if (now.mode === "hold") return state.job && state.job.tape ? `${say("read the tape")}\n` : `${say("stand the rod, hold still")}\n`;
    if (now.mode === "check") return `${say("check the line:")}\n`;
    return "";
  }

  function paintPour() {
    const pour = state.pour;
    if (!pour) return;
    const bags = Math.round(10 * pour.bags_left) / 10;
    put($("bags"), `${Math.abs(bags)}`);
    put($("bagswords"), bags < 0 ? say("bags over the count") : say("bags left"));
    const left = pour.left_s;
    put($("edge"), left === null ? "–" : left <= 0 ? say("dead") : say("{minutes} min", { minutes: Math.floor(left / 60) }));
    $("edge").className = left !== null && left < 180 ? "late" : "";
    put($("edgewords"), left === null ? say("no wet edge yet") : left <= 0 ? say("the oldest wet edge") : say("left for the oldest wet edge"));
    put($("estimate"), pour.estimate);
    $("edges").replaceChildren(...pour.edges.map(({ strip, age_s }) => {
      const row = document.createElement("li"), bar = document.createElement("div");
      const words = document.createElement("span"), fill = document.createElement("i");
      const share = Math.min(1, age_s / pour.working_s);
      words.textContent = say("strip {strip}: {age} of {all} min", { strip, age: Math.floor(age_s / 60), all: Math.round(pour.working_s / 60) });
      bar.className = share > 0.75 ? "bar late" : "bar";
      fill.style.width = `${100 * share}%`;
      bar.append(fill);
      row.append(words, bar);
      return row;
    }));
    buttons();
  }

  function flash(cue) {
    if (!cue) return;
    clearTimeout(flashing);
    $("flash").textContent = cue.tone === "set" ? cue.text || say("set") : body.screen === "pour" ? say("poured") : say("taken");
    $("flash").hidden = false;
    fit($("flash"));
    flashing = setTimeout(() => { $("flash").hidden = true; }, FLASH_MS);
  }

  function tell(text) {
    put($("last"), text);
  }

  function render() {
    const now = changed;
    changed = new Set();
    if (now.has("plan")) ["places", "here"].forEach((section) => now.delete(section));
    for (const section of now) if (PAINT[section] && (section === "me" || section === "now" || section in state)) PAINT[section]();
    if (window.rod) window.rod.render(state, now, me);
  }

  // --- what a thumb can do ----------------------------------------------------------------

  let drawn = "";
  function buttons() {
    const acts = state.job ? state.job.acts : [];
    const done = state.now && state.now.mode === "done";
    const over = !!(state.home && state.home.over);
    const may = me.acts && acts.length && !ended && !done && !over;
    const asked = !!state.ask;
    const key = JSON.stringify([acts, state.job && state.job.practice, may, asked, !!state.typing, me.phones > 1, state.job && state.job.screen, ended, done, over]);
    if (key === drawn) return;
    drawn = key;
    const row = $("buttons"), made = [];
    const add = (text, work, main) => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = text;
      if (main) button.className = "main";
      button.onclick = work;
      made.push(button);
    };
    const screen = state.job ? state.job.screen : "";
    if (over) add(say("Go on"), () => { location.href = state.home.href; }, true);
    else if (may) {
      if (acts.includes("port")) add(say("Use the new port"), () => act("port"), true);
      if (asked) add(say("Yes, accept"), () => act("accept"), true);
      else if (acts.includes("accept") && screen !== "pour" && !state.typing) add(MAIN[screen] || say("Accept"), () => act("accept"), true);
      else if (acts.includes("batch")) add(MAIN.pour, () => act("batch"), true);
      if (acts.includes("front")) add(say("Front …"), fronts);
      if (acts.includes("undo")) add(say("Undo"), () => act("undo"));
      if (acts.includes("skip")) add(say("Skip"), () => act("skip"));
      if (acts.includes("goto")) add(window.rod && window.rod.owns(state) ? say("Walk to …") : say("Go to …"), goTo);
      if (acts.includes("stop")) add(say("More …"), more);
      else if (acts.includes("quit")) add(say("Stop"), () => act("quit"));
      if (acts.includes("replay")) add(say("See it again"), () => act("replay"), true);
      if (acts.includes("finish")) add(say("Finish"), () => act("finish"));
      if (acts.includes("begin")) add(say("Begin"), () => act("begin"), true);
    } else if (acts.length && !ended && !done) add(say("Take over"), () => send({ say: "take" }), true);
    row.replaceChildren(...made);
    row.className = "";
    if (made.length && made.at(-1).offsetTop > made[0].offsetTop) row.className = "rows";
    $("turn").hidden = !!may || ended || !!done || over;
    put($("turn"), acts.length ? say("Another phone acts; this one watches.") : say("This page watches."));
  }

  function choose(title, choices) {
    $("listtitle").textContent = title;
    $("choices").replaceChildren(...choices.map(({ text, small, wide, work }) => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = text;
      if (small) {
        const more = document.createElement("small");
        more.textContent = small;
        button.append(more);
      }
      if (wide) button.className = "wide";
      button.onclick = () => { $("list").close(); work(); };
      return button;
    }));
    $("list").showModal();
  }

  const WORDS = { todo: say("to do"), done: say("done"), skipped: say("skipped"), doubt: say("doubtful") };
  function goTo() {
    const walks = window.rod && window.rod.owns(state);
    choose(walks ? say("Walk to") : say("Go to"), state.places.map((place) => ({
      text: place.label,
      small: WORDS[place.state],
      work: () => (walks ? window.rod.walk(place) : act("goto", place.label)),
    })));
  }

  function fronts() {
    const passedOver = state.pour.dry.map((label) => ({ text: say("{label} is covered too", { label }), wide: true, work: () => act("front", label) }));
    choose(say("The front is at"), [...passedOver, ...state.pour.strips.map(({ strip, markers }) => ({
      text: say("strip {strip}", { strip }),
      small: markers.join(", ") || say("no markers"),
      work: () => act("front", String(strip)),
    }))]);
  }

  function more() {
    const ticks = state.pour.unticked.map((step) => ({ text: say("Tick: {step}", { step }), wide: true, work: () => act("tick", step) }));
    const left = state.pour.batches - state.pour.poured;
    const really = left > 0 ? say("{left} of {all} batches are not poured. End the pour now?", { left, all: state.pour.batches }) : say("End the pour now?");
    const stop = { text: say("End the pour …"), wide: true, work: () => choose(really, [{ text: say("Yes, it is over"), wide: true, work: () => act("stop") }]) };
    const rest = { text: say("Leave the log for now"), wide: true, work: () => act("quit") };
    choose(say("More"), [...ticks, stop, ...(state.job.acts.includes("quit") ? [rest] : [])]);
  }

  async function stayAwake() {
    try { wake = navigator.wakeLock ? await navigator.wakeLock.request("screen") : null; } catch { wake = null; }
  }

  function soundButton() {
    const on = sound.isOn();
    $("sound").setAttribute("aria-pressed", String(on));
    put($("sound"), !on ? say("Sound off") : !sound.isFree() ? say("Tap for sound") : sound.lacksVoice() ? say("Tones only: no voice") : say("Sound on"));
  }

  $("sound").onclick = () => {
    if (sound.isOn() && !sound.isFree() && window.AudioContext) sound.unlock();
    else sound.toggle();
    setTimeout(soundButton, 150);
    soundButton();
  };
  $("close").onclick = () => $("list").close();
  addEventListener("pointerdown", (event) => {
    if (event.target.id === "sound") return;
    sound.unlock();
    setTimeout(soundButton, 150);
    if (!wake || wake.released) stayAwake();
  });
  plan.listen($("plan"), (label) => {
    if (me.acts && state.job && state.job.acts.includes("goto") && !(window.rod && window.rod.owns(state))) act("goto", label);
  });
  soundButton();
  stayAwake();

  // For tests and for the curious: what was said and sounded, and what is known.
  window.floorPage = { state, said: sound.said, sounded: sound.sounded, send, hear, me: () => me };
  connect();
})();
