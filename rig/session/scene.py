"""What a page shows of a session: its events folded into a few named sections.

A phone that comes, wakes or is slow needs only the latest value of each section, so nothing is
ever queued for it. A state machine without I/O: times come in with the events.
"""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, assert_never

from rig.events import (
    Armed,
    Ask,
    AskMarker,
    AskTyped,
    Check,
    Checked,
    Doubtful,
    Dragged,
    Drifted,
    Event,
    Heard,
    Jolted,
    LineChecked,
    LinkBack,
    LinkEvent,
    LinkLost,
    MarkerSet,
    Next,
    NextMarker,
    Noticed,
    Picture,
    PourEvent,
    Prompt,
    PutBack,
    Rest,
    RodsEvent,
    Serving,
    SetAside,
    SetDone,
    SettingEvent,
    SetUp,
    ShotTaken,
    Skipped,
    Slide,
    Standing,
    SurveyDone,
    SurveyEvent,
    Trouble,
    Undone,
    Unset,
    Watched,
)
from rig.language import changed, say
from rig.room import Outline, is_within, wall_feet
from rig.session.beam import DARK_S, Beam
from rig.session.items import PORT
from rig.session.sections import (
    Count,
    Cue,
    Hand,
    Here,
    JobShown,
    Measure,
    Note,
    Now,
    Place,
    PlanShown,
    PourShown,
    Rod,
    Sections,
    SoFar,
    Text,
    Typing,
    places_of,
    plan_of,
)
from rig.units import Units
from rig.words.live import Said, said, stand

if TYPE_CHECKING:
    from rig.job.store import Job

MOST_NOTES = 5
MOST_CUES = 4
"""What is said at one moment, "set" and where next, must all reach the ear."""
SPOKEN_AGAIN_S = 6.0
"""A prompt that stays the same is spoken again after so long."""

Measures = Callable[[float, float], tuple[Measure, ...]]


