"""Checks of the rod itself: zero and scale against a tape, and what being out of plumb does.

A zero offset is the same in every reading of that rod and cancels, until a tape or a second rod
comes in; an error of scale does not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rig.errors import BadInput
from rig.language import say

PLUMB_DEG = (0.5, 1.0, 2.0, 3.0, 5.0)
LEAST_APART_MM = 100.0
"""Pairs nearer to each other than this tell a zero offset, and no scale."""


@dataclass(frozen=True, slots=True)
class RodCheck:
    """Rod less tape.

    `zero_offset_mm` is at the mean reading; `scale_mm_per_m` is how much more the rod counts a
    metre, None where the pairs are too near to each other.
    """

    zero_offset_mm: float
    stderr_mm: float
    scale_mm_per_m: float | None
    scale_stderr_mm_per_m: float | None
    sd_mm: float | None


def against_tape(pairs_mm: Sequence[tuple[float, float]], stderr_mm: float) -> RodCheck:
    """Compare a rod's readings with a tape's at the same places.

    Parameters
    ----------
    pairs_mm : sequence of (rod, tape)
    stderr_mm : float
        Of one difference, before the pairs themselves show a larger one.

    Raises
    ------
    BadInput
        No pair, or numbers that are none.
    """
    if not pairs_mm:
        raise BadInput(
            say("Give a pair at least: what the rod reads and what the tape reads there.")
        )
    pairs = np.asarray(pairs_mm, dtype=np.float64)
    if not np.isfinite(pairs).all() or stderr_mm <= 0:
        raise BadInput(
            say("Each pair needs two finite readings, and their doubt more than nothing.")
        )
    off, tape_m = pairs[:, 0] - pairs[:, 1], pairs[:, 1] / 1000.0
    n = len(off)
    design = np.ones((n, 1))
    if n >= 3 and np.ptp(pairs[:, 1]) >= LEAST_APART_MM:
        design = np.column_stack([design, tape_m - tape_m.mean()])
    found, *_ = np.linalg.lstsq(design, off, rcond=None)
    left, sd = n - design.shape[1], None
    if left > 0:
        sd = math.sqrt(float(np.sum((off - design @ found) ** 2)) / left)
    doubt = np.sqrt(np.diag(np.linalg.inv(design.T @ design))) * max(stderr_mm, sd or 0.0)
    scaled = design.shape[1] == 2
    return RodCheck(
        float(found[0]),
        float(doubt[0]),
        float(found[1]) if scaled else None,
        float(doubt[1]) if scaled else None,
        sd,
    )


def out_of_plumb_mm(reading_mm: float, tilt_deg: float) -> float:
    """How much a rod that leans reads too much: r (1 − cos θ) of what it shows."""
    return reading_mm * (1.0 - math.cos(math.radians(tilt_deg)))
