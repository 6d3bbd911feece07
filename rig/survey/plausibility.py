"""Doubts whether what a rod says can be so: told at once, never acted upon.

`Guard` is a state machine without I/O or clock beside the survey's or the setting's: it watches
the readings for a display that hangs, a unit mixed up and readings longer than the rod, the shots
for steps that no floor makes, and says once what else is wrong with the device. The installer
decides.
"""

import math
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

from rig.devices.decoder import DUPLICATE, OUT_OF_ORDER
from rig.devices.reading import Reading
from rig.events import (
    Check,
    Checked,
    Event,
    Jolted,
    LineChecked,
    Next,
    NextBatch,
    NextMarker,
    PutBack,
    SetAside,
    SetDone,
    SetUp,
    ShotTaken,
    Skipped,
    SurveyDone,
    Trouble,
    Undone,
)
from rig.language import join, numeral, say, say_many
from rig.survey.mirrored import SenseWatch
from rig.survey.table_doubts import times_apart

# Common practice, no source: floors to be levelled fall less than this between neighbours.
STEP_MM = 10.0
SLOPE_MM_PER_M = 10.0
NEIGHBOURS = 3
MOVED_MM = 1.0

UNIT_S = 0.5

BLOCK_S, BLOCK_READINGS = 0.5, 8
REST_MM = 2.0
FLUTTER = 0.4
"""Share of readings that differ from the one before, at rest, of a rod whose noise shows."""
FLUTTER_BLOCKS = 5
STUCK_S, STUCK_READINGS = 2.0, 20
NEVER_CHANGED_S = 30.0
FINE_DIGIT_MM = 0.2
"""A coarser digit may well stand still for long."""

LOW_BATTERY_PERCENT = 15


@dataclass
class Counts:
    """What went wrong on the way, over a session."""

    damaged: int = 0
    repeated: int = 0
    missed: int = 0
    lost: int = 0

    def told(self, done: SurveyDone | SetDone) -> SurveyDone | SetDone:
        """Return the last word of a session with the counts that are not 0."""
        damaged, repeated = self.damaged or None, self.repeated or None
        missed, lost = self.missed or None, self.lost or None
        match done:  # apart, since only then the type checker sees the fields
            case SurveyDone():
                return replace(done, damaged=damaged, repeated=repeated, missed=missed, lost=lost)
            case SetDone():
                return replace(done, damaged=damaged, repeated=repeated, missed=missed, lost=lost)

    @property
    def text(self) -> str:
        """Say what there is to say, or nothing."""
        parts = [
            say(message, count=count)
            for count, message in (
                (self.damaged, say("{count} damaged")),
                (self.missed, say("{count} never came")),
                (self.repeated, say("{count} came twice or late")),
            )
            if count
        ]
        told = []
        if parts:
            told.append(
                say("Messages of the rod: {parts}; none of them was used.", parts=join(", ", parts))
            )
        if self.lost:
            told.append(say_many("Link lost once.", "Link lost {count} times.", self.lost))
        return join(" ", told)


@dataclass(frozen=True)
class _Place:
    label: str
    x_mm: float
    y_mm: float
    reading_mm: float


def _places_of(shots: Iterable[ShotTaken]) -> list[_Place]:
    return [
        _Place(shot.label, shot.x_mm, shot.y_mm, shot.reading_mm)
        for shot in shots
        if shot.x_mm is not None and shot.y_mm is not None
    ]


