"""Cross check: the line's tilt along two axes, from one fixed target and four headings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rig.errors import BadInput
from rig.language import numeral, say
from rig.survey.laser.verdict import SIGMAS

Floats = npt.NDArray[np.float64]

HEADINGS = (0, 90, 180, 270)


@dataclass(frozen=True, slots=True)
class Turn:
    """The target read with the laser turned to a heading, from a distance."""

    heading_deg: float
    reading_mm: float
    dist_mm: float
    stderr_mm: float


@dataclass(frozen=True, slots=True)
class Cross:
    """What the check found.

    Attributes
    ----------
    tilt_mm_per_m : (float, float)
        Along the laser's own axes: x points at the target at heading 0, y at heading 90.
    stderr_mm_per_m : float
        Of each of the two.
    closure_mm : float
        r0 + r180 − r90 − r270, nothing but noise in a sound check; the worst of the distances.
    closure_allowed_mm : float
        Three standard errors of it.
    return_mm, return_allowed_mm : float or None
        Last less first reading of a heading that was read again. The closure cannot see a laser
        knocked between the second and the third heading; this does.
    cone_mm_per_m, cone_stderr_mm_per_m : float or None
        With two distances only.
    left_mm_per_m : float or None
        What a correction of either tilt leaves open, where a heading was read again.
    """

    tilt_mm_per_m: tuple[float, float]
    stderr_mm_per_m: float
    closure_mm: float
    closure_allowed_mm: float
    return_mm: float | None
    return_allowed_mm: float | None
    cone_mm_per_m: float | None
    cone_stderr_mm_per_m: float | None
    left_mm_per_m: float | None

    @property
    def closes(self) -> bool:
        """Say whether the readings agree with each other within their noise."""
        return agree(
            self.closure_mm, self.closure_allowed_mm, self.return_mm, self.return_allowed_mm
        )


def agree(
    closure_mm: float,
    closure_allowed_mm: float,
    return_mm: float | None,
    return_allowed_mm: float | None,
) -> bool:
    """Say whether closure and return are within what noise allows."""
    if return_mm is not None and return_allowed_mm is not None:
        return abs(return_mm) <= return_allowed_mm and abs(closure_mm) <= closure_allowed_mm
    return abs(closure_mm) <= closure_allowed_mm


def cross(turns: Sequence[Turn], rise_mm: float = 0.0) -> Cross:
    r"""Find the tilt of a line, and with a second distance its cone.

    :math:`t_x = (r_0 - r_{180}) / 2D`, :math:`t_y = (r_{90} - r_{270}) / 2D`; two distances are
    weighed by what each can tell.

    Parameters
    ----------
    turns : sequence of Turn
        Every heading of 0, 90, 180, 270 from each of one or two distances; a heading read again
        is averaged.
    rise_mm : float
        Height of the second target over the first, against the laser: the cone is told apart from
        it by nothing else.

    Raises
    ------
    BadInput
        Headings that are missing or others, or a distance that is nothing.
    """
    for turn in turns:
        _refuse_odd(turn)
    distances = list(dict.fromkeys(turn.dist_mm for turn in turns))
    if len(distances) > 2:
        raise BadInput(say("The cross takes one distance, or two for the cone, not more."))
    rounds = [_round(turns, dist_mm) for dist_mm in distances]
    if not rounds:
        raise BadInput(say("The cross needs the four readings at headings 0, 90, 180 and 270."))

    along = np.array([[(r[0] - r[2]), (r[1] - r[3])] for r, _ in rounds])
    noise = np.array([max(v[0] + v[2], v[1] + v[3]) for _, v in rounds])
    twice_m = np.array([2.0 * dist_mm / 1000.0 for dist_mm in distances])
    weight = twice_m**2 / noise
    tilt = (weight / twice_m) @ along / weight.sum()

    closures = [float(r[0] + r[2] - r[1] - r[3]) for r, _ in rounds]
    allowed = [SIGMAS * math.sqrt(float(v.sum())) for _, v in rounds]
    worst = max(range(len(rounds)), key=lambda k: abs(closures[k]) / allowed[k])
    cone = cone_stderr = None
    if len(rounds) == 2:
        (near, near_var), (far, far_var) = rounds
        apart_m = (distances[1] - distances[0]) / 1000.0
        cone = float(far.mean() - near.mean() + rise_mm) / apart_m
        cone_stderr = math.sqrt(float(near_var.sum() + far_var.sum())) / 4.0 / abs(apart_m)
    return_mm, return_allowed_mm = _return(turns)
    worst_stderr = max(turn.stderr_mm for turn in turns)
    return Cross(
        (float(tilt[0]), float(tilt[1])),
        1.0 / math.sqrt(float(weight.sum())),
        closures[worst],
        allowed[worst],
        return_mm,
        return_allowed_mm,
        cone,
        cone_stderr,
        None
        if return_mm is None
        else _left(worst_stderr, closures[worst], return_mm, min(distances) / 1000.0),
    )


def _refuse_odd(turn: Turn) -> None:
    if not all(map(math.isfinite, (turn.heading_deg, turn.reading_mm, turn.stderr_mm))):
        raise BadInput(say("A reading of the cross needs a finite heading and reading."))
    if turn.heading_deg % 360 not in HEADINGS:
        raise BadInput(
            say(
                "Heading {heading_deg} is none of the cross: turn the laser to 0, 90, 180 and "
                "270 degrees.",
                heading_deg=numeral(turn.heading_deg, "g"),
            )
        )
    if not (math.isfinite(turn.dist_mm) and turn.dist_mm > 0):
        raise BadInput(say("The distance to the target must be more than nothing (--dist)."))
    if turn.stderr_mm <= 0:
        raise BadInput(say("The doubt of a reading must be more than nothing."))


def on_plan(
    tilt_mm_per_m: tuple[float, float], towards: tuple[float, float], clockwise: bool
) -> tuple[float, float]:
    r"""Turn a tilt from the laser's own axes to the plan, for a laser that stands at heading 0.

    With :math:`u` the unit vector to the target, the slope is :math:`t_x u + t_y v`. What looks at
    the target at heading 90 looks along :math:`v` at heading 0: a quarter turn against the way in
    which the laser was turned.

    Parameters
    ----------
    tilt_mm_per_m : (float, float)
        As the check finds it.
    towards : (float, float)
        From the laser to the target on the plan, x to the right and y up; any length but nothing.
    clockwise : bool
        Which way the laser was turned, seen from above.

    Returns
    -------
    (float, float)
        Slope of the line along the plan's x and y, mm per m.
    """
    away = math.hypot(*towards)
    x, y = towards[0] / away, towards[1] / away
    side = (-y, x) if clockwise else (y, -x)
    along, across = tilt_mm_per_m
    return along * x + across * side[0], along * y + across * side[1]


def _left(stderr_mm: float, closure_mm: float, return_mm: float, dist_m: float) -> float:
    """Doubt of either slope once it is corrected, mm per m.

    A self-levelling line comes back to a heading only so well. What one reading scatters by holds
    that too: the most that noise, closure (of four readings) and return (of two) say. Two such
    readings make a tilt, and the line that is left standing has one of its own (JCGM 100:2008,
    5.1.2).
    """
    one = max(stderr_mm, abs(closure_mm) / 2.0, abs(return_mm) / math.sqrt(2.0))
    return one / dist_m * math.sqrt(2.0 / 4.0 + 1.0)


def _return(turns: Sequence[Turn]) -> tuple[float, float] | tuple[None, None]:
    """Return the worst change of a heading that was read again, and what noise allows of it."""
    first: dict[tuple[float, float], Turn] = {}
    changes = []
    for turn in turns:
        before = first.setdefault((turn.dist_mm, turn.heading_deg % 360), turn)
        if before is not turn:
            allowed = SIGMAS * math.hypot(before.stderr_mm, turn.stderr_mm)
            changes.append((turn.reading_mm - before.reading_mm, allowed))
    return max(changes, key=lambda c: abs(c[0]) / c[1]) if changes else (None, None)


def _round(turns: Sequence[Turn], dist_mm: float) -> tuple[Floats, Floats]:
    """Return means and their variances at the four headings from one distance."""
    means, variances = [], []
    for heading in HEADINGS:
        here = [t for t in turns if t.dist_mm == dist_mm and t.heading_deg % 360 == heading]
        if not here:
            raise BadInput(
                say(
                    "Heading {heading} is missing: read the target at 0, 90, 180 and 270 degrees.",
                    heading=heading,
                )
            )
        means.append(math.fsum(t.reading_mm for t in here) / len(here))
        variances.append(math.fsum(t.stderr_mm**2 for t in here) / len(here) ** 2)
    return np.array(means), np.array(variances)
