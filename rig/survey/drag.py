"""A slide of the rod's foot from one shot to another: stand, slide at the beep, tell the end.

A state machine without I/O or clock. The rod stands still where the slide begins; what comes
from the beep until a press, a tap, or the foot's being lifted is the profile. A rod that slides
over an even floor reads as one that stands, so stillness does not end it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from rig.devices.reading import AWAKE, CLOCK_SET, Reading
from rig.events import Armed, Dragged, Event, Next, Slide, SurveyDone, Trouble
from rig.language import say
from rig.survey.arming import Arming
from rig.survey.slide import (
    MOST_GAP_MM,
    Profile,
    gap_mm,
    lean_of,
    least_mm,
    profile_of,
    shares_of,
)
from rig.survey.stance import Stance
from rig.survey.stand import Stand
from rig.survey.stillness import StillWindow
from rig.units import Units
from rig.words import drag as words

LEAST_S = 2.0
DARK_S = 0.7
"""Without a beam for so long the rod was lifted; a shorter loss is a body in the beam."""
LIFT_MM, LIFT_S, BEFORE_S = 15.0, 0.3, 0.8
"""A foot rises so much in so short a time only off the floor (common practice, no source)."""
SETTLED_MM = 3.0
OFF_MM = 1.0
"""What the end may read off its shot beside the doubts: a foot comes to stand a little beside."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """Where a slide goes: both ends with their places, and how high the end is over the start.

    `rise_stderr_mm` is the doubt of both shots.
    """

    start: Stand
    end: Stand
    rise_mm: float
    rise_stderr_mm: float

    @property
    def ends(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Both places."""
        return _place(self.start), _place(self.end)


