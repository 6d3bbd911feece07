"use strict";
// Tones and speech of the phone itself. Nothing sounds before the first tap: browsers forbid it.
const sound = (() => {
  // Two notes that rise for raise and fall for lower; each cue ends, none turns solid.
  const TONES = {
    raise: [[392, 0.13], [587, 0.2]],
    lower: [[587, 0.13], [392, 0.2]],
    hold: [[494, 0.3]],
    set: [[523, 0.12], [659, 0.12], [784, 0.3]],
    taken: [[659, 0.09], [659, 0.16]],
    next: [[330, 0.18]],
    warn: [[233, 0.16], [220, 0.16], [233, 0.16]],
  };
  const REST_S = 0.3;
  const KEEP = 300;
  const said = [], sounded = [];
  let audio = null, on = true, free = 0, pending = "", speaking = false;
  try { on = localStorage.getItem("sound") !== "off"; } catch { /* no storage: on */ }

  function keep(list, what) {
    list.push(what);
    if (list.length > KEEP) list.shift();
  }

  function unlock() {
    if (!on) return;
    if (!audio && window.AudioContext) audio = new AudioContext();
    if (audio && audio.state === "suspended") audio.resume();
  }

  function tone(name) {
    const notes = TONES[name];
    if (!on || !notes) return;
    const now = performance.now() / 1000;
    const important = name === "set" || name === "warn" || name === "taken";
    if (now < free && !important) return;
    free = now + notes.reduce((sum, note) => sum + note[1], 0) + REST_S;
    keep(sounded, name);
    if (!audio || audio.state !== "running") return;
    let at = audio.currentTime + 0.01;
    for (const [pitch, length] of notes) {
      const note = audio.createOscillator(), gain = audio.createGain();
      note.type = "triangle";
      note.frequency.value = pitch;
      gain.gain.setValueAtTime(0, at);
      gain.gain.linearRampToValueAtTime(0.6, at + 0.015);
      gain.gain.setValueAtTime(0.6, at + length - 0.04);
      gain.gain.linearRampToValueAtTime(0, at + length);
      note.connect(gain).connect(audio.destination);
      note.start(at);
      note.stop(at + length);
      at += length;
    }
  }

  // A voice of another language would read nonsense; tones say the same.
  function lacksVoice() {
    const voices = window.speechSynthesis ? speechSynthesis.getVoices() : [];
    const tongue = document.documentElement.lang.slice(0, 2);
    return voices.length > 0 && !voices.some((voice) => voice.lang.toLowerCase().startsWith(tongue));
  }

  // A prompt waits for the word before it and gives way to a newer one; all else comes at once.
  function speak(text, waits) {
    if (!on || !text) return;
    if (waits && speaking) { pending = text; return; }
    pending = "";
    keep(said, text);
    if (!window.speechSynthesis || lacksVoice()) return;
    if (!waits) speechSynthesis.cancel();
    const words = new SpeechSynthesisUtterance(text);
    words.lang = document.documentElement.lang;
    words.rate = 1.1;
    speaking = speechSynthesis.getVoices().length > 0;
    words.onend = words.onerror = () => {
      speaking = false;
      if (pending) speak(pending, true);
    };
    speechSynthesis.speak(words);
  }

  const MOVES = ["raise", "lower", "hold"];
  const RANK = ["next", "raise", "lower", "hold", "taken", "set", "warn"];

  // What came at one moment is one tone, the weightiest, and one sentence.
  function cues(told) {
    const tones = told.map((cue) => cue.tone).filter((name) => TONES[name]);
    if (tones.length) tone(tones.reduce((one, other) => (RANK.indexOf(other) > RANK.indexOf(one) ? other : one)));
    const words = told.filter((cue) => !MOVES.includes(cue.tone)).map((cue) => cue.say).filter(Boolean);
    const prompts = told.filter((cue) => MOVES.includes(cue.tone) && cue.say);
    if (words.length) speak(words.join(". "), false);
    else if (prompts.length) speak(prompts.at(-1).say, true);
  }

  function toggle() {
    on = !on;
    try { localStorage.setItem("sound", on ? "on" : "off"); } catch { /* only for now */ }
    if (on) unlock();
    else if (window.speechSynthesis) speechSynthesis.cancel();
    return on;
  }

  return { cues, toggle, unlock, lacksVoice, said, sounded, isOn: () => on, isFree: () => !!audio && audio.state === "running" };
})();
