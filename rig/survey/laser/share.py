"""The laser's share in the doubt: what its own errors do to every height shot from it.

An error of the line is the same in all shots that it spoils, so more shots do not average it out.
Each is kept apart as a unit effect on the shots (a column) and a standard uncertainty (JCGM
100:2008, 5.2: correlated input quantities), for whoever has to carry it on.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from rig.language import say
from rig.survey.laser.verdict import USUAL_LIMIT_MM_PER_M
from rig.survey.setups import Sight, adjust
from rig.units import METRIC, Units

Floats = npt.NDArray[np.float64]
Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Trust:
    """Standard uncertainties of a line's errors, in mm per m, and where they are from.

    Attributes
    ----------
    radial_mm_per_m : float
        Of the climb with distance, the same at every set-up of one laser.
    tilt_mm_per_m : float
        Of the slope along either of two axes; its direction is another at each set-up.
    told : tuple of str
        A sentence each.
    corrected_mm_per_m : mapping of str to float
        The same where the slope of a set-up was measured and is corrected: what that leaves.
    """

    radial_mm_per_m: float
    tilt_mm_per_m: float
    told: tuple[str, ...]
    corrected_mm_per_m: Mapping[str, float] = field(default_factory=dict)


def unchecked(units: Units = METRIC) -> tuple[float, str]:
    """Return what an unchecked laser is trusted with: anything up to the usual figure."""
    # A rectangular distribution's half-width over the root of three (JCGM 100:2008, 4.3.7).
    return USUAL_LIMIT_MM_PER_M / math.sqrt(3.0), (
        say(
            "anything up to {usual_limit_mm_per_m}, a usual maker's figure (common practice, "
            "no source)",
            usual_limit_mm_per_m=units.tilt(USUAL_LIMIT_MM_PER_M),
        )
    )


def at(places: Sequence[Place], own: int, x_mm: Floats, y_mm: Floats) -> Floats:
    """What unit errors do to the line of one set-up over places, (m, 1 + 2 set-ups) in m.

    The first column is the climb with distance, then for each set-up the slopes along x and y.
    """
    right = (np.asarray(x_mm, dtype=float) - places[own][0]) / 1000.0
    up = (np.asarray(y_mm, dtype=float) - places[own][1]) / 1000.0
    line = np.zeros((len(right), 1 + 2 * len(places)))
    line[:, 0] = np.hypot(right, up)
    line[:, 1 + 2 * own], line[:, 2 + 2 * own] = right, up
    return line


def on_shots(
    setups: Mapping[str, Place],
    shot_setups: Sequence[str],
    x_mm: Floats,
    y_mm: Floats,
    sights: Sequence[tuple[Sight, Place | None]] = (),
    reference: str | None = None,
) -> Floats:
    """What unit errors do to the heights that were shot, (n, 1 + 2 set-ups) in m.

    A line that stands too high over a place makes the floor there look too low; the ties carry on
    what it did at the benchmarks, where their places are known.

    Parameters
    ----------
    setups : mapping of str to (x_mm, y_mm)
        Where the laser stood at each set-up that shot something.
    shot_setups : sequence of str
        The set-up of each shot.
    x_mm, y_mm : arrays, shape (n,)
    sights : sequence of (Sight, place or None)
        Of the benchmarks, those from other set-ups in between too; these are taken to be sound.
    reference : str, optional
        Set-up 1, to whose line heights are relative; the first of `setups` unless said.
    """
    names, places = list(setups), list(setups.values())
    effect = np.zeros((len(shot_setups), 1 + 2 * len(names)))
    for own, name in enumerate(names):
        mine = np.array([setup == name for setup in shot_setups], dtype=bool)
        effect[mine] = -at(places, own, x_mm[mine], y_mm[mine])
    if len(names) > 1:
        line_at = {name: n for n, name in enumerate(names)}
        wrong = np.zeros((len(sights), effect.shape[1]))
        for row, (sight, place) in enumerate(sights):
            if place is not None and sight.setup in line_at:
                x, y = np.array([place[0]]), np.array([place[1]])
                wrong[row] = at(places, line_at[sight.setup], x, y)[0]
        order = names if reference is None else [reference, *names]
        for column in range(effect.shape[1]):
            moved = [
                Sight(sight.setup, sight.benchmark, float(mm), sight.stderr_mm)
                for (sight, _), mm in zip(sights, wrong[:, column], strict=True)
            ]
            lines = adjust(order, moved, needed=names).lines
            found = {line.setup: line.line_mm for line in lines}
            effect[:, column] += np.array([found[name] for name in shot_setups])
    return effect


def uncertainties(trust: Trust, setups: Sequence[str | None]) -> Floats:
    """Standard uncertainty of each column, in mm per m; None is a laser that is set up anew."""
    tilts = [
        trust.tilt_mm_per_m
        if name is None
        else trust.corrected_mm_per_m.get(name, trust.tilt_mm_per_m)
        for name in setups
    ]
    return np.array([trust.radial_mm_per_m, *np.repeat(tilts, 2)])
