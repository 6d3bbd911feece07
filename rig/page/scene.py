"""What the page shows: a session's events folded into a few named sections, each plain JSON.

A phone that comes, wakes or is slow needs only the latest value of each section, so nothing is
ever queued for it. A state machine without I/O: times come in with the events.
"""

from collections.abc import Callable, Iterable
from typing import Any, Protocol

from rig.guidance.phrases import done_text, spoken_event
from rig.session.beam import DARK_S, LINK_LOST, Beam
from rig.survey.stillness import StillWindow
from rig.units import format_doubt, format_length, format_off, format_volume

MOST_NOTES = 5
MOST_CUES = 4
"""What is said at one moment, "set" and where next, must all reach the ear."""
SPOKEN_AGAIN_S = 6.0
"""A prompt that stays the same is spoken again after so long."""
WALK_ACTS = ("accept", "undo", "skip", "goto")
POUR_ACTS = ("batch", "front", "undo", "stop", "tick", "accept")
STILL_WORDS = {
    "not enough": "settling",
    "moving": "moving",
    "trending": "moving",
    "noisy": "unsteady",
    "still": "still",
}
TONES = {
    "shot": "taken",
    "set": "set",
    "next": "next",
    "check": "next",
    "batch": "taken",
    **dict.fromkeys(("ask", "trouble", "doubtful", "drift", "jolt", "edge", "dry", "lost"), "warn"),
}

Section = dict[str, Any]
Measures = Callable[[float, float], list[tuple[tuple[float, float], float, str]]]


class Shown(Protocol):
    """Anything that a page can show."""

    sections: dict[str, Any]

    @property
    def acts(self) -> tuple[str, ...]:
        """Names of the acts that the page may do."""

    def hear(self, told: dict[str, Any], now_s: float) -> set[str]:
        """Take an event; return the names of the sections that it changed."""

    def tick(self, now_s: float) -> set[str]:
        """Let time go by; return the names of the sections that changed."""

    def practise(self) -> None:
        """Let the page move the rod."""

    def move(self, told: dict[str, Any]) -> set[str]:
        """Show where a trainee has the rod; return the names of the sections that changed."""


