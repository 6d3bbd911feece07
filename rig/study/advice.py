"""Tells before a survey what the spacing of its points is likely to cost in bags of safety.

Made-up floors as any room's are believed to be (or as this one's shots say) are surveyed at each
spacing; what the plane must lie higher for doubt alone is averaged and turned into bags.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from rig.errors import BadInput, CannotAnswer
from rig.quantities.bags import sheet_of
from rig.room import Outline
from rig.study.lasers import shots_of
from rig.study.picture import cells_of
from rig.surface.floor_model import BOWL_MM, floor_model
from rig.surface.high_point import find_extremes
from rig.surface.reml import Priors
from rig.survey.grid import lay_out
from rig.survey.heights import NEAR_WALL_MM, heights_of, outside_mm

if TYPE_CHECKING:
    from rig.job.store import Job

# Error of a shot with a rod or a tape: common practice, no source.
SHOT_STDERR_MM = 0.5
_FLOORS = 10
_CELLS = 600
_DRAWS = 400
_MOST_POINTS = 600


def spacing_advice(
    job: "Job",
    outline: Outline,
    spacings_mm: Sequence[float],
    edge_mm: float,
    confidence: float = 0.95,
) -> dict[str, Any]:
    """What each spacing is likely to cost, as `rig grid --advise --json` prints it.

    Parameters
    ----------
    job : Job
        For its bags, and its shots where there are enough to tell what its floor is like.
    outline : Outline
    spacings_mm : sequence of float
    edge_mm : float
        From the wall to the outermost points.
    confidence : float

    Returns
    -------
    dict
        `advise`: for each spacing the number of points, `safety_mm` that the plane lies higher for
        doubt, and `safety_bags` that this costs; `assumed`: the floor that was taken for typical.
    """
    sheet = sheet_of(job.settings)
    bags_per_mm = outline.area_m2 * (1.0 + sheet.waste_share) / sheet.yield_l
    length, sd, nugget_sd, told = _typical(job, outline)
    cells = cells_of(outline, _CELLS)
    area = cells.share * cells.step_mm**2
    advise = []
    for spacing in spacings_mm:
        try:
            points = lay_out(outline, spacing, edge_mm)
        except BadInput:  # wider than the room takes
            continue
        if not 4 <= len(points) <= _MOST_POINTS:
            continue
        x = np.array([point.x_mm for point in points])
        y = np.array([point.y_mm for point in points])
        higher = []
        for seed in range(_FLOORS):
            rng = np.random.default_rng(seed)
            z = _floor_at(x, y, length, sd, nugget_sd, rng)
            try:
                model = floor_model(length, sd**2, nugget_sd**2).fit(x, y, z, SHOT_STDERR_MM)
            except CannotAnswer:
                break
            found = find_extremes(model, cells.x_mm, cells.y_mm, area, rng, confidence, _DRAWS)
            tops = found.highest_mm.max(axis=1)
            higher.append(found.high.upper_mm - float(np.median(tops)))
        if higher:
            safety_mm = float(np.mean(higher))
            advise.append(
                {
                    "spacing_mm": float(spacing),
                    "points": len(points),
                    "safety_mm": safety_mm,
                    "safety_bags": safety_mm * bags_per_mm,
                }
            )
    return {"advise": advise, "assumed": told, "assumptions": list(sheet.assumptions)}


def _typical(job: "Job", outline: Outline) -> tuple[float, float, float, str]:
    """Length, undulation and roughness (mm) of the floor to make up, and where they are from."""
    shots = shots_of(job)
    floor = [shot for shot in shots if shot.kind == "floor"]
    if np.sum(outside_mm(outline, floor) <= NEAR_WALL_MM) >= 12:
        heights = heights_of(shots, "floor", job.setups(), outline)
        model = floor_model().fit(heights.x_mm, heights.y_mm, heights.z_mm, heights.stderr_mm)
        sd, nugget_sd = np.sqrt(model.variance_mm2), np.sqrt(model.nugget_mm2)
        return (
            model.length_mm,
            float(sd),
            float(nugget_sd),
            "floors like this one, as its shots say",
        )
    length, sd, nugget_sd = (prior.median for prior in Priors().as_list())
    told = (
        f"typical floors that undulate by {sd:g} mm over {length / 1000:g} m and are rough by "
        f"{nugget_sd:g} mm (common practice, no source)"
    )
    return length, sd, nugget_sd, told


def _floor_at(
    x: Any, y: Any, length: float, sd: float, nugget_sd: float, rng: np.random.Generator
) -> Any:
    """Shots of a made-up floor."""
    from rig.surface.covariance import correlation, distances
    from rig.surface.reml import lower_cholesky

    lower = lower_cholesky(correlation(distances(x, y, x, y), length, 2.5))
    scale = max(np.ptp(x), np.ptp(y), 1.0) / 2.0
    right, up = (x - x.mean()) / scale, (y - y.mean()) / scale
    bend = 0.5 * BOWL_MM * rng.standard_normal(3) @ np.array([right**2, right * up, up**2])
    error = np.hypot(nugget_sd, SHOT_STDERR_MM) * rng.standard_normal(len(x))
    return sd * lower @ rng.standard_normal(len(x)) + bend + error