class Scene:
    """A session as the page shows it; a kind of its own may show its events in its own way.

    Parameters
    ----------
    screen : str
        Which face of the page: survey, set, pour, idle, score.
    title : str
        What is being done, for people.
    units : Units
        Of the job.
    plan : PlanShown
    places : tuple of Place
        Points, markers or batches in their order.
    measures : callable, optional
        From a place to its two measures from the walls.
    acts : tuple of str
        What the page may do.
    pour : PourShown, optional
        A pour as it begins.
    quiet_s : float
        How long no reading may come before that is told.
    by_tape : bool
        Whether readings are typed, so that nobody holds a rod.
    """

    def __init__(
        self,
        screen: str,
        title: str,
        units: Units,
        plan: PlanShown,
        places: tuple[Place, ...] = (),
        *,
        measures: Measures | None = None,
        acts: tuple[str, ...] = (),
        pour: PourShown | None = None,
        quiet_s: float = DARK_S,
        by_tape: bool = False,
    ) -> None:
        self._units, self._measures, self._by_tape = units, measures, by_tape
        self._beam = Beam(math.inf if by_tape else quiet_s)
        self._standing: Standing | None = None
        self._prompting = False
        self._spoken: tuple[float, str] = (0.0, "")
        self._cues = 0
        self._places = {place.label: place for place in places}
        job = JobShown(screen=screen, title=title, units=units.system, acts=acts, tape=by_tape)
        self.sections = Sections(job=job, plan=plan, places=places, pour=pour)
        self._show_places()

    @property
    def acts(self) -> tuple[str, ...]:
        """Names of the acts that the page may do."""
        return self.sections.job.acts

    def hear(self, event: Event, now_s: float) -> set[str]:
        """Take one event of the session; return the names of the sections that it changed."""
        self._beam.hear(event, now_s)
        told = said(event, self._units, self._by_tape)
        changed = self._take(event, told)
        return changed | self._cue(event, told, now_s) | self._take_back(now_s)

    def tick(self, now_s: float) -> set[str]:
        """Take back what is no longer true; return the names of the sections that changed."""
        return self._take_back(now_s)

    def take_places(self, other: "Scene") -> None:
        """Show what is done as another scene of the same work does."""
        self._places = dict(other._places)
        self._show_places()

    def take(self, name: str, payload: bytes) -> set[str]:
        """Take a section that is told; this scene makes its own."""
        return set()

    def practise(self) -> None:
        """Let the page move the rod."""
        self.sections.job = replace(self.sections.job, practice=True)

    def move(self, told: Mapping[str, float | str]) -> set[str]:
        """Show where a trainee has the rod."""
        does, x, y = told.get("do"), told.get("x"), told.get("y")
        if does not in ("carry", "stand") or isinstance(x, str | None) or isinstance(y, str | None):
            return set()
        self.sections.hand = Hand(x=x, y=y, does=str(does))
        return {"hand"}

    def show(self, mode: str, text: str, notes: tuple[Note, ...] = ()) -> None:
        """Show a text that no event tells."""
        self.sections.now, self.sections.notes = Now(mode=mode, text=text), notes

    def _take(self, event: Event, told: Said) -> set[str]:
        if isinstance(event, LinkEvent):
            return self.on_link(event, told)
        if isinstance(event, SurveyEvent):
            return self.on_survey(event, told)
        if isinstance(event, SettingEvent):
            return self.on_setting(event, told)
        if isinstance(event, PourEvent):
            return self.on_pour(event, told)
        if isinstance(event, RodsEvent):
            return self.on_rods(event, told)
        assert_never(event)

    # --- events -----------------------------------------------------------------------------

    def on_link(self, event: LinkEvent, told: Said) -> set[str]:
        """Show the rod, its link, and what was found beside the session."""
        match event:
            case Heard():
                changed = self._chosen()
                if event.value_mm is None or event.status == "bad":
                    return changed
                shown = self._units.length(event.value_mm)
                self.sections.rod = replace(self.sections.rod, shown=shown)
                return changed | {"rod"}
            case Standing():
                self._standing = event
                self._show_standing()
                return {"rod"}
            case LinkLost():
                return self.note(told)
            case LinkBack():
                return self.note(told) | self._offer(None)
            case Noticed():
                return self.note(told) | (self._offer(event.port) if event.port else set())
            case Doubtful():
                return self.mark(event.label, "doubt") | self.note(told)
            case Picture():
                x, y = round(event.high.x_mm), round(event.high.y_mm)
                self.sections.sofar = SoFar(text=told.text, x=x, y=y)
                return {"sofar"}
            case Serving():
                return set()
        assert_never(event)

    def _offer(self, port: str | None) -> set[str]:
        """Let the page go on with a port that came, where it may act, until the rod is back."""
        acts = tuple(act for act in self.acts if act != PORT)
        if port is not None and acts:
            acts = (PORT, *acts)
        if acts == self.acts:
            return set()
        self.sections.job = replace(self.sections.job, acts=acts)
        return {"job"}

    def on_survey(self, event: SurveyEvent, told: Said) -> set[str]:
        """Show where to go, what was taken, and what the line did."""
        match event:
            case Next():
                where = _where(event.text, event.label)
                return self.go("go", event.label, event.x_mm, event.y_mm, where) | self.answered()
            case Armed():
                where = _where(event.text, event.label)
                return self.go("hold", event.label, event.x_mm, event.y_mm, where)
            case Check():
                where = say(
                    "{text} (expect {expected})",
                    text=event.text,
                    expected=self._units.length(event.expected_mm),
                )
                return self.go("check", event.label, event.x_mm, event.y_mm, where)
            case ShotTaken():
                return self.mark(event.label, "done") | self.last(told)
            case Skipped():
                return self.mark(event.label, "skipped") | self.last(told)
            case Undone():
                self.sections.sofar = None  # until the next shot tells anew
                return self.mark(event.label, "todo") | self.last(told) | {"sofar"}
            case Ask():
                return self.ask(event.text)
            case LineChecked() | Trouble() | Drifted() | Watched() | SetUp() | Slide() | Dragged():
                return self.note(told)
            case AskTyped():
                return self._choose(event) | self.note(told)
            case Jolted() | SetAside():
                self.sections.sofar = None
                changed = self.note(told) | {"sofar"}
                for label in event.labels:
                    changed |= self.mark(label, "todo")
                return changed
            case PutBack():
                changed = self.note(told)
                for label in event.labels:
                    changed |= self.mark(label, "done")
                return changed
            case SurveyDone():
                return self.done(told)
        assert_never(event)

    def on_setting(self, event: SettingEvent, told: Said) -> set[str]:
        """Show the prompt, and which markers are set."""
        match event:
            case Prompt():
                self._prompting = True
                _, _, amount = event.text.partition(" ")
                self.sections.now = Now(
                    mode="prompt",
                    text=event.text,
                    move=event.move,
                    amount=amount,
                    label=event.marker,
                )
                return {"now"}
            case NextMarker():
                where = _where(event.text, event.marker)
                return self.go("go", event.marker, event.x_mm, event.y_mm, where) | self.answered()
            case Checked():
                return self.note(told)
            case MarkerSet():
                self._prompting = False
                return self.mark(event.marker, "done") | self.last(told)
            case Unset():
                changed = self.mark(event.marker, "todo")
                self.sections.last = told.text
                return changed | {"last"}
            case AskMarker():
                return self.ask(event.text)
            case SetDone():
                return self.done(told)
        assert_never(event)

    def on_pour(self, event: PourEvent, told: Said) -> set[str]:
        """Show nothing of a pour; its own scene does."""
        return set()

    def on_rods(self, event: RodsEvent, told: Said) -> set[str]:
        """Show that a rod rests, or what did not arrive."""
        if isinstance(event, Rest):
            self.sections.now = Now(mode="wait", text=told.text)
            self.sections.here = None
            return {"now", "here"}
        return self.note(told) if told.text else set()

    # --- parts ------------------------------------------------------------------------------

    def go(
        self,
        mode: str,
        label: str,
        x_mm: float | None,
        y_mm: float | None,
        where: str,
        text: str | None = None,
    ) -> set[str]:
        """Name the place to go to, and draw how to find it."""
        self._prompting = False
        measures: tuple[Measure, ...] = ()
        if self._measures is not None and x_mm is not None and y_mm is not None:
            measures = self._measures(x_mm, y_mm)
        self.sections.here = Here(label=label, x=x_mm, y=y_mm, measures=measures)
        self.sections.now = Now(
            mode=mode,
            text=label if text is None else text,
            label=label,
            where=where,
            stale=self.sections.now.stale,
        )
        return {"here", "now"}

    def mark(self, label: str, state: str) -> set[str]:
        """Show a place as to do, done, skipped or doubtful."""
        if label not in self._places:
            return set()
        self._places[label] = replace(self._places[label], state=state)
        self._show_places()
        return {"places", "count"}

    def last(self, told: Said) -> set[str]:
        """Show what was done last, which answers whatever was asked."""
        self.sections.last = told.text
        return {"last"} | self.answered()

    def ask(self, text: str) -> set[str]:
        """Show a question."""
        self.sections.ask = Text(text=text)
        return {"ask"}

    def answered(self) -> set[str]:
        """Take the question away."""
        before, self.sections.ask = self.sections.ask, None
        return {"ask"} if before else set()

    def note(self, told: Said) -> set[str]:
        """Show a sentence over the ones before it."""
        level = "warn" if told.level == "warn" else "say"
        others = [note for note in self.sections.notes if note.text != told.text]
        self.sections.notes = (Note(text=told.text, level=level), *others[: MOST_NOTES - 1])
        return {"notes"}

    def done(self, told: Said) -> set[str]:
        """Show that it is over."""
        self._prompting = False
        self.sections.now = Now(mode="done", text=told.text)
        self.sections.here = self.sections.ask = None
        return {"now", "here", "ask"}

    def type_in(self, unit: str) -> set[str]:
        """Show what unit typed numbers are in."""
        self.sections.typing = Typing(unit=unit)
        return {"typing"}

    def over(self, text: str) -> set[str]:
        """Show that the session has come to its end, and why where it broke off."""
        if self.sections.home is not None:
            self.sections.home = replace(self.sections.home, over=True)
        if text:
            self.sections.now = Now(mode="done", text=text)
            self.sections.here = self.sections.ask = None
        return {"home", "now", "here", "ask"}

    def _choose(self, event: AskTyped) -> set[str]:
        """Offer the units that a typed number may be in."""
        if self.sections.typing is None or not event.choices:
            return set()
        self.sections.typing = replace(self.sections.typing, choices=tuple(event.choices))
        return {"typing"}

    def _chosen(self) -> set[str]:
        """Take the choice of units away: a reading has come."""
        if self.sections.typing is None or not self.sections.typing.choices:
            return set()
        self.sections.typing = replace(self.sections.typing, choices=())
        return {"typing"}

    def _show_places(self) -> None:
        places = tuple(self._places.values())
        done = sum(place.state in ("done", "doubt") for place in places)
        self.sections.places = places
        self.sections.count = Count(done=done, of=len(places))

    def _show_standing(self) -> None:
        """Show how the rod stands, as the machine told it last."""
        state, still = "", 0.0
        if self._standing is not None:
            state, still = stand(self._standing), self._standing.still
        self.sections.rod = replace(self.sections.rod, state=state, still=still)

    def _take_back(self, now_s: float) -> set[str]:
        now, stale = self.sections.now, self._beam.state(now_s)
        if now.stale == stale or now.mode == "done":
            return set()
        if not stale and self._prompting:
            # What was said last may be untrue by now: it comes back with the next prompt.
            now = replace(now, mode="wait", text="…", move="", amount="")
        self.sections.now = replace(now, stale=stale)
        if stale:
            self.sections.rod = Rod(state=stale)
        else:
            self._show_standing()
        return {"now", "rod"}

    def _cue(self, event: Event, told: Said, now_s: float) -> set[str]:
        """Say and sound what an event means."""
        ear = told.ear
        if isinstance(event, Prompt):
            spoken_s, spoken = self._spoken
            if ear == spoken and now_s - spoken_s < SPOKEN_AGAIN_S:
                ear = ""
            else:
                self._spoken = (now_s, ear)
        elif ear:
            self._spoken = (now_s, "")  # after other words the prompt is news again
        if not (told.tone or ear):
            return set()
        self._cues += 1
        text = event.text if isinstance(event, Prompt | MarkerSet) else ""
        cue = Cue(n=self._cues, say=ear, tone=told.tone, text=text)
        self.sections.cues = (*self.sections.cues, cue)[-MOST_CUES:]
        return {"cues"}


