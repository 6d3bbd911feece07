"""The laser's share in a job's numbers: from its places and its checks to budgets and advice."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from rig.quantities.safety import PLANE_SD_MM
from rig.record import Record
from rig.study.checks import TwoPegCheck, last_check
from rig.study.lasers import trust_of
from rig.surface.floor_model import floor_model
from rig.survey.heights import sights_of
from rig.survey.laser.share import Place, Trust, at, on_shots, uncertainties
from rig.survey.setups import Sight
from rig.words import laser as words
from rig.words import say

if TYPE_CHECKING:
    from rig.job.rows import Shot
    from rig.job.store import Job
    from rig.quantities.volume import Volume
    from rig.study.picture import Picture
    from rig.surface.high_point import Extreme, Extremes
    from rig.survey.heights import Heights
    from rig.units import Units

Floats = npt.NDArray[np.float64]

OFF_MIDDLE_MM = 1000.0
SEED = 61
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
SURFACE = say("the shots, and the floor between them")
LASER = say("the laser's own error")
TIES = say("the ties between set-ups")


@dataclass(frozen=True, slots=True, kw_only=True)
class Part(Record):
    """What one source of doubt gives to a quantity.

    Attributes
    ----------
    source : str
    stderr : float or None
        Standard uncertainty in the quantity's unit; None where it is not known.
    """

    source: str
    stderr: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetRow(Record):
    """The doubt of one quantity and what it is made of.

    Attributes
    ----------
    quantity : str
    unit : str
        "mm" or "l".
    parts : tuple of Part
    stderr : float
        Standard uncertainty of all together, in `unit`.
    """

    quantity: str
    unit: str
    parts: tuple[Part, ...]
    stderr: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LaserTrust(Record):
    """Where the laser stood, and standard uncertainties of its errors by its checks.

    Attributes
    ----------
    places : mapping of str to (x_mm, y_mm)
        By set-up.
    radial_mm_per_m, tilt_mm_per_m : float
    corrected_tilt_mm_per_m : mapping of str to float
        Left of a slope that is corrected, by set-up.
    """

    places: Mapping[str, Place]
    radial_mm_per_m: float
    tilt_mm_per_m: float
    corrected_tilt_mm_per_m: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget(Record):
    """Where the doubt comes from (JCGM 100:2008), and what would make it less.

    Attributes
    ----------
    rows : tuple of BudgetRow
    laser : LaserTrust or None
        None where it is not known where the laser stood.
    notes, advice : tuple of str
    """

    rows: tuple[BudgetRow, ...] = ()
    laser: LaserTrust | None = None
    notes: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class LaserShare:
    """What unit errors of the laser do over the floor's raster, and how large they may be.

    Attributes
    ----------
    trust : Trust
    places : dict of str to (x_mm, y_mm)
        Of each set-up, the reference first.
    on_floor_m : (cells, k)
        Heights told less true ones, per mm/m of each error.
    on_plane_m : (cells, 3)
        Line of the set-up from which the markers will be set: climb and two slopes.
    """

    trust: Trust
    places: dict[str, Place]
    on_floor_m: Floats
    on_plane_m: Floats

    def floor_mm(self, weights: Floats) -> float:
        """Standard uncertainty of a weighted sum of the floor's heights, mm times weight."""
        return _joint(weights @ self.on_floor_m, uncertainties(self.trust, list(self.places)))

    def level_mm(self) -> Floats:
        """Standard uncertainty of the finished plane against level, over the cells."""
        u = uncertainties(self.trust, [None])
        level: Floats = np.sqrt((self.on_plane_m * u) ** 2 @ np.ones(3))
        return level

    def on_cover_m(self) -> tuple[Floats, Floats]:
        """Columns of the cover's errors over the cells, and their standard uncertainties.

        The markers are taken to be set with the laser stood up anew at its last place: the climb
        with distance is the same again, the slope is not.
        """
        columns = np.hstack([self.on_floor_m, self.on_plane_m[:, 1:]])
        columns[:, 0] += self.on_plane_m[:, 0]
        return columns, uncertainties(self.trust, [*self.places, None])

    def cover_mm(self, weights: Floats) -> float:
        """Standard uncertainty of a weighted sum of the cover, mm times weight."""
        columns, u = self.on_cover_m()
        return _joint(weights @ columns, u)


