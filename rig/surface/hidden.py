r"""Tells how surely heights are kept if what no shot stands on is there: a hump, curled joints.

That a floor has one is not known, and no model of its shots tells. What is reckoned here is the
chance on a floor that has one, where neither shots nor looks would have shown it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.surface.added import explained_by
from rig.surface.covariance import Floats
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.looked import HUMP_RADIUS_MM, Looked, bell, passed

LOW_MM, HIGH_MM = 4.0, 10.0
"""How high such a hump is, each height as likely as any between: 5/32 to 3/8 in, what a patch or a
bag of mortar left on a floor is and bare eyes let pass (common practice, no source)."""
# Joints of a slab 4 in thick, 24 to 36 times its thickness apart (ACI 302.1R); its edges curl up by
# 1/16 to 1/4 in over some 2 ft (ACI 360R, both from memory). A slab that bends evenly where it
# stands off the ground is a parabola there.
_PANEL_MM, _CURL_MM, _REACH_MM = (2438.4, 3657.6), (1.6, 6.4), (457.2, 762.0)
_HUMPS, _SLABS = 10_000, 10_000
_MOST_SHOWN = 600_000
_MOST_DRAWS = 250
_TIMES = 8
# Where no more of such humps than this would have stayed unseen, shots and looks have ruled them
# out; a slab, where the shots are so much less likely with one.
_HARDLY_A_HUMP, _HARDLY_A_SLAB = 0.002, 0.05


@dataclass(frozen=True, eq=False)
class Ceiling:
    """Heights to be kept over a raster of m cells: draws (n, m) of the highest spots, and (m,)."""

    x_mm: Floats
    y_mm: Floats
    area_mm2: Floats
    draws_mm: NDArray[np.floating]
    height_mm: Floats


def chance_beside_hump(
    model: GaussianProcess, over: Ceiling, rng: np.random.Generator, looks: Sequence[Looked] = ()
) -> float | None:
    r"""Chance that all heights are kept where one hump stands that shots and looks let pass.

    It may stand anywhere, with what shots and looks would have let pass as its weight
    (`rig.surface.humps`). None where they would have shown nearly every one.
    """
    draws = over.draws_mm[:_MOST_DRAWS]
    cell = rng.choice(len(over.x_mm), _HUMPS, p=over.area_mm2 / over.area_mm2.sum())
    high = rng.uniform(LOW_MM, HIGH_MM, _HUMPS)
    x, y = over.x_mm[cell], over.y_mm[cell]
    away = np.hypot(np.subtract.outer(x, model.x_mm), np.subtract.outer(y, model.y_mm))
    shown = high[:, None] * bell(away, HUMP_RADIUS_MM)
    unseen = np.exp(-0.5 * np.sum(shown**2 / model.shot_variance_mm2, axis=1))
    unseen *= passed(looks, x, y, np.full(_HUMPS, HUMP_RADIUS_MM), high)
    if unseen.mean() < _HARDLY_A_HUMP:
        return None
    hump = rng.choice(_HUMPS, _TIMES * len(draws), p=unseen / unseen.sum())
    draw = np.arange(len(hump)) % len(draws)
    even = np.all(draws <= over.height_mm, axis=1)
    top = draws[draw, cell[hump]] + high[hump]
    return float(np.mean(even[draw] & (top <= over.height_mm[cell[hump]])))


def chance_on_curled_slab(
    model: GaussianProcess, over: Ceiling, rng: np.random.Generator
) -> float | None:
    r"""Chance that all heights are kept on a slab whose edges curl up at joints along the walls.

    Slabs are drawn, and weighed by how much likelier the shots are with what each would have added
    to them (`rig.surface.added.explained_by`); the floor is corrected by what its shots
    say of a slab as of any height (`GaussianProcess.respond`). None where the shots are far
    likelier without one.
    """
    draws, slabs = over.draws_mm[:_MOST_DRAWS], min(_SLABS, _MOST_SHOWN // len(model.x_mm))
    panel = rng.uniform(*_PANEL_MM, (2, slabs))
    start = rng.uniform(0.0, 1.0, (2, slabs)) * panel
    curl, reach = rng.uniform(*_CURL_MM, slabs), rng.uniform(*_REACH_MM, slabs)

    def lift(axis: int, at_mm: Floats, own: NDArray[np.intp] | slice = slice(None)) -> Floats:
        place = (at_mm[:, None] + start[axis, own]) / panel[axis, own]
        joint = np.abs(place - np.round(place)) * panel[axis, own]
        up: Floats = curl[own] * np.maximum(1.0 - joint / reach[own], 0.0) ** 2
        return up

    shown = lift(0, model.x_mm) + lift(1, model.y_mm)
    towards, precision = explained_by(model, shown)
    likelier = towards - 0.5 * precision
    weight = np.exp(likelier - likelier.max())
    if likelier.max() + np.log(weight.mean()) < np.log(_HARDLY_A_SLAB):
        return None
    slab = rng.choice(slabs, len(draws), p=weight / weight.sum())
    added = -model.respond(over.x_mm, over.y_mm, shown[:, slab])
    for axis, places in enumerate((over.x_mm, over.y_mm)):
        own, index = np.unique(np.round(places, 3), return_inverse=True)
        added += lift(axis, own, slab).T.astype(np.float32)[:, index]
    return float(np.mean(np.all(draws + added <= over.height_mm, axis=1)))
