"""Drift of a line, from a rod that stands and watches: warm-up curve, rate, resting noise."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rig.errors import BadInput, CannotAnswer
from rig.language import numeral, say, say_many

Floats = npt.NDArray[np.float64]
Design = Callable[[Floats], Floats]

MOST_PARTS = 60
LEAST_PARTS = 8
LEAST_PART_S = 2.0
"""Readings closer than this share their noise; means over so long hardly do."""
CLEAR = 0.01
"""A curve is believed over a straight line, and that over rest, at this level (F test)."""


@dataclass(frozen=True, slots=True)
class Drift:
    """What the watch showed; the line rises where readings grow.

    Attributes
    ----------
    seconds, n : float, int
        How long, and of how many readings.
    change_mm, stderr_mm : float
        Of the line over the whole watch.
    rate_mm_per_h, rate_stderr_mm_per_h : float
        Over its last half: what goes on after warm-up.
    freedom : int
        Degrees of freedom of that error.
    noise_mm : float
        Resting noise of one reading about the curve (robust sd).
    warm_up_mm, warm_up_s : float or None
        Size and time constant of a warm-up, where one shows: after three of these 5 % is left.
    """

    seconds: float
    n: int
    change_mm: float
    stderr_mm: float
    rate_mm_per_h: float
    rate_stderr_mm_per_h: float
    freedom: int
    noise_mm: float
    warm_up_mm: float | None
    warm_up_s: float | None


def drift(times_s: Sequence[float], readings_mm: Sequence[float]) -> Drift:
    r"""Fit rest, a straight line, or a warm-up :math:`a + c\,e^{-t/\tau}`, whichever is clear.

    Readings are averaged over parts of the watch first, so that their correlated noise does not
    pass for certainty.

    Raises
    ------
    BadInput
        Times and readings that do not pair up or are not finite, or times that run back.
    CannotAnswer
        Too short a watch, or too few readings.
    """
    time = np.asarray(times_s, dtype=np.float64)
    value = np.asarray(readings_mm, dtype=np.float64)
    if time.shape != value.shape or not (np.isfinite(time).all() and np.isfinite(value).all()):
        raise BadInput(say("Each reading of the watch needs a finite time and value."))
    if np.any(np.diff(time) < 0):
        raise BadInput(say("The times of the watch run back; sort the table by its seconds."))
    span = float(time[-1] - time[0]) if len(time) else 0.0
    part_s = max(LEAST_PART_S, span / MOST_PARTS)
    time = time - time[0] if len(time) else time
    part = np.minimum((time / part_s).astype(int), max(int(span / part_s) - 1, 0))
    kinds, counts = np.unique(part, return_counts=True)
    if len(kinds) < LEAST_PARTS:
        raise CannotAnswer(
            say(
                "A watch of {span} s in {readings} is too short to tell drift from noise: "
                "watch for {least_part_s} s at the very least, better ten minutes.",
                span=numeral(span, ".0f"),
                readings=say_many("{count} reading", "{count} readings", len(time)),
                least_part_s=numeral(LEAST_PARTS * LEAST_PART_S, ".0f"),
            )
        )
    middle = np.array([time[part == k].mean() for k in kinds])
    mean = np.array([np.median(value[part == k]) for k in kinds])
    weight = np.sqrt(counts / counts.max())

    design, tau = _curve(middle, mean, weight)
    found, variance = _fit(design(middle), mean, weight)
    ends = design(np.array([0.0, span]))
    step = ends[1] - ends[0]
    half = middle >= span / 2.0
    line = np.column_stack([middle[half] / 3600.0, np.ones(int(half.sum()))])
    rate, rate_variance = _fit(line, mean[half], weight[half])
    rest = value - design(time) @ found
    return Drift(
        span,
        len(time),
        float(step @ found),
        math.sqrt(float(step @ variance @ step)),
        float(rate[0]),
        math.sqrt(float(rate_variance[0, 0])),
        int(half.sum()) - 2,
        1.4826 * float(np.median(np.abs(rest - np.median(rest)))),
        None if tau is None else float(-found[1]),
        tau,
    )


def _curve(middle: Floats, mean: Floats, weight: Floats) -> tuple[Design, float | None]:
    """Choose the simplest curve that holds: its design as a function of time, and τ."""
    from scipy.stats import f as f_law

    def rest(t: Floats) -> Floats:
        return np.ones((len(t), 1))

    def straight(t: Floats) -> Floats:
        return np.column_stack([np.ones(len(t)), t / 3600.0])

    def warming(tau: float) -> Design:
        return lambda t: np.column_stack([np.ones(len(t)), np.exp(-t / tau)])

    def misfit(design: Design) -> float:
        matrix = design(middle)
        found, *_ = np.linalg.lstsq(matrix * weight[:, None], mean * weight, rcond=None)
        return float(np.sum(((mean - matrix @ found) * weight) ** 2))

    def clear(better: float, worse: float, more: int, used: int) -> bool:
        left = len(middle) - used
        if better <= 0.0:
            return worse > 0.0
        return float(f_law.sf((worse - better) / more / (better / left), more, left)) < CLEAR

    span = float(middle[-1])
    taus = np.geomspace(span / 20.0, span / 1.5, 40)
    misfits = [misfit(warming(tau)) for tau in taus]
    tau = float(taus[int(np.argmin(misfits))])
    flat, line, warm = misfit(rest), misfit(straight), min(misfits)
    if clear(warm, line, 1, 3) and clear(warm, flat, 2, 3):
        return warming(tau), tau
    return (straight if clear(line, flat, 1, 2) else rest), None


def _fit(design: Floats, mean: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Weighted least squares with the variance that the residuals show."""
    matrix = design * weight[:, None]
    found, *_ = np.linalg.lstsq(matrix, mean * weight, rcond=None)
    left = len(mean) - matrix.shape[1]
    variance = float(np.sum(((mean - design @ found) * weight) ** 2)) / left
    spread: Floats = variance * np.linalg.inv(matrix.T @ matrix)
    return np.asarray(found, dtype=np.float64), spread