class Drag:
    """One slide.

    Parameters
    ----------
    way : Way
    dwell_s, walk_s, still_mm : float
        As for a shot.
    resolution_mm, foot_mm : float
        Of the rod.
    units : Units
    """

    def __init__(
        self,
        way: Way,
        *,
        dwell_s: float,
        walk_s: float,
        still_mm: float,
        resolution_mm: float = 0.0,
        foot_mm: float = 0.0,
        units: Units,
    ) -> None:
        self.finished = False
        self._way, self._units = way, units
        self._window = StillWindow(dwell_s, still_mm, resolution_mm, foot_mm)
        self._arming, self._stance = Arming(walk_s), Stance()
        self._foot = (0.0, 0.0)  # what the rod read where it stood first, and its doubt
        self._begun_s: float | None = None  # of the slide
        self._lit_s = 0.0
        self._read: list[tuple[float, float]] = []

    def start(self, time_s: float) -> Sequence[Event]:
        """Ask for the rod where the slide begins."""
        return [self._armed()]

    def reading(self, reading: Reading) -> Sequence[Event]:
        """Take one reading."""
        if self.finished or reading.status == "bad":
            return ()
        time_s, value_mm = reading.time_s, reading.value_mm
        if reading.status == "no_beam":
            value_mm = None
        if self._begun_s is None:
            told = self._stands(time_s, value_mm)
            pressed = reading.status == "button" and not told
            return [*told, *(self._go(time_s) if pressed else ())]
        if value_mm is None:
            ended = self.tick(time_s)
            return self._arrive(time_s) if not ended and reading.status == "button" else ended
        self._lit_s = time_s
        if self._lifted(time_s, value_mm):
            return self._arrive(self._down_until())
        self._read.append((time_s, value_mm))
        return self._arrive(time_s) if reading.status == "button" else ()

    def typed(self, value_mm: float, stderr_mm: float, time_s: float) -> Sequence[Event]:
        """A tape does not slide."""
        return ()

    def act(self, name: str, time_s: float, argument: str | None = None) -> Sequence[Event]:
        """Do what is asked for: accept, undo, quit."""
        match name:
            case _ if self.finished or name == CLOCK_SET:
                return ()
            case "accept":
                return self._go(time_s) if self._begun_s is None else self._arrive(time_s)
            case "undo":
                return self._again(words.TAKEN_BACK, "undone")
            case "quit" | "skip":
                return self._done()
            case _ if name == AWAKE:
                return self._broken()
        return [Trouble(text=say("there is no act called {name}", name=name), reason="act")]

    def lost(self, time_s: float) -> Sequence[Event]:
        """Hear that the device went away: a profile with a hole is none."""
        self._stance.forget()
        self._arming.interrupt()
        self._window.clear()
        return self._broken()

    def back(self, time_s: float) -> Sequence[Event]:
        """Hear that it is there again."""
        return ()

    def tick(self, time_s: float) -> Sequence[Event]:
        """End where the beam has been gone for long: the rod was lifted."""
        if self.finished or self._begun_s is None or time_s - self._lit_s < DARK_S:
            return ()
        return self._arrive(self._lit_s)

    # Where it begins

    def _armed(self) -> Armed:
        start = self._way.start
        return Armed(label=start.label, x_mm=start.x_mm, y_mm=start.y_mm, text=start.text)

    def _stands(self, time_s: float, value_mm: float | None) -> list[Event]:
        """Wait for a rod that stands still where the slide begins."""
        was_armed = self._arming.armed
        if self._arming.see(time_s, value_mm):
            self._window.clear()
        told: list[Event] = []
        if self._arming.armed and not was_armed:
            told.append(self._armed())
        if value_mm is None:
            self._window.clear()
            return [*told, *self._stance.dark(time_s, self._arming.armed)]
        self._window.add(time_s, value_mm)
        told += self._stance.see(time_s, self._window, self._arming.armed)
        return [*told, *(self._go(time_s) if self._arming.armed else ())]

    def _go(self, time_s: float) -> list[Event]:
        """Let the foot slide, where the rod stands still."""
        if self._window.state() != "still":
            return []
        reading_mm, stderr_mm, _ = self._window.value()
        self._foot = (reading_mm, stderr_mm)
        self._begun_s = self._lit_s = time_s
        self._read = [(time_s, reading_mm)]
        end, (x_mm, y_mm) = self._way.end, self._way.ends[1]
        text = words.slide(end.text)
        return [Slide(label=end.label, x_mm=x_mm, y_mm=y_mm, text=text)]

    # How it ends

    def _lifted(self, time_s: float, value_mm: float) -> bool:
        """Whether the foot has left the floor."""
        before = [value for at, value in self._read if at >= time_s - LIFT_S - 0.1]
        return bool(before) and max(before) - value_mm > LIFT_MM

    def _down_until(self) -> float:
        """When the foot was last on the floor, before it was seen to be lifted."""
        last_s = self._read[-1][0]
        floor = [v for at, v in self._read if last_s - BEFORE_S <= at <= last_s - LIFT_S]
        if not floor:
            return last_s
        middle = median(floor[-3:])
        down = [at for at, value in self._read if abs(value - middle) <= SETTLED_MM]
        return down[-1] if down else last_s

    def _arrive(self, time_s: float) -> list[Event]:
        """Make the profile of what was read until then, or say why there is none."""
        assert self._begun_s is not None
        way, (start_mm, stderr_mm) = self._way, self._foot
        read = [(at, value) for at, value in self._read if at <= time_s]
        seconds = time_s - self._begun_s
        length_mm = math.dist(*way.ends)
        if seconds < LEAST_S:
            return self._again(words.TOO_SHORT, "short")
        shares = shares_of([at for at, _ in read], self._begun_s, time_s)
        if gap_mm(shares, length_mm) > MOST_GAP_MM:
            return self._again(words.GAPS, "gap")
        profile = profile_of(
            shares,
            [value for _, value in read],
            start_mm,
            way.rise_mm,
            math.hypot(stderr_mm, way.rise_stderr_mm),
            way.ends,
            seconds,
        )
        last = [value for at, value in read if at >= time_s - LIFT_S]
        off_mm = median(last) - (start_mm - way.rise_mm)
        mean, _, most = lean_of(start_mm)
        if not -self._allowed(profile) <= off_mm - mean <= self._allowed(profile) + most:
            return self._again(words.elsewhere(way.end.label, abs(off_mm), self._units), "place")
        return [self._told(profile, seconds, len(read), time_s), *self._done()]

    def _allowed(self, profile: Profile) -> float:
        return OFF_MM + 3.0 * profile.stderr_mm

    def _told(self, profile: Profile, seconds: float, n: int, time_s: float) -> Dragged:
        way = self._way
        from_mm, to_mm = way.ends
        return Dragged(
            label=way.start.label,
            to=way.end.label,
            from_mm=from_mm,
            to_mm=to_mm,
            seconds=seconds,
            n=n,
            off_mm=profile.off_mm,
            stderr_mm=profile.stderr_mm,
            lean_mm=profile.lean_mm,
            place_mm=profile.place_mm,
            found=profile.found,
            time_s=time_s,
            text=words.found(
                way.start.label,
                way.end.label,
                from_mm,
                profile.found,
                least_mm(profile.stderr_mm),
                profile.lean_mm,
                self._units,
            ),
        )

    def _broken(self) -> list[Event]:
        return [] if self.finished or self._begun_s is None else self._again(words.BROKEN, "gap")

    def _again(self, text: str, reason: str) -> list[Event]:
        """Ask for the slide anew; the rod has to be carried back first."""
        if self._begun_s is not None and self._read:
            here_mm = self._read[-1][1]
            band_mm = max(3.0 * self._window.spread_mm, self._window.still_mm)
            self._arming.leave(here_mm, band_mm)
        self._begun_s, self._read = None, []
        self._window.clear()
        start = self._way.start
        again = Next(label=start.label, x_mm=start.x_mm, y_mm=start.y_mm, text=start.text)
        return [Trouble(text=text, reason=reason), again]

    def _done(self) -> list[Event]:
        self.finished = True
        return [SurveyDone(shots=0, skipped=())]


def _place(stand: Stand) -> tuple[float, float]:
    assert stand.x_mm is not None
    assert stand.y_mm is not None
    return stand.x_mm, stand.y_mm