class Scene:
    """A survey, a marker setting or a pour as the page shows it.

    Parameters
    ----------
    screen : {"survey", "set", "pour", "idle"}
        Which face of the page.
    title : str
        What is being done, for people.
    units, denominator : str, int
        Of the job.
    plan : dict
        `walls`, `openings`, `doors` as lists of coordinates in mm.
    places : list of dict
        `label, x, y, state`: points, markers or batches in their order.
    measures : callable, optional
        From a place to where its two measures meet the walls, each with distance and text.
    window : StillWindow, optional
        Judges how still the rod is, for show.
    acts : bool or tuple of str
        Whether the page may do what the session can, or what it may do.
    pour : dict, optional
        Strips, bags and the open list as the pour begins.
    quiet_s : float
        How long no reading may come before that is told.
    """

    def __init__(
        self,
        screen: str,
        title: str,
        units: str,
        denominator: int,
        plan: Section,
        places: list[Section],
        *,
        measures: Measures | None = None,
        window: StillWindow | None = None,
        acts: bool | tuple[str, ...] = False,
        pour: Section | None = None,
        quiet_s: float = DARK_S,
    ) -> None:
        self._units, self._denominator = units, denominator
        self._measures, self._window = measures, window
        self._beam = Beam(quiet_s)
        self._prompt: Section | None = None
        self._said: tuple[float, str] = (0.0, "")
        self._cues = 0
        self._places = {place["label"]: place for place in places}
        if isinstance(acts, bool):
            acts = (POUR_ACTS if screen == "pour" else WALK_ACTS) if acts else ()
        self._acts = acts
        self.sections: dict[str, Any] = {
            "job": {"screen": screen, "title": title, "units": units, "acts": list(self._acts)},
            "plan": plan,
            "places": places,
            "now": {"mode": "wait", "text": "", "stale": "", "shown": ""},
            "here": None,
            "rod": {"shown": "", "state": "", "still": 0.0},
            "last": "",
            "notes": [],
            "ask": None,
            "count": self._count(),
            "sofar": None,
            "pour": pour,
            "cues": [],
            "score": None,
            "hand": None,
            "ended": None,
        }

    @property
    def acts(self) -> tuple[str, ...]:
        """Names of the acts that the page may do."""
        return self._acts

    def hear(self, told: dict[str, Any], now_s: float) -> set[str]:
        """Take one event of the session; return the names of the sections that it changed."""
        self._beam.hear(told, now_s)
        changed: set[str] = set()
        take = getattr(self, f"_on_{told['event']}", None)
        if take is not None:
            changed |= take(told)
        changed |= self._cue(told, now_s) | self._take_back(now_s)
        if "now" in changed:
            self._put("now", shown=_shown(self.sections["now"]))
        return changed

    def practise(self) -> None:
        """Let the page move the rod."""
        self.sections["job"] = {**self.sections["job"], "practice": True}

    def move(self, told: Section) -> set[str]:
        """Show where a trainee has the rod."""
        if told["do"] in ("carry", "stand") and "x" in told and "y" in told:
            self.sections["hand"] = {"x": told["x"], "y": told["y"], "does": told["do"]}
            return {"hand"}
        return set()

    def tick(self, now_s: float) -> set[str]:
        """Take back what is no longer true; return the names of the sections that changed."""
        changed = self._take_back(now_s)
        if "now" in changed:
            self._put("now", shown=_shown(self.sections["now"]))
        return changed

    def _take_back(self, now_s: float) -> set[str]:
        now, stale = self.sections["now"], self._beam.state(now_s)
        if now["stale"] == stale or now["mode"] == "done":
            return set()
        changed = {"now", "rod"}
        self._put("now", stale=stale)
        if stale:
            self._put("rod", shown="", state=stale, still=0.0)
        elif self._prompt is not None:
            # What was said last may be untrue by now: it comes back with the next prompt.
            self._put("now", mode="wait", text="…", move="", amount="")
        else:
            self._put("rod", state="")
        return changed

    # --- events -----------------------------------------------------------------------------

    def _on_reading(self, told: Section) -> set[str]:
        value_mm, window = told["value_mm"], self._window
        if value_mm is None or told["status"] == "bad":
            if told["status"] == "no_beam" and window is not None:
                window.clear()
            return set()
        state, share = "", 0.0
        if window is not None:
            window.add(told["time_s"], value_mm)
            word = window.state()
            state = STILL_WORDS.get(word, word)
            spread = window.spread_mm
            share = 1.0 if word == "still" else min(0.95, window.limit_mm / max(spread, 1e-6))
        shown = format_length(value_mm, self._units, self._denominator)
        self.sections["rod"] = {"shown": shown, "state": state, "still": round(share, 2)}
        return {"rod"}

    def _on_prompt(self, told: Section) -> set[str]:
        self._prompt = told
        _, _, amount = told["text"].partition(" ")
        self.sections["now"] = {
            "mode": "prompt",
            "text": told["text"],
            "move": told["move"],
            "amount": amount,
            "label": told["marker"],
            "stale": "",
        }
        return {"now"}

    def _on_next(self, told: Section) -> set[str]:
        if "n" in told:  # a batch of a pour
            return self._next_batch(told)
        label = told.get("marker") or told["label"]
        where = told["text"].removeprefix(f"{label}: ")
        changed = self._go("go", label, told, "" if where == label else where)
        if self.sections["ask"] is not None:
            self.sections["ask"] = None
            changed.add("ask")
        return changed

    def _on_armed(self, told: Section) -> set[str]:
        where = told["text"].removeprefix(f"{told['label']}: ")
        return self._go("hold", told["label"], told, "" if where == told["label"] else where)

    def _on_check(self, told: Section) -> set[str]:
        expected = format_length(told["expected_mm"], self._units, self._denominator)
        where = f"{told['text']} (expect {expected})"
        return self._go("check", told["label"], told, where)

    def _on_checked(self, told: Section) -> set[str]:
        return self._note(told["text"], "say" if told["ok"] else "warn")

    def _on_shot(self, told: Section) -> set[str]:
        reading = format_length(told["reading_mm"], self._units, self._denominator)
        doubt = format_doubt(2 * told["stderr_mm"], self._units, self._denominator)
        self.sections["last"] = f"{told['label']} taken: {reading} ± {doubt}"
        return self._mark(told["label"], "done") | {"last"} | self._answered()

    def _on_set(self, told: Section) -> set[str]:
        self._prompt = None
        off = format_off(told["residual_mm"], self._units, self._denominator)
        way = "high" if told["residual_mm"] > 0 else "low"
        self.sections["last"] = f"{told['marker']} set, {off} {way}"
        return self._mark(told["marker"], "done") | {"last"} | self._answered()

    def _on_skipped(self, told: Section) -> set[str]:
        self.sections["last"] = f"{told['label']} skipped"
        return self._mark(told["label"], "skipped") | {"last"} | self._answered()

    def _on_undone(self, told: Section) -> set[str]:
        self.sections["last"] = f"{told['label']} undone"
        label = told["label"]
        if label.startswith("batch "):
            label = label.removeprefix("batch ")
            pour = self.sections["pour"]
            self._put("pour", poured=max(0, pour["poured"] - 1))
        self.sections["sofar"] = None  # until the next shot tells anew
        return self._mark(label, "todo") | {"last", "pour", "sofar"} | self._answered()

    def _on_unset(self, told: Section) -> set[str]:
        self.sections["last"] = f"{told['marker']} no longer set"
        return self._mark(told["marker"], "todo") | {"last"}

    def _on_doubtful(self, told: Section) -> set[str]:
        return self._mark(told["label"], "doubt") | self._note(told["text"], "warn")

    def _on_picture(self, told: Section) -> set[str]:
        high = told["high"]
        height = format_length(-high["z_mm"], self._units, self._denominator)
        volume = format_volume(told["volume_l"], self._units)
        text = f"So far: high point {height} below the line, level plane takes {volume}"
        self.sections["sofar"] = {"text": text, "x": round(high["x_mm"]), "y": round(high["y_mm"])}
        return {"sofar"}

    def _on_ask(self, told: Section) -> set[str]:
        self.sections["ask"] = {"text": told["text"]}
        return {"ask"}

    def _on_trouble(self, told: Section) -> set[str]:
        return self._note(told["text"], "warn")

    _on_notice = _on_drift = _on_trouble

    def _on_jolt(self, told: Section) -> set[str]:
        changed = self._note(told["text"], "warn") | {"sofar"}
        self.sections["sofar"] = None
        for label in told["labels"]:
            changed |= self._mark(label, "todo")
        return changed

    def _on_lost(self, told: Section) -> set[str]:
        text = f"The rod's link is lost ({told['reason']}): trying again, no shot is lost."
        return self._note(text, "warn")

    def _on_back(self, told: Section) -> set[str]:
        return self._note(f"The rod is back after {told['gap_s']:.1f} s.", "say")

    def _on_done(self, told: Section) -> set[str]:
        self._prompt = None
        text = told.get("text") or done_text(told)
        self.sections["now"] = {"mode": "done", "text": text, "stale": ""}
        self.sections["here"] = self.sections["ask"] = None
        return {"now", "here", "ask"}

    # --- a pour -----------------------------------------------------------------------------

    def _next_batch(self, told: Section) -> set[str]:
        self._put("pour", next=told["n"], strip=told["strip"])
        _, _, where = told["text"].partition(", ")
        changed = self._go("batch", str(told["n"]), told, where.replace(": ", ", ", 1))
        self._put("now", text=f"batch {told['n']}")
        return changed | {"pour"}

    def _on_batch(self, told: Section) -> set[str]:
        self._put(
            "pour",
            poured=told["n"],
            bags_used=told["bags_used"],
            bags_left=told["bags_left"],
            should=told["front_should"],
        )
        self.sections["last"] = told["text"]
        return self._mark(str(told["n"]), "done") | {"pour", "last"} | self._answered()

    def _on_resumed(self, told: Section) -> set[str]:
        self._put("pour", poured=told["batches"], front=told["strip"])
        changed = {"pour"} | self._note(told["text"], "say")
        for n in range(told["batches"]):
            changed |= self._mark(str(n + 1), "done")
        return changed

    def _on_front(self, told: Section) -> set[str]:
        self._put("pour", front=told["strip"], dry=[])
        self.sections["last"] = told["text"]
        return {"pour", "last"} | self._answered()

    def _on_estimate(self, told: Section) -> set[str]:
        self._put("pour", estimate=told["text"], short=told["short_bags"])
        return {"pour"}

    def _on_edges(self, told: Section) -> set[str]:
        edges = [
            {"strip": strip, "age_s": age}
            for strip, age in zip(told["strips"], told["ages_s"], strict=True)
        ]
        self._put("pour", edges=edges, left_s=told["left_s"])
        return {"pour"}

    def _on_edge(self, told: Section) -> set[str]:
        return self._note(told["text"], "warn")

    def _on_dry(self, told: Section) -> set[str]:
        self._put("pour", dry=told["markers"])
        return {"pour"} | self._note(told["text"], "warn")

    def _on_prepour(self, told: Section) -> set[str]:
        self._put("pour", unticked=told["left"])
        return {"pour"} | self._note(f"Not ticked before: {', '.join(told['left'])}.", "warn")

    def _on_ticked(self, told: Section) -> set[str]:
        left = [step for step in self.sections["pour"]["unticked"] if step != told["step"]]
        self._put("pour", unticked=left)
        return {"pour"} | self._note(told["text"], "say")

    # --- parts ------------------------------------------------------------------------------

    def _go(self, mode: str, label: str, told: Section, where: str) -> set[str]:
        """Name the place to go to, and draw how to find it."""
        self._prompt = None
        x, y = told.get("x_mm"), told.get("y_mm")
        measures: list[Any] = []
        if self._measures is not None and x is not None and y is not None:
            measures = [
                {"x": round(foot[0]), "y": round(foot[1]), "text": text}
                for foot, _, text in self._measures(x, y)
            ]
        stale = self.sections["now"]["stale"]
        here = {"label": label, "x": x, "y": y, "measures": measures}
        now = {"mode": mode, "text": label, "label": label, "where": where, "stale": stale}
        self.sections["here"], self.sections["now"] = here, now
        return {"here", "now"}

    def _mark(self, label: str, state: str) -> set[str]:
        place = self._places.get(label)
        if place is None:
            return set()
        place["state"] = state
        self.sections["count"] = self._count()
        return {"places", "count"}

    def _count(self) -> Section:
        done = sum(place["state"] in ("done", "doubt") for place in self._places.values())
        return {"done": done, "of": len(self._places)}

    def _answered(self) -> set[str]:
        before, self.sections["ask"] = self.sections["ask"], None
        return {"ask"} if before else set()

    def _note(self, text: str, level: str) -> set[str]:
        notes = [note for note in self.sections["notes"] if note["text"] != text]
        self.sections["notes"] = [{"text": text, "level": level}, *notes][:MOST_NOTES]
        return {"notes"}

    def _cue(self, told: Section, now_s: float) -> set[str]:
        """Say and sound what an event means."""
        name = told["event"]
        tone = told["move"] if name == "prompt" else TONES.get(name, "")
        say = spoken_event(told)
        if name == "prompt":
            said_s, said = self._said
            if say == said and now_s - said_s < SPOKEN_AGAIN_S:
                say = ""
            else:
                self._said = (now_s, say)
        elif say:
            self._said = (now_s, "")  # after other words the prompt is news again
        if not (tone or say):
            return set()
        self._cues += 1
        text = told.get("text", "") if name in ("set", "prompt") else ""
        cue = {"n": self._cues, "say": say, "tone": tone, "text": text}
        self.sections["cues"] = [*self.sections["cues"], cue][-MOST_CUES:]
        return {"cues"}

    def _put(self, section: str, **values: Any) -> None:
        self.sections[section] = {**(self.sections[section] or {}), **values}


def _shown(now: Section) -> str:
    """What stands in the page's big line: a stale prompt never."""
    taken_back = now["mode"] in ("prompt", "wait") or now["stale"] == LINK_LOST
    if now["stale"] and taken_back and now["mode"] not in ("batch", "done"):
        return str(now["stale"])
    return str(now["text"])


def places_of(rows: Iterable[tuple[str, float, float]], done: Iterable[str]) -> list[Section]:
    """Make the places of a scene from labels and coordinates."""
    had = set(done)
    return [
        {
            "label": label,
            "x": round(x_mm, 1),
            "y": round(y_mm, 1),
            "state": "done" if label in had else "todo",
        }
        for label, x_mm, y_mm in rows
    ]