def share_of(
    job: "Job", picture: "Picture", given: Mapping[str, Place] | None = None
) -> LaserShare | None:
    """Work out the laser's share, or return None where it is not known where the laser stood.

    Parameters
    ----------
    job : Job
    picture : Picture
    given : mapping of str to place, optional
        In the place of what the job says.
    """
    mine = _setups_of(job, picture)
    known = {**job.settings.laser_places, **(given or {})}
    lines = [line.setup for line in picture.ties.lines]
    names = [name for name in lines if name in set(mine)]
    if not mine or any(name not in known for name in names):
        return None
    places = {name: known[name] for name in names}
    heights, cells = picture.heights, picture.cells
    effect = on_shots(places, mine, heights.x_mm, heights.y_mm, sights_of(job.shots()), lines[0])
    on_plane = at([places[names[-1]]], 0, cells.x_mm, cells.y_mm)
    return LaserShare(trust_of(job), places, _over(picture, effect), on_plane)


def ties_over(job: "Job", picture: "Picture") -> Floats:
    """What the doubt of the lines of several set-ups does over the floor's raster.

    All points of one set-up share the doubt of its line, so that it does not average out either.
    The columns, (cells, lines less one) in mm, are independent and of standard uncertainty 1.
    """
    mine = _setups_of(job, picture)
    lines = [line.setup for line in picture.ties.lines]
    if len(set(mine)) < 2:
        return np.zeros((len(picture.cells.x_mm), 0))
    lower = np.zeros((len(lines), len(lines) - 1))
    lower[1:] = np.linalg.cholesky(picture.ties.covariance_mm2[1:, 1:])
    at_shots = lower[[lines.index(setup) for setup in mine]]
    return _over(picture, at_shots)


def _setups_of(job: "Job", picture: "Picture") -> list[str]:
    """Return the set-up of each shot of a picture of the floor; nothing for another surface."""
    shots = {shot.point: shot.setup for shot in job.shots(kinds=["floor"])}
    if any(label not in shots for label in picture.heights.labels):
        return []
    return [shots[label] for label in picture.heights.labels]


def _over(picture: "Picture", effect: Floats) -> Floats:
    """Carry effects on the shots (n, k) over the raster (cells, k), as the surface would."""
    heights, surface, cells = picture.heights, picture.surface, picture.cells
    like = floor_model(
        surface.length_mm, surface.variance_mm2, surface.nugget_mm2, surface.lines_mm2
    )
    return np.column_stack(
        [
            like.like()
            .fit(heights.x_mm, heights.y_mm, column, heights.stderr_mm)
            .predict(cells.x_mm, cells.y_mm, quick=True)[0]
            for column in effect.T
        ]
    )


def with_shared(extremes: "Extremes", share: LaserShare | None, ties_mm: Floats) -> "Extremes":
    """Return draws of the highest spots that hold all that the bags hold, joint over the floor.

    That is what many shots share, and how far the poured surface comes to lie from its plane.
    """
    rng = np.random.default_rng(SEED)
    highest, draws = extremes.highest_mm, len(extremes.highest_mm)
    if share is not None:
        columns, u = share.on_cover_m()
        errors = rng.standard_normal((draws, len(u))) * u
        highest = highest + (errors @ columns.T).astype(np.float32)
    if ties_mm.shape[1]:
        errors = rng.standard_normal((draws, ties_mm.shape[1]))
        highest = highest + (errors @ ties_mm.T).astype(np.float32)
    # Spread evenly over high and low draws alike, so that no chance of the draw moves a plane.
    even = (np.argsort(np.argsort(highest.max(axis=1))) + 0.5) * _GOLDEN % 1.0
    poured_mm = (PLANE_SD_MM * ndtri(even)).astype(np.float32)
    return replace(extremes, highest_mm=highest + poured_mm[:, None])


def shared_volume_l(share: LaserShare | None, ties_mm: Floats, area_mm2: Floats) -> float:
    """Standard uncertainty of the volume from the laser and the ties alone, in litres."""
    laser = 0.0 if share is None else share.cover_mm(area_mm2)
    return math.hypot(laser, float(np.linalg.norm(area_mm2 @ ties_mm))) * 1e-6


