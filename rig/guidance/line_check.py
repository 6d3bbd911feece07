"""Compares today's laser line with the survey's, by one sight on a place of known height."""

import math
from dataclasses import dataclass
from typing import NamedTuple

from rig.events import Check, Checked
from rig.units import Units
from rig.words.typed import stand_or_read

SIGMAS = 3.0
"""A line that differs by more than this many standard errors was moved: 0.3 % of the lines that
were not are stopped for nothing (normal distribution)."""


SECOND_LOOK_S = 6.0
"""A line that looks moved gets a second sight: the rod may not be on its place yet."""
BREAK_S = 15 * 60.0
"""After so long without a reading the line is checked anew (common practice, no source)."""
UNCHECKED = (
    "The line is not checked against the survey: if the laser was moved or restarted, every "
    "marker will be off by as much."
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
    way = "higher" if difference >= 0 else "lower"
    text = f"the line reads {units.off(difference)} {way} than at the survey"
    if retie:
        text += "; it is tied again, and every target follows it"
    elif ok:
        text += f", within the {units.off(allowed)} that noise allows"
    else:
        text += ": the laser was moved or restarted. Tie it again: rig set --setup NAME"
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
