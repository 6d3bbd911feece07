"""The running picture: from a job's shots to the floor's surface, its high point, their doubt."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from rig.errors import CannotAnswer
from rig.quantities.bags import sheet_of
from rig.room import ON_WALL_MM, Outline, Raster, contains, raster, raster_of
from rig.study.lasers import correction_warnings, far_lasers, shots_of, tie_warnings
from rig.surface.floor_model import floor_model
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.high_point import DRAWS, Extremes, find_extremes
from rig.surface.look_out import breaks_the_model, unexplained_shots
from rig.surface.next_shots import NextShot, suggest_shots
from rig.survey.heights import (
    NEAR_WALL_MM,
    Heights,
    heights_of,
    outside_mm,
    ties_of,
)
from rig.survey.setups import Ties
from rig.units import counted, format_area, format_length, format_place

if TYPE_CHECKING:
    from rig.job.store import Job

STEP_MM = 50.8  # 2 in
MOST_CELLS = 12_000
SEED = 20  # the same shots give the same answer
SUGGESTED_SHOTS = 3
# A shot that saves less than this is not worth the walk (common practice, no source).
WORTH_BAGS = 0.1


REACH, LEAST_REACH_MM = 1.5, 600.0
"""So many times their usual distance shots tell of the floor around them, and at least so far."""
LEAST_UNSHOT, LEAST_UNSHOT_M2 = 0.02, 0.3
"""Less floor out of their reach than this share, or this, is not worth a word."""


@dataclass(frozen=True, eq=False)
class Picture:
    """A floor as the shots show it: the surface, its raster, and joint draws of its extremes.

    `ties` is how the lines of its set-ups hang together.
    """

    outline: Outline
    ties: Ties
    heights: Heights
    surface: GaussianProcess
    cells: Raster
    extremes: Extremes

    @property
    def shot_stderr_mm(self) -> float:
        """Error of a typical shot."""
        return float(np.median(self.heights.stderr_mm))


def picture_of(
    job: "Job",
    outline: Outline,
    confidence: float,
    most_cells: int = MOST_CELLS,
    draws: int = DRAWS,
) -> Picture:
    """Model the floor from the job's current shots.

    Raises
    ------
    CannotAnswer
        Too few or collinear shots, or set-ups that are not tied.
    """
    shots, setups = shots_of(job), job.setups()
    ties, heights = ties_of(shots, "floor", setups), heights_of(shots, "floor", setups, outline)
    if len(heights.labels) == 0:
        raise CannotAnswer(none_inside(job, "floor"))
    surface = floor_model().fit(heights.x_mm, heights.y_mm, heights.z_mm, heights.stderr_mm)
    cells = cells_of(outline, most_cells)
    extremes = find_extremes(
        surface,
        cells.x_mm,
        cells.y_mm,
        cells.share * cells.step_mm**2,
        np.random.default_rng(SEED),
        confidence,
        draws,
    )
    return Picture(outline, ties, heights, surface, cells, extremes)


def cells_of(outline: Outline, most: int = MOST_CELLS) -> Raster:
    """Raster of the floor: 2 in cells, or larger ones where they would be too many."""
    if outline.area_m2 * 1e6 / STEP_MM**2 < 0.9 * most:
        fine = raster(outline, STEP_MM)
        if len(fine.x_mm) <= most:
            return fine
    return raster_of(outline, most)


def next_shots(job: "Job", picture: Picture) -> list[tuple[NextShot, float]]:
    """Shots worth the walk, best first, each with the bags that it is expected to save.

    A lower plane takes less compound, and a surer mean height a smaller stock for safety.
    """
    settings, extremes = job.settings, picture.extremes
    sheet = sheet_of(settings)
    bags_per_mm = picture.outline.area_m2 * (1.0 + sheet.waste_share) / sheet.yield_l
    return [
        (shot, shot.plane_mm * bags_per_mm)
        for shot in suggest_shots(
            picture.surface,
            extremes,
            SUGGESTED_SHOTS,
            picture.shot_stderr_mm,
            WORTH_BAGS / bags_per_mm,
        )
    ]


def floor_result(
    job: "Job",
    picture: Picture,
    points: ArrayLike | None = None,
    laser: Mapping[str, tuple[float, float]] | None = None,
) -> dict[str, Any]:
    """What the floor is like, as `rig floor --json` prints it.

    Parameters
    ----------
    job : Job
    picture : Picture
    points : array, shape (m, 2), optional
        Places in mm whose heights are asked for.
    laser : mapping of str to place, optional
        Where the laser stood at set-ups, in the place of what the job says.
    """
    from rig.study.laser_share import floor_budget, share_of, ties_over

    extremes, surface = picture.extremes, picture.surface
    result: dict[str, Any] = {
        "shots": len(picture.heights.labels),
        "confidence": extremes.confidence,
        "high": high_of(extremes),
        "low": {
            "x_mm": extremes.low.x_mm,
            "y_mm": extremes.low.y_mm,
            "z_mm": extremes.low.z_mm,
            "lower_mm": extremes.low.lower_mm,
        },
        "range_mm": extremes.range_mm,
        "noise_mm": float(np.sqrt(surface.nugget_mm2 + picture.shot_stderr_mm**2)),
        "points": [],
        "next": [
            {
                "x_mm": shot.x_mm,
                "y_mm": shot.y_mm,
                "doubt_mm": shot.doubt_mm,
                "left_mm": shot.left_mm,
                "plane_mm": shot.plane_mm,
                "bags": bags,
            }
            for shot, bags in next_shots(job, picture)
        ],
        "setups": [
            {"setup": line.setup, "line_mm": line.line_mm, "stderr_mm": line.stderr_mm}
            for line in picture.ties.lines
        ],
        "ties": ties_result(picture.ties),
        "budget": floor_budget(
            job, picture, share_of(job, picture, laser), ties_over(job, picture)
        ),
        "warnings": warnings_of(job, picture),
    }
    if points is not None:
        x, y = np.asarray(points, dtype=float).T
        mean, sd = surface.predict(x, y)
        result["points"] = [
            {"x_mm": float(a), "y_mm": float(b), "z_mm": float(z), "stderr_mm": float(s)}
            for a, b, z, s in zip(x, y, mean, sd, strict=True)
        ]
        for a, b in zip(x, y, strict=True):
            if not contains(picture.outline, np.array([a]), np.array([b]))[0]:
                result["warnings"].append(
                    f"The place {a:.0f}, {b:.0f} mm lies outside the floor: its height is a guess."
                )
    return result


def ties_result(ties: Ties) -> dict[str, Any]:
    """How well the set-ups hang together: residuals, and the chi-square test of all."""
    rows = zip(ties.sights, ties.residuals_mm, ties.standardised, strict=True)
    return {
        "redundancy": ties.redundancy,
        "misfit": ties.misfit,
        "chance_agree": ties.agree,
        "widened": ties.widened,
        "sights": [
            {
                "setup": sight.setup,
                "benchmark": sight.benchmark,
                "residual_mm": float(residual),
                "standardised": float(share) if np.isfinite(share) else None,
            }
            for sight, residual, share in rows
            if np.isfinite(residual)
        ],
    }


def high_of(extremes: Extremes) -> dict[str, float]:
    """The high point with the height it stays under at the confidence."""
    high = extremes.high
    return {"x_mm": high.x_mm, "y_mm": high.y_mm, "z_mm": high.z_mm, "upper_mm": high.upper_mm}


def warnings_of(job: "Job", picture: Picture) -> list[str]:
    """What a careful person would point out about these shots."""
    found = tie_warnings(job, picture.ties)
    found += correction_warnings(job, [line.setup for line in picture.ties.lines])
    found += far_lasers(job, picture.outline)
    found += outside_warnings(job, picture.outline, "floor")
    found += _unshot_floor(picture, job.settings.units)
    left = [point.label for point in job.unshot("floor")]
    if 0 < len(left) < len(job.points()):
        have = "grid point has" if len(left) == 1 else "grid points have"
        found.append(f"{len(left)} {have} no shot: {some_of(left)}.")
    heights, surface = picture.heights, picture.surface
    units = job.settings.units, job.settings.denominator
    odd = unexplained_shots(surface, heights.x_mm, heights.y_mm, heights.z_mm, heights.stderr_mm)
    found += [unexplained_text(heights.labels[one.shot], one.above_mm, *units) for one in odd]
    far = breaks_the_model(surface)
    if len(far):
        names = ", ".join(heights.labels[n] for n in far[:5]) if not surface.binned else ""
        found.append(
            "The floor kinks or steps between shots more than the model allows: the doubt told "
            "may be too small. Shoot closer" + (f" around {names}." if names else ".")
        )
    return found


def _unshot_floor(picture: Picture, units: str) -> list[str]:
    """Say how much of the floor lies far from every shot: no model knows it, whatever its doubt."""
    import shapely
    from scipy.spatial import cKDTree

    at = np.column_stack([picture.heights.x_mm, picture.heights.y_mm])
    apart_mm = float(np.sqrt(shapely.MultiPoint(at).convex_hull.area / len(at)))
    reach_mm = max(REACH * apart_mm, LEAST_REACH_MM)
    cells = picture.cells
    away = cKDTree(at).query(np.column_stack([cells.x_mm, cells.y_mm]))[0]
    area_m2 = cells.share * cells.step_mm**2 * 1e-6
    unshot_m2 = float(np.sum(area_m2[away > reach_mm]))
    if unshot_m2 < max(LEAST_UNSHOT_M2, LEAST_UNSHOT * float(np.sum(area_m2))):
        return []
    return [
        f"{format_area(unshot_m2, units)} of the floor lies more than "
        f"{format_place(reach_mm, units)} from any shot, and what is told of it is a guess: lay "
        "the grid again (rig grid) and shoot what it asks for (rig survey)."
    ]


def none_inside(job: "Job", kind: str) -> str:
    """Say why there is nothing to model."""
    shots = job.shots(kinds=[kind])
    if shots:
        return (
            f"All {kind} shots ({len(shots)}) lie outside the walls. Mend the walls (rig edit), or "
            "shoot the room."
        )
    return f"The job has no shots of the {kind} yet. Shoot it first: rig survey"


def outside_warnings(job: "Job", outline: Outline, kind: str) -> list[str]:
    """Name the shots outside the walls, which may have been mended since: what counts of them."""
    shots = job.shots(kinds=[kind])
    away = outside_mm(outline, shots)
    units = job.settings.units
    near_mm = format_place(NEAR_WALL_MM, units)
    found = []
    for farther, which, does in (
        (True, f"more than {near_mm} outside the walls or inside an opening", "not used"),
        (False, f"outside the walls or in an opening, by {near_mm} at most", "used all the same"),
    ):
        labels = [
            shot.point
            for shot, off_mm in zip(shots, away, strict=True)
            if (off_mm > NEAR_WALL_MM if farther else ON_WALL_MM < off_mm <= NEAR_WALL_MM)
        ]
        if labels:
            one = len(labels) == 1
            found.append(
                f"{counted(len(labels), f'{kind} shot')} {'lies' if one else 'lie'} {which}, and "
                f"{'is' if one else 'are'} {does}: {some_of(labels)}. Are the walls right? "
                "(rig edit)"
            )
    return found


def some_of(labels: Sequence[str]) -> str:
    """Name the first few of many."""
    return ", ".join(labels[:5]) + (" …" if len(labels) > 5 else "")


def unexplained_text(label: str, above_mm: float, units: str, denominator: int) -> str:
    """Say that a shot stands off what its neighbours say."""
    way = "above" if above_mm > 0 else "below"
    off = format_length(abs(above_mm), units, denominator, step_mm=1.0)
    return (
        f"{label} is {off} {way} what its neighbours say: shoot it again? "
        f"(rig survey --label {label})"
    )
