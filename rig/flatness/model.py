"""The surface that is judged: its best estimate, joint draws of it, and how dense the shots are."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rig.flatness.field import Field, Floats, field_of, step_for
from rig.room import Outline, contains, raster_of

if TYPE_CHECKING:
    from rig.surface.gaussian_process import GaussianProcess
    from rig.surface.looked import Looked
    from rig.surface.reml import Priors
    from rig.surface.trend import Bells

Shared = Callable[[Floats, Floats], Floats]
"""What k errors that all shots share do to heights over m places, (m, k) in mm at one standard
uncertainty each."""

DRAWS = 200
FINEST_MM = 50.8  # a rod's foot and a trowel's ridge; below it the shots say nothing
DRAW_STEP_MM = 101.6
MOST_NODES = 12_000
MOST_DRAWN_NODES = 1_600
# On a square grid of shots the 95th percentile of the distance to the nearest is 0.60 spacings.
_FAR_SHARE = 0.60
_SUGGESTED = 3
# A hump 3 ft across; where it could hide on less of the floor than this share it hardly does.
HUMP_MM = 914.4
_HARDLY = 0.05
_MOST_HIDING = 600
NAMED = 6
"""At most so many places are named that would settle a verdict."""


@dataclass(frozen=True, eq=False)
class Hides:
    """How high a hump or dip 3 ft across may stand by shots and looks, over places (m,).

    `spoken_for` is where the shots speak for one; `apart_mm` how far the places stand from each
    other.
    """

    x_mm: Floats
    y_mm: Floats
    height_mm: Floats
    spoken_for: NDArray[np.bool_]
    apart_mm: float

    def over(self, limit_mm: float) -> tuple[tuple[float, float], ...]:
        """Places one hump apart where one higher than a limit could hide; where it hardly could,
        those alone where the shots speak for one.
        """  # noqa: D205
        left = self.height_mm > limit_mm
        if float(np.mean(left)) <= _HARDLY:
            left &= self.spoken_for
        found: list[tuple[float, float]] = []
        while left.any():
            here = int(np.argmax(np.where(left, self.height_mm, 0.0)))
            x, y = float(self.x_mm[here]), float(self.y_mm[here])
            found.append((x, y))
            left &= np.hypot(self.x_mm - x, self.y_mm - y) > HUMP_MM
        return tuple(found)


@dataclass(frozen=True, eq=False)
class Model:
    """A surface to be judged.

    Attributes
    ----------
    mean : Field
        Fine.
    draws : Field
        (rows, columns, draws), roughness included; may be coarser.
    coarse : Field
        The best estimate on the nodes of `draws`.
    spacing_mm : float
        Between shots, where they are wide apart.
    shot_noise_mm : float
        What one more shot would be wrong by, roughness included.
    hides : Hides or None
        What may hide between the shots of a floor as it was built; None where that is not asked.
    """

    mean: Field
    draws: Field
    coarse: Field
    spacing_mm: float
    shot_noise_mm: float
    hides: Hides | None = None


def fit_surface(
    x_mm: Floats,
    y_mm: Floats,
    z_mm: Floats,
    stderr_mm: Floats,
    priors: Priors | None = None,
    bells: Bells = (),
) -> GaussianProcess:
    """Fit shots with the one model that the tool uses for floors; see `floor_model`."""
    # Rules are listed without it.
    from rig.surface.floor_model import floor_model

    return floor_model(priors=priors, bells=bells).fit(x_mm, y_mm, z_mm, stderr_mm)


def fine_field(surface: GaussianProcess, outline: Outline) -> Field:
    """Best estimate of a fitted surface, as finely as it is judged."""
    step = step_for(outline, FINEST_MM, MOST_NODES)
    return field_of(outline, step, lambda x, y: surface.predict(x, y)[0])


def model_of(
    surface: GaussianProcess,
    outline: Outline,
    x_mm: Floats,
    y_mm: Floats,
    stderr_mm: float,
    rng: np.random.Generator,
    draws: int = DRAWS,
    most_drawn_nodes: int = MOST_DRAWN_NODES,
    mean: Field | None = None,
    looks: Sequence[Looked] | None = None,
    *,
    built: bool = False,
) -> Model:
    """Best estimate and joint draws of a fitted surface over a room.

    Roughness (the nugget) is drawn anew at each node: nodes stand for spots of the floor. `mean` is
    what `fine_field` found of the surface before. With `looks`, even none, humps and dips that
    neither shots nor looks would have shown are in the draws (`rig.surface.humps`). A floor that
    was `built` may hide more than that usual share of them, other than a pour that levels itself.
    """
    if mean is None:
        mean = fine_field(surface, outline)
    drawn_step = step_for(outline, DRAW_STEP_MM, most_drawn_nodes)
    drawn = field_of(
        outline, drawn_step, lambda x, y: np.ascontiguousarray(surface.sample(x, y, draws, rng).T)
    )
    coarse = field_of(outline, drawn_step, lambda x, y: surface.predict(x, y)[0])
    if looks is not None:
        drawn = _with_unseen(surface, drawn, outline, looks, rng)
    noise = math.hypot(stderr_mm, math.sqrt(surface.nugget_mm2))
    hides = _hides(surface, outline, looks or ()) if built else None
    return Model(mean, drawn, coarse, spacing_of(outline, x_mm, y_mm), noise, hides)


def _hides(surface: GaussianProcess, outline: Outline, looks: Sequence[Looked]) -> Hides:
    from rig.surface.look_between import standing_mm

    cells = raster_of(outline, _MOST_HIDING)
    x, y = np.asarray(cells.x_mm), np.asarray(cells.y_mm)
    return Hides(x, y, *standing_mm(surface, x, y, looks), cells.step_mm)


def _with_unseen(
    surface: GaussianProcess,
    drawn: Field,
    outline: Outline,
    looks: Sequence[Looked],
    rng: np.random.Generator,
) -> Field:
    """Add what no shot would have shown to draws of a floor."""
    from rig.surface.humps import unseen_bells

    rows, columns = drawn.z_mm.shape[:2]
    x = drawn.x0_mm + drawn.step_mm * np.tile(np.arange(columns), rows)
    y = drawn.y0_mm + drawn.step_mm * np.repeat(np.arange(rows), columns)
    area = np.where(contains(outline, x, y), drawn.step_mm**2, 0.0)
    area *= outline.polygon.area / max(float(area.sum()), 1.0)
    bells = unseen_bells(surface, np.asarray(x), np.asarray(y), area, drawn.draws, rng, looks)
    return replace(drawn, z_mm=drawn.z_mm + bells.reshape(drawn.z_mm.shape))


def spacing_of(outline: Outline, x_mm: Floats, y_mm: Floats) -> float:
    """How far apart the shots stand where they are wide apart.

    The spacing of the square grid that leaves the floor as far from its nearest shot: a cluster
    in one corner does not make the rest known.
    """
    from scipy.spatial import cKDTree

    cells = raster_of(outline, 2_000)
    away = cKDTree(np.column_stack([x_mm, y_mm])).query(np.column_stack([cells.x_mm, cells.y_mm]))
    return float(np.quantile(away[0], 0.95)) / _FAR_SHARE


def settling(model: Model, outline: Outline, drawn: Floats) -> tuple[tuple[float, float], ...]:
    """Places where a shot would explain most of what the draws' worst shares differ by."""
    field = model.draws
    rows, columns = field.z_mm.shape[:2]
    x = field.x0_mm + field.step_mm * np.tile(np.arange(columns), rows)
    y = field.y0_mm + field.step_mm * np.repeat(np.arange(rows), columns)
    on_floor = contains(outline, x, y)
    z = field.z_mm.reshape(rows * columns, -1)[on_floor]
    x, y = x[on_floor], y[on_floor]
    z = z - z.mean(axis=1, keepdims=True)
    left = drawn - drawn.mean()
    found: list[tuple[float, float]] = []
    for _ in range(_SUGGESTED):
        with_it = z @ left / len(left)
        own = np.mean(z**2, axis=1) + model.shot_noise_mm**2
        gain = np.where(own > 0, with_it**2 / np.maximum(own, 1e-12), 0.0)
        best = int(np.argmax(gain))
        if gain[best] <= 4.0 * float(np.mean(left**2)) / len(left):
            break  # no more than chance would give
        found.append((float(x[best]), float(y[best])))
        seen = z[best]
        left = left - seen * (with_it[best] / own[best])
        z = z - np.outer(z @ seen / len(seen) / own[best], seen)
    return tuple(found)