def floor_budget(
    job: "Job", picture: "Picture", share: LaserShare | None, ties_mm: Floats
) -> Budget:
    """Where the doubt of the floor's heights comes from (GUM)."""
    high, low = _cell(picture, picture.extremes.high), _cell(picture, picture.extremes.low)
    _, sd = picture.surface.predict(
        picture.cells.x_mm[[high, low]], picture.cells.y_mm[[high, low]]
    )
    between = picture.surface.covariance(
        picture.cells.x_mm[[high, low]], picture.cells.y_mm[[high, low]]
    )
    fall = math.sqrt(max(float(between[0, 0] + between[1, 1] - 2.0 * between[0, 1]), 0.0))
    cells = len(picture.cells.x_mm)
    top, step = np.zeros(cells), np.zeros(cells)
    top[high], step[high] = 1.0, 1.0
    step[low] -= 1.0
    own = (None, None) if share is None else (share.floor_mm(top), share.floor_mm(step))
    rows = (
        _row(say("height of the high point"), "mm", float(sd[0]), own[0], top @ ties_mm),
        _row(say("high point over low point"), "mm", fall, own[1], step @ ties_mm),
    )
    return _budget(job, picture, share, rows)


def plan_budget(
    job: "Job",
    picture: "Picture",
    share: LaserShare | None,
    ties_mm: Floats,
    cover_at: tuple[float, float],
    volume: "Volume",
) -> Budget:
    """Where the doubt of plane, cover and volume comes from (GUM).

    Parameters
    ----------
    job : Job
    picture : Picture
        With draws that do not hold the laser's errors.
    share : LaserShare or None
    ties_mm : array
        From `ties_over`.
    cover_at : (x_mm, y_mm)
        Where the cover is least.
    volume : Volume
        Its doubt from the surface alone.
    """
    cells = picture.cells
    highest = float(picture.extremes.highest_mm.max(axis=1).std())
    high, thin = _cell(picture, picture.extremes.high), _cell_at(picture, *cover_at)
    top, least = np.zeros(len(cells.x_mm)), np.zeros(len(cells.x_mm))
    top[high], least[thin] = 1.0, 1.0
    _, sd = picture.surface.predict(cells.x_mm[[thin]], cells.y_mm[[thin]], nugget=True)
    area = cells.share * cells.step_mm**2
    laser: tuple[float | None, ...] = (None,) * 4
    if share is not None:
        laser = (
            share.floor_mm(top),
            float(share.level_mm().max()),
            share.cover_mm(least),
            share.cover_mm(area) * 1e-6,
        )
    rows = (
        _row(say("height of the plane"), "mm", highest, laser[0], top @ ties_mm),
        _row(
            say("level of the plane, at its farthest"), "mm", 0.0, laser[1], ties_mm[:0].sum(axis=0)
        ),
        _row(say("least cover"), "mm", float(sd[0]), laser[2], least @ ties_mm),
        _row(say("volume"), "l", volume.sd_l, laser[3], area @ ties_mm * 1e-6),
    )
    return _budget(job, picture, share, rows)


def errors_over(
    job: "Job", kind: str, heights: "Heights"
) -> Callable[[Floats, Floats], Floats] | None:
    """Return what the laser's errors do to the heights told over places, or None if not known.

    It takes x and y, (m,) in mm, and returns (m, k) in mm: each error at one standard uncertainty.
    A place has the set-up of the shot that is nearest.
    """
    shots = {shot.point: shot for shot in job.shots(kinds=[kind])}
    mine = [shots[label].setup for label in heights.labels]
    known, names = job.settings.laser_places, list(dict.fromkeys(mine))
    if any(name not in known for name in names):
        return None
    places = [known[name] for name in names]
    shot_x, shot_y = heights.x_mm, heights.y_mm
    effect = on_shots(
        dict(zip(names, places, strict=True)), mine, shot_x, shot_y, sights_of(job.shots())
    )
    owns = np.array([names.index(setup) for setup in mine])
    u = uncertainties(trust_of(job), names)

    def errors(x_mm: Floats, y_mm: Floats) -> Floats:
        near = [
            int(np.argmin(np.hypot(shot_x - x, shot_y - y)))
            for x, y in zip(x_mm, y_mm, strict=True)
        ]
        found = effect[near]
        for own in range(len(names)):
            rows = owns[near] == own
            here = at(places, own, x_mm[rows], y_mm[rows])
            there = at(places, own, shot_x[near][rows], shot_y[near][rows])
            found[rows] += there - here
        return found * u

    return errors


def gap_mm(
    job: "Job", kind: str, heights: "Heights", supports: tuple[Floats, Floats], at_mm: Place
) -> float | None:
    """Standard uncertainty that the laser gives a gap under a straightedge, or None if not known.

    A slope tilts edge and floor alike and drops out within one set-up; a climb with distance bends
    the floor that is told, most where the edge lies across the laser's place.
    """
    errors = errors_over(job, kind, heights)
    if errors is None:
        return None
    x, y = np.append(supports[0], at_mm[0]), np.append(supports[1], at_mm[1])
    rows = errors(x, y)
    span = math.dist((x[0], y[0]), (x[1], y[1]))
    share = math.dist((x[0], y[0]), at_mm) / span if span > 0 else 0.0
    gap = (1.0 - share) * rows[0] + share * rows[1] - rows[2]
    return float(np.linalg.norm(gap))