class Guard:
    """Watches one session.

    Parameters
    ----------
    resolution_mm : float
        One digit of the rod's display.
    shortest_mm, longest_mm : float
        What the rod can read.
    shots : iterable of (label, x_mm, y_mm, reading_mm)
        Floor shots under the same line, from before.
    benchmarks : mapping
        What benchmarks read under this line before, by label: ``(reading_mm, stderr_mm)``.
    heights_mm : iterable of float
        Other readings that this line is expected to give, such as the targets of markers.
    sense : SenseWatch, optional
        Watches which way the readings run.
    by_tape : bool
        Whether readings are typed, so that there is no clamp to slip.
    show : callable
        Writes a length for people.
    """

    def __init__(
        self,
        *,
        resolution_mm: float = 0.1,
        shortest_mm: float = 0.0,
        longest_mm: float = math.inf,
        shots: Iterable[tuple[str, float, float, float]] = (),
        benchmarks: Mapping[str, tuple[float, float]] | None = None,
        heights_mm: Iterable[float] = (),
        sense: SenseWatch | None = None,
        by_tape: bool = False,
        show: Callable[[float], str] = "{:.1f} mm".format,
    ) -> None:
        self.counts = Counts()
        self._resolution_mm = resolution_mm
        self._shortest_mm, self._longest_mm = shortest_mm, longest_mm
        self._show = show
        self._slips = (
            say("a reading is wrong, or the laser moved")
            if by_tape
            else (say("the line or the clamp has moved"))
        )
        self._asks = (
            say("was it misread, or did the laser move")
            if by_tape
            else say("did the clamp slip, or the laser move")
        )
        self._sense = sense or SenseWatch()
        self._benchmarks = dict(benchmarks or {})
        self._places = [_Place(*shot) for shot in shots]
        self._heights = [place.reading_mm for place in self._places] + list(heights_mm)
        self._usual_mm = median(self._heights) if self._heights else 0.0
        self._said: set[str] = set()
        self._away = False  # on a benchmark, whose height says nothing of the floor's
        # The run of equal readings, the present block of readings, and how blocks at rest flutter.
        self._same: tuple[float, float, int] | None = None
        self._block: list[tuple[float, float]] = []
        self._flutters: deque[float] = deque(maxlen=40)
        self._ever_changed = False
        self._odd: list[tuple[float, float]] = []  # readings in a row that seem in another unit

    def reading(self, reading: Reading) -> list[Event]:
        """Take a reading; return the doubts that it raises."""
        self.counts.missed += reading.missed
        if reading.status == "bad":
            return self._bad(reading)
        told: list[Event] = []
        if reading.status == "low_battery":
            told += self._once("battery", say("the rod's battery is low"))
        if reading.value_mm is None:
            self.interrupt()
        elif reading.status != "button":
            told += self._length(reading.value_mm)
            told += self._unit(reading.time_s, reading.value_mm)
            told += self._stuck(reading.time_s, reading.value_mm)
        return told

    def typed(self, value_mm: float) -> list[Event]:
        """Take a reading made by eye: each that no tape can read is told."""
        if self._shortest_mm <= value_mm <= self._longest_mm:
            return []
        text = say(
            "a reading of {show} is outside what a tape reads under a line ({show_2} to "
            "{show_3}): is its unit (--unit) another? Undo it if it was a slip",
            show=self._show(value_mm),
            show_2=self._show(self._shortest_mm),
            show_3=self._show(self._longest_mm),
        )
        return [Trouble(text=text, reason="length")]

    def battery(self, percent: int) -> list[Event]:
        """Hear how full the rod's battery is."""
        if percent > LOW_BATTERY_PERCENT:
            return []
        return self._once("battery", say("the rod's battery is low: {percent} %", percent=percent))

    def lost(self) -> None:
        """Hear that the link broke."""
        self.counts.lost += 1
        self.interrupt()

    def interrupt(self) -> None:
        """Hear that readings so far and those to come do not belong together."""
        self._same = None
        self._block.clear()
        self._odd.clear()

    def event(self, event: Event) -> list[Event]:
        """Hear what the machine made of it; return the doubts about its shots."""
        turned = [Trouble(text=text, reason="sense") for text in self._sense.hear(event)]
        return [*self._shot(event), *turned]

    def _shot(self, event: Event) -> list[Event]:
        match event:
            case Check():
                self._away = True
            case LineChecked() | Checked() | Next() | NextMarker() | NextBatch() | Skipped():
                self._away = False
            case SetUp():  # what was read under another line says nothing
                self._places, self._benchmarks, self._heights = [], {}, []
                self._usual_mm = 0.0
            case Jolted(labels=gone) | SetAside(labels=gone):
                self._places = [place for place in self._places if place.label not in gone]
            case PutBack(shots=shots):
                self._places += _places_of(shots)
            case ShotTaken(kind="floor" | "finished"):
                told = self._step(event)
                self._heights.append(event.reading_mm)
                self._usual_mm = median(self._heights)  # once a shot, not with each reading
                return told
            case ShotTaken():
                return self._moved(event)
            case Undone(label=label):
                self._places = [place for place in self._places if place.label != label]
        return []

    def _once(self, reason: str, text: str) -> list[Event]:
        if reason in self._said:
            return []
        self._said.add(reason)
        return [Trouble(text=text, reason=reason)]

    def _bad(self, reading: Reading) -> list[Event]:
        if reading.problem in (DUPLICATE, OUT_OF_ORDER):
            self.counts.repeated += 1
            return self._once(
                "repeated", say("the rod says some things twice or out of order: each is used once")
            )
        self.counts.damaged += 1
        text = say(
            "a message came damaged ({problem}): such are kept in the log, not used",
            problem=reading.problem,
        )
        return self._once("damaged", text)

    def _length(self, value_mm: float) -> list[Event]:
        inside = self._shortest_mm <= value_mm <= self._longest_mm
        if inside:
            return []
        return self._once(
            "length",
            say(
                "a reading of {show} is outside the rod's length ({show_2} to {show_3}): is "
                "its unit, or --profile, another? Undo it if it was a slip",
                show=self._show(value_mm),
                show_2=self._show(self._shortest_mm),
                show_3=self._show(self._longest_mm),
            ),
        )

    def _unit(self, time_s: float, value_mm: float) -> list[Event]:
        usual = self._usual_mm
        small = value_mm < usual
        if self._away or not times_apart(value_mm, usual):
            self._odd.clear()
            return []
        self._odd.append((time_s, value_mm))
        values = [value for _, value in self._odd]
        if max(values) - min(values) > max(REST_MM, 0.02 * value_mm):
            self._odd = [(time_s, value_mm)]  # a rod that is carried through
        if len(self._odd) < 5 or time_s - self._odd[0][0] < UNIT_S:
            return []
        way, shows, read = ("small", "inches", "mm") if small else ("large", "mm", "inches")
        return self._once(
            "unit",
            say(
                "readings are some 25.4 times too {way} beside those before: does the rod show "
                "{shows} where the profile reads {read}?",
                way=way,
                shows=shows,
                read=read,
            ),
        )

    def _stuck(self, time_s: float, value_mm: float) -> list[Event]:
        self._learn(time_s, value_mm)
        if self._same is None or self._same[1] != value_mm:
            self._ever_changed |= self._same is not None
            self._same = (time_s, value_mm, 1)
            self._said.discard("stuck")
            return []
        since_s, _, n = self._same
        self._same = (since_s, value_mm, n + 1)
        for_s = time_s - since_s
        flutters = len(self._flutters) >= FLUTTER_BLOCKS and median(self._flutters) >= FLUTTER
        hangs = flutters and for_s >= STUCK_S and n + 1 >= STUCK_READINGS
        never = (
            not self._ever_changed
            and self._resolution_mm <= FINE_DIGIT_MM
            and for_s >= NEVER_CHANGED_S
        )
        if not (hangs or never):
            return []
        return self._once(
            "stuck",
            say(
                "the rod has shown {show} without a flicker for {for_} s: does its display "
                "hang? Undo what was taken meanwhile",
                show=self._show(value_mm),
                for_=numeral(for_s, ".0f"),
            ),
        )

    def _learn(self, time_s: float, value_mm: float) -> None:
        """Learn from each block of readings at rest how often the display changes there."""
        block = self._block
        block.append((time_s, value_mm))
        if len(block) < BLOCK_READINGS or time_s - block[0][0] < BLOCK_S:
            return
        values = [value for _, value in block]
        if max(values) - min(values) <= REST_MM:
            changes = sum(a != b for a, b in pairwise(values))
            self._flutters.append(changes / (len(values) - 1))
        block.clear()

    def _moved(self, shot: ShotTaken) -> list[Event]:
        """Hold a fixed point against what it read before under the same line."""
        before = self._benchmarks.get(shot.label)
        self._benchmarks[shot.label] = (shot.reading_mm, shot.stderr_mm)
        if before is None:
            return []
        off_mm = shot.reading_mm - before[0]
        if abs(off_mm) <= max(MOVED_MM, 3.0 * math.hypot(shot.stderr_mm, before[1])):
            return []
        text = say(
            (
                "{label} reads {by} more than before: {slips}. Go on under a new --setup, and "
                "shoot again what was shot since"
            )
            if off_mm > 0
            else (
                "{label} reads {by} less than before: {slips}. Go on under a new --setup, and "
                "shoot again what was shot since"
            ),
            label=shot.label,
            by=self._show(abs(off_mm)),
            slips=self._slips,
        )
        return [Trouble(text=text, reason="moved")]

    def _step(self, shot: ShotTaken) -> list[Event]:
        if shot.x_mm is None or shot.y_mm is None:
            return []
        here = _Place(shot.label, shot.x_mm, shot.y_mm, shot.reading_mm)
        others = [place for place in self._places if place.label != here.label]
        before = [place for place in self._places if place.label == here.label]
        near = _steps_from(here, self._places)
        self._places = [*others, here]
        mends = before and _steps_from(before[-1], others) and not _steps_from(here, others)
        if not near or mends:
            return []
        step_mm = here.reading_mm - near[0].reading_mm
        text = say(
            _step_message(step_mm > 0, near[0].label == here.label),
            label=here.label,
            by=self._show(abs(step_mm)),
            beside=near[0].label,
            asks=self._asks,
        )
        return [Trouble(text=text, reason="step")]


