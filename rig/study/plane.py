"""Chooses a job's finished plane over its modelled floor: level, held, sloping, or ground for."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rig.errors import BadInput
from rig.quantities.expected import Expectation
from rig.record import OMITTED, Record
from rig.room import contains, where
from rig.study.lasers import shots_of
from rig.study.picture import Picture
from rig.surface.triangulation import Triangulation
from rig.survey.heights import Heights, heights_of
from rig.target.grind import Grinding, cheapest_plane
from rig.target.level import Floats, Plane, chance_min_cover, hold_level, level_plane
from rig.target.lowest import Wishes
from rig.target.programme import Hold
from rig.target.sloped import choose_plane
from rig.units import Units
from rig.words import join, say
from rig.words import plan as words

if TYPE_CHECKING:
    from rig.job.store import Job

HoldGiven = tuple[float, float, float] | str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanWish(Record):
    """What the installer asks of the plane, beside the covers that the job keeps.

    Attributes
    ----------
    max_slope : float or None
        The steepest it may be, as a ratio; None is level.
    holds : tuple of (x_mm, y_mm, z_mm) or str
        Heights relative to the line of set-up 1, or names of thresholds that were shot.
    grind_cost, fill_cost : float or None
        Money a litre.
    short_cost, spare_cost : float or None
        Money a bag.
    confidence : float
    history : Expectation or None
        What this crew and this product took before.
    """

    max_slope: float | None = None
    holds: tuple[HoldGiven, ...] = ()
    grind_cost: float | None = None
    fill_cost: float | None = None
    short_cost: float | None = None
    spare_cost: float | None = None
    confidence: float = 0.95
    history: Expectation | None = field(default=None, metadata=OMITTED)

    def check(self) -> None:
        """Refuse prices that go together where one of them is missing."""
        for one, other, names in (
            (self.grind_cost, self.fill_cost, ("--grind", "--fill")),
            (self.short_cost, self.spare_cost, ("--short-cost", "--spare-cost")),
        ):
            if (one is None) != (other is None):
                raise BadInput(
                    say(
                        "{names} and {names_2} go together: give both prices.",
                        names=names[0],
                        names_2=names[1],
                    )
                )


@dataclass(frozen=True, eq=False)
class Ground:
    """The floor as planes are weighed over it: cells, best estimate, draws of highest spots."""

    x_mm: Floats
    y_mm: Floats
    area_mm2: Floats
    floor_mm: Floats
    draws_mm: NDArray[np.floating]


def ground_of(picture: Picture) -> Ground:
    """Return the floor of a picture as planes are weighed over it."""
    cells = picture.cells
    mean, _ = picture.surface.predict(cells.x_mm, cells.y_mm, quick=True)
    area = cells.share * cells.step_mm**2
    return Ground(cells.x_mm, cells.y_mm, area, mean, picture.extremes.highest_mm)


def holds_of(
    job: "Job", picture: Picture, holds: Sequence[HoldGiven], warnings: list[str]
) -> list[Hold]:
    """Return the heights that the plane is held at; a name is that of a threshold that was shot.

    Raises
    ------
    BadInput
        A name that no threshold has.
    """
    found = []
    thresholds = None
    for hold in holds:
        if isinstance(hold, str):
            thresholds = thresholds or heights_of(shots_of(job), "threshold", job.setups())
            found.append(threshold_hold(hold, thresholds))
            continue
        x_mm, y_mm, height_mm = hold
        if not contains(picture.outline, np.array([x_mm]), np.array([y_mm]))[0]:
            warnings.append(words.hold_off_the_floor())
        found.append(Hold(x_mm, y_mm, height_mm, words.held_height(height_mm, job.units)))
    return found


def threshold_hold(name: str, thresholds: Heights) -> Hold:
    """Return the hold at a threshold that was shot.

    Raises
    ------
    BadInput
        A name that no threshold has.
    """
    if name not in thresholds.labels:
        known = join(", ", thresholds.labels) or say("none yet")
        raise BadInput(
            say(
                "There is no threshold {name!r} (shot: {known}). Shoot it with rig survey "
                "--kind threshold --label {name} --at X,Y, or give --hold X,Y,HEIGHT.",
                name=name,
                known=known,
            )
        )
    n = thresholds.labels.index(name)
    return Hold(
        float(thresholds.x_mm[n]),
        float(thresholds.y_mm[n]),
        float(thresholds.z_mm[n]),
        say("threshold {name}", name=name),
    )


def plane_of(
    picture: Picture,
    floor: Ground,
    wish: PlanWish,
    holds: list[Hold],
    min_cover_mm: float,
    units: Units,
) -> tuple[Plane, float]:
    """Choose the plane before any grinding; return it and the factor of the floor's bound it keeps.

    Raises
    ------
    BadInput
        Wishes that fight each other, or a held height that leaves too little cover.
    """
    extremes = picture.extremes

    def say_place(x: float, y: float) -> str:
        return where(picture.outline, x, y, units)

    grinds = wish.grind_cost is not None
    if wish.max_slope is None and not holds:
        plane = level_plane(extremes.highest_mm, min_cover_mm, extremes.confidence)
        return plane, _factor_of(floor, plane, min_cover_mm)
    if wish.max_slope is None and len(holds) == 1 and not grinds:
        # Beyond the outermost shots a best estimate is a guess: its chance is told, not refused.
        heights = picture.heights
        shots = Triangulation().fit(heights.x_mm, heights.y_mm, heights.z_mm)
        known = shots.inside(floor.x_mm, floor.y_mm)
        plane = hold_level(
            holds[0].height_mm,
            floor.x_mm[known],
            floor.y_mm[known],
            floor.floor_mm[known],
            min_cover_mm,
            units,
            say_place,
        )
        return plane, 0.0
    free = holds if not grinds else []
    chosen = choose_plane(
        Wishes(
            floor.x_mm,
            floor.y_mm,
            floor.area_mm2,
            floor.floor_mm,
            floor.draws_mm,
            min_cover_mm,
            wish.max_slope or 0.0,
            free,
        ),
        extremes.confidence,
        say_place,
        units,
    )
    return chosen.plane, _factor_of(floor, chosen.plane, min_cover_mm)


def _factor_of(floor: Ground, plane: Plane, min_cover_mm: float) -> float:
    """Return k for which mean + k·sd of the floor's highest spots just reaches under a plane."""
    spread = np.sqrt(np.mean((floor.draws_mm - floor.floor_mm) ** 2, axis=0))
    room = plane.at(floor.x_mm, floor.y_mm) - min_cover_mm - floor.floor_mm
    return float(np.min(room / np.maximum(spread, 1e-6)))