def _budget(
    job: "Job", picture: "Picture", share: LaserShare | None, rows: tuple[BudgetRow, ...]
) -> Budget:
    if share is None:
        return Budget(rows=rows, notes=(words.not_counted(),))
    trust = share.trust
    notes = [*trust.told]
    if any(row.quantity == "volume" for row in rows):
        notes.append(words.same_slope())
    return Budget(
        rows=rows,
        laser=LaserTrust(
            places=share.places,
            radial_mm_per_m=trust.radial_mm_per_m,
            tilt_mm_per_m=trust.tilt_mm_per_m,
            corrected_tilt_mm_per_m=dict(trust.corrected_mm_per_m),
        ),
        notes=tuple(notes),
        advice=tuple(_advice(job, picture, share)),
    )


def _advice(job: "Job", picture: "Picture", share: LaserShare) -> list[str]:
    """What would make the laser's share smaller, and by how much."""
    said = []
    cells, area = picture.cells, picture.cells.share
    middle = (
        float(area @ cells.x_mm / area.sum()),
        float(area @ cells.y_mm / area.sum()),
    )
    worst_mm = float(share.level_mm().max())
    if len(share.places) == 1:
        (place,) = share.places.values()
        if math.dist(place, middle) > OFF_MIDDLE_MM:
            better = replace(share, on_plane_m=at([middle], 0, cells.x_mm, cells.y_mm))
            better_mm = float(better.level_mm().max())
            said.append(words.set_up_in_the_middle(worst_mm, better_mm, job.units))
    else:
        marks = [_sight(shot) for shot in job.shots(kinds=["benchmark"])]
        if any(place is None for _, place in marks):
            said.append(words.balance_the_sights())
        else:
            said += _unbalanced(share, marks, job.units)
    if trust_says_climb(job) and job.settings.laser_correction is None:
        said.append(words.correct_the_climb())
    return said


def trust_says_climb(job: "Job") -> bool:
    """Tell whether the last two-peg test found an error beyond its own doubt."""
    found = last_check(job, TwoPegCheck)
    return found is not None and abs(found.error_mm_per_m) > 2.0 * found.stderr_mm_per_m


def _unbalanced(
    share: LaserShare, marks: list[tuple[Sight, Place | None]], units: "Units"
) -> list[str]:
    away: dict[str, list[tuple[str, float]]] = {}
    for sight, place in marks:
        if place is not None and sight.setup in share.places:
            away.setdefault(sight.benchmark, []).append(
                (sight.setup, math.dist(place, share.places[sight.setup]) / 1000.0)
            )
    return [
        words.unbalanced_sights(mark, *near, *far, units)
        for mark, seen in away.items()
        for near, far in [(min(seen, key=lambda s: s[1]), max(seen, key=lambda s: s[1]))]
        if far[1] - near[1] > OFF_MIDDLE_MM / 1000.0
    ]


def _row(quantity: str, unit: str, surface: float, laser: float | None, ties: Floats) -> BudgetRow:
    parts = [Part(source=SURFACE, stderr=surface), Part(source=LASER, stderr=laser)]
    tied = float(np.linalg.norm(ties))
    if len(ties):
        parts.append(Part(source=TIES, stderr=tied))
    return BudgetRow(
        quantity=quantity,
        unit=unit,
        parts=tuple(parts),
        stderr=math.hypot(surface, laser or 0.0, tied),
    )


def _joint(effect: Floats, u: Floats) -> float:
    return float(np.linalg.norm(effect * u))


def _sight(shot: "Shot") -> tuple[Sight, Place | None]:
    place = None if shot.x_mm is None or shot.y_mm is None else (shot.x_mm, shot.y_mm)
    return Sight(shot.setup, shot.point, shot.reading_mm, shot.stderr_mm), place


def _cell(picture: "Picture", extreme: "Extreme") -> int:
    return _cell_at(picture, extreme.x_mm, extreme.y_mm)


def _cell_at(picture: "Picture", x_mm: float, y_mm: float) -> int:
    return int(np.argmin(np.hypot(picture.cells.x_mm - x_mm, picture.cells.y_mm - y_mm)))