def _step_message(more: bool, same_place: bool) -> str:
    if same_place and more:
        return say(
            "{label} reads {by} more than before, a step that no floor makes: {asks}? Undo and "
            "shoot {label} again to know"
        )
    if same_place:
        return say(
            "{label} reads {by} less than before, a step that no floor makes: {asks}? Undo and "
            "shoot {label} again to know"
        )
    if more:
        return say(
            "{label} reads {by} more than {beside} beside it, a step that no floor makes: {asks}? "
            "Undo and shoot {beside} again to know"
        )
    return say(
        "{label} reads {by} less than {beside} beside it, a step that no floor makes: {asks}? "
        "Undo and shoot {beside} again to know"
    )


def _steps_from(here: _Place, places: list[_Place]) -> list[_Place]:
    """Nearest places where all of them differ from one by a step that no floor makes, else none."""

    def away_mm(place: _Place) -> float:
        return math.hypot(place.x_mm - here.x_mm, place.y_mm - here.y_mm)

    around = sorted(places, key=away_mm)[:NEIGHBOURS]
    near = [place for place in around if away_mm(place) <= 1.5 * away_mm(around[0])]
    beyond = [
        here.reading_mm - place.reading_mm
        for place in near
        if abs(here.reading_mm - place.reading_mm)
        > STEP_MM + SLOPE_MM_PER_M * away_mm(place) / 1000.0
    ]
    if len(beyond) < len(near) or (beyond and min(beyond) * max(beyond) < 0):
        return []
    return near
