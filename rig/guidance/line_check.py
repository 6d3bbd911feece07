"""Compares today's laser line with the survey's, by one sight on a place of known height."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from rig.events import Check, Checked
from rig.language import say
from rig.survey.laser.verdict import SIGMAS
from rig.units import Units
from rig.words.markers import corrected
from rig.words.typed import stand_or_read

RETURN_MM = 0.7
"""How near a laser comes back to its line where nobody moved it, one standard deviation: warmth,
battery, its own levelling (common practice, no source)."""
SECOND_LOOK_S = 6.0
"""A line that looks moved gets a second sight: the rod may not be on its place yet."""
UNCHECKED = say(
    "The line is not checked against the survey: if the laser was moved or restarted, "
    "every marker will be off by as much."
)


@dataclass(frozen=True, slots=True)
class CheckSight:
    """A place of known height.

    `expected_mm` is what today's line reads there if nothing has changed, `noise_mm` one sd of
    measured less expected, the new sight's own standard error left out.
    """

    label: str
    x_mm: float | None
    y_mm: float | None
    expected_mm: float
    noise_mm: float
    where: str = ""


class Steady(NamedTuple):
    """A reading of a rod at rest."""

    mean_mm: float
    stderr_mm: float
    n: int


def ask_for(sight: CheckSight, by_tape: bool) -> Check:
    """Ask for the sight, of a rod or of a tape."""
    place = f" ({sight.where})" if sight.where else ""
    return Check(
        label=sight.label,
        x_mm=sight.x_mm,
        y_mm=sight.y_mm,
        expected_mm=sight.expected_mm,
        text=stand_or_read(f"{sight.label}{place}", by_tape),
    )


class LineSights:
    """Today's line against the survey's, by one sight or more on a place of known height.

    What the sights say corrects the line, as far as they can be believed against a laser that
    stands as it stood: the difference d with its standard error s, and a line that comes back to
    within `RETURN_MM`, make it d / (1 + s²/RETURN²) (the mean of two normal estimates).

    Parameters
    ----------
    sight : CheckSight or None
        The sight to begin with.
    retie : bool
        The laser stands anew: any difference is right.
    by_tape : bool
        A tape is read.
    units : Units
        How amounts are shown.
    """

    def __init__(self, sight: CheckSight | None, retie: bool, by_tape: bool, units: Units) -> None:
        self.wanted = sight
        """The sight that is asked for; None while none is."""
        self.failed: str | None = None
        self.shift_mm = self.shift_stderr_mm = 0.0
        self._good: CheckSight | None = None  # the sight to come back to, once it was good
        self._first_s: float | None = None  # when it looked moved
        self._taken: list[Steady] = []
        self._tied_mm = 0.0  # of a new set-up over the survey's
        self._retie, self._by_tape, self._units = retie, by_tape, units

    def ask(self) -> Check:
        """Ask for the sight."""
        assert self.wanted is not None
        return ask_for(self.wanted, self._by_tape)

    def look_again(self, *, moved: bool) -> bool:
        """Want the sight again that was good before, where there is one.

        What was seen counts no more where the line may have moved since.
        """
        if self.wanted is not None or self._good is None:
            return False
        self.wanted, self._first_s = self._good, None
        if moved:
            self._taken.clear()
        return True

    def is_called(self, label: str) -> bool:
        """Tell whether a label is that of the sight that was good before."""
        return self._good is not None and self._good.label.upper() == label.upper()

    @property
    def looked_moved(self) -> bool:
        """Whether the sight was taken once and did not fit."""
        return self._first_s is not None

    def waited(self, time_s: float, armed: bool) -> bool:
        """Tell whether the rod has had time to be stood anew, after a sight that did not fit."""
        return self._first_s is not None and (armed or time_s - self._first_s >= SECOND_LOOK_S)

    def take(self, steady: Steady, time_s: float) -> Checked:
        """Take a sight; where it is good, the line is corrected and nothing more is wanted."""
        sight = self.wanted
        assert sight is not None
        seen = mean_of([*self._taken, steady])
        checked = compare(sight, seen, time_s, self._retie, self._units)
        if not checked.ok:
            self.failed, self._first_s = checked.text, time_s
            self._taken.clear()
            return checked
        self.failed, self._good, self.wanted = None, sight, None
        error_mm = checked.allowed_mm / SIGMAS
        if self._retie:
            self._retie = False
            self.shift_mm, self.shift_stderr_mm = checked.difference_mm, error_mm
            self._tied_mm = self.shift_mm
            # From now on the spot reads as it did just now.
            self._good = replace(sight, expected_mm=seen.mean_mm, noise_mm=error_mm)
            return checked
        self._taken.append(steady)
        believed = RETURN_MM**2 / (RETURN_MM**2 + error_mm**2)
        self.shift_mm = self._tied_mm + believed * checked.difference_mm
        self.shift_stderr_mm = math.sqrt(believed) * error_mm
        text = corrected(
            checked.text,
            believed * checked.difference_mm,
            self.shift_stderr_mm,
            sight.label,
            self._units,
        )
        return replace(checked, text=text)


def mean_of(sights: Sequence[Steady]) -> Steady:
    """Return the mean of sights that were each stood anew."""
    n = len(sights)
    return Steady(
        math.fsum(one.mean_mm for one in sights) / n,
        math.sqrt(math.fsum(one.stderr_mm**2 for one in sights)) / n,
        sum(one.n for one in sights),
    )


def compare(sight: CheckSight, steady: Steady, time_s: float, retie: bool, units: Units) -> Checked:
    """Judge whether today's line is still the survey's.

    Parameters
    ----------
    sight : CheckSight
        Where the rod stood, and what it should read there.
    steady : Steady
        What it read.
    time_s : float
        When.
    retie : bool
        The laser stands anew: any difference is right, and becomes the line's shift.
    units : Units
        How amounts are shown.

    Returns
    -------
    Checked
        `allowed_mm` is three standard errors of the difference (JCGM 100:2008, 5.1.2: both
        doubts in quadrature).
    """
    difference = steady.mean_mm - sight.expected_mm
    allowed = SIGMAS * math.hypot(sight.noise_mm, steady.stderr_mm)
    ok = retie or abs(difference) <= allowed
    by = units.off(difference)
    found = (
        say("the line reads {by} higher than at the survey", by=by)
        if difference >= 0
        else say("the line reads {by} lower than at the survey", by=by)
    )
    if retie:
        text = say("{found}; it is tied again, and every target follows it", found=found)
    elif ok:
        text = say(
            "{found}, within the {allowed} that noise allows",
            found=found,
            allowed=units.off(allowed),
        )
    else:
        text = say(
            "{found}: the laser was moved or restarted. Tie it again: rig set --setup NAME",
            found=found,
        )
    return Checked(
        label=sight.label,
        difference_mm=difference,
        allowed_mm=allowed,
        ok=ok,
        reading_mm=steady.mean_mm,
        stderr_mm=steady.stderr_mm,
        n=steady.n,
        time_s=time_s,
        text=text,
        x_mm=sight.x_mm,
        y_mm=sight.y_mm,
    )
