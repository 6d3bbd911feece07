"""Checks what a surface is handed: places, a value for each, a layout that can carry it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rig.errors import BadInput, CannotAnswer
from rig.language import say, say_many
from rig.surface.covariance import Floats


def checked_places(x_mm: ArrayLike, y_mm: ArrayLike) -> tuple[Floats, Floats]:
    """Two arrays of shape (m,), finite, or BadInput."""
    x, y = np.asarray(x_mm, dtype=np.float64), np.asarray(y_mm, dtype=np.float64)
    if x.ndim != 1 or x.shape != y.shape:
        raise BadInput(
            say(
                "Places need as many x as y in a row each: {shape} and {shape_2} given.",
                shape=x.shape,
                shape_2=y.shape,
            )
        )
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(y))):
        raise BadInput(say("A place has a coordinate that is not a number; mend the table."))
    return x, y


def checked_values(values: ArrayLike, x_mm: Floats, what: str) -> Floats:
    """One finite value for each place, a single one repeated; or BadInput that names `what`."""
    result = np.asarray(values, dtype=np.float64)
    if result.ndim == 0:
        result = np.full(x_mm.shape, float(result))
    if result.shape != x_mm.shape:
        raise BadInput(
            say(
                "{x} places come with {size} values ({what}); give one for each.",
                x=len(x_mm),
                size=result.size,
                what=what,
            )
        )
    bad = np.flatnonzero(~np.isfinite(result))
    if len(bad):
        raise BadInput(
            say("The {what} at place {bad} is not a number; mend it.", what=what, bad=bad[0] + 1)
        )
    return result


def refuse_poor_layout(x_mm: Floats, y_mm: Floats, line_is_enough: bool = False) -> None:
    """Raise CannotAnswer for fewer than four different places, or places all on one line.

    A layout counts as a line where it is a hundred times as long as wide.
    """
    places = len(np.unique(np.column_stack([x_mm, y_mm]), axis=0))
    if places < 4:
        raise CannotAnswer(
            say_many(
                "{count} shot place is too few for a surface; take at least four, spread over the "
                "floor.",
                "{count} shot places are too few for a surface; take at least four, spread over "
                "the floor.",
                places,
            )
        )
    centred = np.column_stack([x_mm - x_mm.mean(), y_mm - y_mm.mean()])
    spread = np.linalg.svd(centred, compute_uv=False)
    if not line_is_enough and spread[1] < 0.01 * spread[0]:
        raise CannotAnswer(
            say(
                "All shots lie on one line, so the floor beside it is unknown; take shots "
                "across the room too."
            )
        )
