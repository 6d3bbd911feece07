"""What a careful person would point out about a job's shots before anybody relies on them."""

from typing import TYPE_CHECKING

import numpy as np

from rig.room import ON_WALL_MM, Outline
from rig.study.lasers import correction_warnings, far_lasers, tie_warnings
from rig.study.picture import Picture
from rig.study.sense import sense_warnings
from rig.study.table import line_too_near
from rig.study.unknown import FEWEST_SHOTS, MOST_M2_A_SHOT, Unknown
from rig.surface.look_out import breaks_the_model, unexplained_shots
from rig.survey.heights import NEAR_WALL_MM, outside_mm
from rig.units import Units
from rig.words import floor as words
from rig.words import room as room_words

if TYPE_CHECKING:
    from rig.job.store import Job

REACH, LEAST_REACH_MM = 1.5, 600.0
"""So many times their usual distance shots tell of the floor around them, and at least so far."""
LEAST_UNSHOT, LEAST_UNSHOT_M2 = 0.02, 0.3
"""Less floor out of their reach than this share, or this, is not worth a word."""
_FEW = 5


def warnings_of(job: "Job", picture: Picture, unknown: Unknown | None = None) -> list[str]:
    """Return what is odd about the shots of a floor and what they leave open.

    Where a chance is not known that says so in the place of its reasons.
    """
    units = job.units
    found = [*sense_warnings(job), *tie_warnings(job, picture.ties)]
    found += correction_warnings(job, [line.setup for line in picture.ties.lines])
    found += far_lasers(job, picture.outline)
    found += outside_warnings(job, picture.outline, "floor")
    found += _unshot_floor(picture, units)
    found += _few_shots(picture, units) if unknown is None else [unknown.why]
    found += line_too_near([shot.reading_mm for shot in job.shots(kinds=["floor"])], units)
    left = [point.label for point in job.unshot("floor")]
    if 0 < len(left) < len(job.points()):
        found.append(words.points_unshot(left))
    fitted, surface = picture.fitted, picture.surface
    odd = unexplained_shots(surface, fitted.x_mm, fitted.y_mm, fitted.z_mm, fitted.stderr_mm)
    found += [
        words.unlike_its_neighbours(fitted.labels[one.shot], one.above_mm, units) for one in odd
    ]
    far = breaks_the_model(surface)
    if len(far) and unknown is None:
        near = [] if surface.binned else [fitted.labels[n] for n in far[:_FEW]]
        found.append(words.kinks_between_shots(near))
    return found


def outside_warnings(job: "Job", outline: Outline, kind: str) -> list[str]:
    """Name the shots outside the walls, which may have been mended since: what counts of them."""
    shots = job.shots(kinds=[kind])
    away = outside_mm(outline, shots)
    far = [one.point for one, off in zip(shots, away, strict=True) if off > NEAR_WALL_MM]
    near = [
        one.point for one, off in zip(shots, away, strict=True) if ON_WALL_MM < off <= NEAR_WALL_MM
    ]
    return [
        words.outside_the_walls(kind, labels, NEAR_WALL_MM, used, job.units)
        for labels, used in ((far, False), (near, True))
        if labels
    ]


def what_becomes(job: "Job", before: Outline, after: Outline) -> list[str]:
    """Say what becomes of a room's shots, grid and plan where its walls or openings are changed."""
    if (before.walls, before.openings) == (after.walls, after.openings):
        return []
    told = []
    for kind in ("floor", "finished"):
        old = set(outside_warnings(job, before, kind))
        told += [text for text in outside_warnings(job, after, kind) if text not in old]
    if job.points():
        told.append(room_words.grid_is_old())
    if job.current_plan() is not None:
        told.append(room_words.plan_is_old(len(job.markers())))
    return [*told, *room_words.names_gone(after, before)]


def _few_shots(picture: Picture, units: Units) -> list[str]:
    """Say where each shot stands for more floor than anybody can vouch for."""
    shots = len(picture.heights.labels)
    area_m2 = float(np.sum(picture.cells.share)) * picture.cells.step_mm**2 * 1e-6
    if shots >= FEWEST_SHOTS and area_m2 / shots <= MOST_M2_A_SHOT:
        return []
    return [words.few_shots(shots, area_m2, units)]


def _unshot_floor(picture: Picture, units: Units) -> list[str]:
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
    return [words.floor_out_of_reach(unshot_m2, reach_mm, units)]