def grind_for(
    floor: Ground,
    wish: PlanWish,
    holds: list[Hold],
    min_cover_mm: float,
    factor: float,
    confidence: float,
) -> tuple[Grinding, Ground]:
    """Choose the cheapest plane with grinding; return it and the floor ground for it.

    What stands near the plane but is not ground must not stand over it: the bound's factor is the
    least for which the minimum cover is kept everywhere with the confidence.
    """
    grind_cost, fill_cost = wish.grind_cost, wish.fill_cost
    assert grind_cost is not None
    assert fill_cost is not None
    spread = np.sqrt(np.mean((floor.draws_mm - floor.floor_mm) ** 2, axis=0))

    def at(k: float) -> tuple[Grinding, Ground, bool]:
        ground = cheapest_plane(
            floor.x_mm,
            floor.y_mm,
            floor.area_mm2,
            floor.floor_mm,
            floor.floor_mm + k * spread,
            min_cover_mm,
            grind_cost,
            fill_cost,
            wish.max_slope or 0.0,
            holds,
        )
        after = _once_ground(floor, ground, min_cover_mm)
        chance = chance_min_cover(
            ground.plane, after.draws_mm, after.x_mm, after.y_mm, min_cover_mm
        )
        return ground, after, chance >= confidence

    best = at(factor)
    if best[2]:
        return best[:2]
    low, high = factor, factor + 4.0
    best = at(high)
    for _ in range(7):
        middle = 0.5 * (low + high)
        tried = at(middle)
        low, high = (low, middle) if tried[2] else (middle, high)
        best = tried if tried[2] else best
    return best[:2]


def _once_ground(floor: Ground, ground: Grinding, min_cover_mm: float) -> Ground:
    """The floor once it is ground: the rod has seen to it that no ground cell is too high."""
    most = ground.plane.at(floor.x_mm, floor.y_mm) - min_cover_mm
    cut = ground.depth_mm > 0
    mean = np.where(cut, np.minimum(floor.floor_mm, most), floor.floor_mm)
    draws = floor.draws_mm.copy()
    # Draws are single floats: a hair lower, so that rounding never lifts one over the limit.
    draws[:, cut] = np.minimum(draws[:, cut], (most[cut] - 1e-3).astype(draws.dtype))
    return Ground(floor.x_mm, floor.y_mm, floor.area_mm2, mean, draws)