def _where(text: str, label: str) -> str:
    """Return how to find a place, without its label, which is shown larger."""
    return changed(text, partial(_without, label))


def _without(label: str, text: str) -> str:
    found = re.match(rf"{re.escape(label)}\s*:\s*", text)
    where = text[found.end() :] if found else text
    return "" if where == label else where


def measures_of(outline: Outline, units: Units) -> Measures:
    """Return what measures places from the walls."""

    def measures(x_mm: float, y_mm: float) -> tuple[Measure, ...]:
        if not is_within(outline, x_mm, y_mm):
            return ()
        return tuple(
            Measure(x=round(foot[0]), y=round(foot[1]), text=units.place(distance))
            for foot, distance in wall_feet(outline, x_mm, y_mm)
        )

    return measures


def idle_scene(job: "Job", outline: Outline, acts: tuple[str, ...] = ()) -> Scene:
    """Show a job in which nothing is going on: its plan and what is done of it."""
    markers = job.markers()
    if markers:
        rows = [(marker.label, marker.x_mm, marker.y_mm) for marker in markers]
        done = [marker.label for marker in markers if marker.is_set]
    else:
        rows = [(point.label, point.x_mm, point.y_mm) for point in job.points()]
        done = [shot.point for shot in job.shots(kinds=["floor"])]
    title = say("Markers") if markers else say("Survey")
    places = places_of(rows, done)
    scene = Scene("idle", title, job.units, plan_of(outline), places, acts=acts)
    scene.show("idle", say("Nothing is going on"))
    return scene
