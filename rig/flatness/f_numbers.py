r"""F-numbers of floor flatness (FF) and levelness (FL) from lines of equally spaced heights.

After ASTM E1155/E1155M: with heights :math:`h_i` a foot (300 mm) apart, curvatures
:math:`q_i = h_i - 2h_{i-1} + h_{i-2}` and differences over ten steps
:math:`z_i = h_i - h_{i-10}`,

.. math:: F_F = \frac{4.57\,in}{3 s_q + |\bar q|}, \qquad F_L = \frac{12.5\,in}{3 s_z + |\bar z|}.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rig.errors import BadInput
from rig.flatness.field import Floats
from rig.flatness.level_lines import LevelLine
from rig.units import M2_PER_FT2, METRIC, MM_PER_FT, MM_PER_IN, Units
from rig.words import flatness as words
from rig.words import numeral, say, say_many

# The foot edition's constant, and the metric edition's (which is not 4.57 in to the last digit).
FF_FOOT_MM, FF_METRIC_MM = 4.57 * MM_PER_IN, 115.8
FL_MM = 12.5 * MM_PER_IN
FOOT_STEP_MM, METRIC_STEP_MM = MM_PER_FT, 300.0
SPAN_STEPS = 10
LEAST_READINGS = SPAN_STEPS + 2  # two z, for a standard deviation

# Minimum rules of E1155, from memory: section, line, distance from edges, count of q.
LEAST_SECTION_M2 = 320.0 * M2_PER_FT2
LEAST_LINE_MM = 11.0 * MM_PER_FT
LEAST_EDGE_MM = 2.0 * MM_PER_FT
LEAST_APART_MM = 4.0 * MM_PER_FT

_SAME_STEP = 0.005
_DRAWS = 20_000
_SEED = 1155
_Q_LAGS, _Z_LAGS = 4, SPAN_STEPS + 2  # beyond these q and z share no reading


@dataclass(frozen=True, eq=False)
class FLine:
    """F-numbers of one line; infinite where it has no curvature or slope at all."""

    name: str
    q_mm: Floats
    z_mm: Floats
    ff: float
    fl: float


@dataclass(frozen=True, eq=False)
class FNumbers:
    """F-numbers of a section: combined from its lines, with their 90 % intervals.

    `ff_draws`, `fl_draws` are draws of what the section's numbers may truly be, `least_ff_draws`,
    `least_fl_draws` of the least of any line: as measured, but for errors that all lines share.
    """

    lines: tuple[FLine, ...]
    ff: float
    fl: float
    ff_ci90: tuple[float, float]
    fl_ci90: tuple[float, float]
    ff_dof: float
    fl_dof: float
    ff_draws: Floats
    fl_draws: Floats
    least_ff_draws: Floats
    least_fl_draws: Floats


def ff_constant_mm(step_mm: float) -> float:
    """Constant of FF for a step: the foot or the metric edition's.

    Raises
    ------
    BadInput
        For a step that is neither 12 in nor 300 mm.
    """
    for step, constant in ((FOOT_STEP_MM, FF_FOOT_MM), (METRIC_STEP_MM, FF_METRIC_MM)):
        if abs(step_mm - step) <= _SAME_STEP * step:
            return constant
    raise BadInput(
        say(
            "F-numbers need readings every 12 in (300 mm), not every {step} mm ({mm_per_in} "
            "in); a straightedge rule takes any step.",
            step=numeral(step_mm, "g"),
            mm_per_in=numeral(step_mm / MM_PER_IN, "g"),
        )
    )


def f_numbers(lines: Sequence[LevelLine]) -> FNumbers:
    r"""F-numbers of lines and of the section that they sample.

    Raises
    ------
    BadInput
        A step that is not the standard's, or a line too short to have a spread of z.

    Notes
    -----
    Neighbouring q share readings, and z over ten steps share nine of them, so their counts tell
    far less than as many independent values. The interval is about the number that the method
    would give over endlessly many lines of these lengths on such a floor, and takes the effective
    degrees of freedom of the summed squares, :math:`\nu = (tr\,C)^2 / tr\,C^2` with C the
    correlation of q or z along the lines, found from them (Welch-Satterthwaite for correlated
    values, after Box 1954). Its coverage is checked by simulation in the tests.

    Errors that all lines share do not average out over lines. They are drawn and taken off the
    heights before the numbers are made from them (JCGM 101:2008, by draws).
    """
    constant = ff_constant_mm(lines[0].step_mm)
    found = []
    for line in lines:
        if len(line.z_mm) < LEAST_READINGS:
            raise BadInput(
                say(
                    "Line {name} has {readings}; F-numbers need at least {least_readings}, "
                    "eleven steps of a foot (300 mm).",
                    name=line.name,
                    readings=say_many("{count} reading", "{count} readings", len(line.z_mm)),
                    least_readings=LEAST_READINGS,
                )
            )
        q, z = np.diff(line.z_mm, 2), line.z_mm[SPAN_STEPS:] - line.z_mm[:-SPAN_STEPS]
        found.append(FLine(line.name, q, z, f_number(q, constant), f_number(z, FL_MM)))
    rng = np.random.default_rng(_SEED)
    all_q, all_z = [f.q_mm for f in found], [f.z_mm for f in found]
    ff, ff_dof, ff_draws = _section(all_q, [f.ff for f in found], constant, _Q_LAGS, rng)
    fl, fl_dof, fl_draws = _section(all_z, [f.fl for f in found], FL_MM, _Z_LAGS, rng)
    least_ff = np.full(_DRAWS, min(f.ff for f in found))
    least_fl = np.full(_DRAWS, min(f.fl for f in found))
    shared = [line.shared_mm for line in lines if line.shared_mm is not None]
    if len(shared) == len(lines):
        errors = rng.standard_normal((_DRAWS, shared[0].shape[1]))
        on_q = [np.diff(columns, 2, axis=0) for columns in shared]
        on_z = [columns[SPAN_STEPS:] - columns[:-SPAN_STEPS] for columns in shared]
        ff_draws, least_ff = _less_shared(ff, ff_draws, all_q, on_q, errors, constant)
        fl_draws, least_fl = _less_shared(fl, fl_draws, all_z, on_z, errors, FL_MM)
    return FNumbers(
        tuple(found), ff, fl, _ci90(ff_draws), _ci90(fl_draws), ff_dof, fl_dof,
        ff_draws, fl_draws, least_ff, least_fl,
    )  # fmt: skip


def f_number(values: Floats, constant_mm: float) -> float:
    """F-number of q or z: constant over three standard deviations and the mean's size."""
    size = 3.0 * float(np.std(values, ddof=1)) + abs(float(np.mean(values)))
    return constant_mm / size if size > 1e-12 else math.inf


def combine(first: float, n_first: int, second: float, n_second: int) -> float:
    r"""Combine two F-numbers with their counts of q or z, as E1155 does, pair by pair.

    .. math:: F_{12} = F_1 F_2 \sqrt{\frac{n_1 + n_2}{n_2 F_1^2 + n_1 F_2^2}}
    """
    if math.isinf(first) or math.isinf(second):
        sizes = n_first / first**2 + n_second / second**2
        return math.sqrt((n_first + n_second) / sizes) if sizes > 0 else math.inf
    return (
        first
        * second
        * math.sqrt((n_first + n_second) / (n_second * first**2 + n_first * second**2))
    )


def minimum_rules(
    lines: Sequence[LevelLine],
    area_m2: float | None,
    edge_mm: float | None = None,
    units: Units = METRIC,
) -> list[str]:
    """What of the method's minimum rules the lines break, or cannot show.

    Parameters
    ----------
    lines : sequence of LevelLine
    area_m2 : float, optional
        Of the section; unknown for a bare table.
    edge_mm : float, optional
        Distance of the nearest reading from a wall or opening.
    units : Units
        Of the texts.
    """
    broken = []
    short = [line.name for line in lines if (len(line.z_mm) - 1) * line.step_mm < LEAST_LINE_MM - 1]
    if short:
        broken.append(words.short_lines(short, LEAST_LINE_MM, units))
    if area_m2 is None:
        broken.append(words.area_unknown(LEAST_SECTION_M2, units))
    else:
        if area_m2 < LEAST_SECTION_M2:
            broken.append(words.section_too_small(area_m2, LEAST_SECTION_M2, units))
        count = sum(len(line.z_mm) - 2 for line in lines)
        square_feet = max(area_m2, LEAST_SECTION_M2) / M2_PER_FT2
        least = 2.0 * math.sqrt(square_feet) if square_feet <= 1600.0 else square_feet / 30.0
        if count < least:
            broken.append(words.too_few_curvatures(count, math.ceil(least)))
    if edge_mm is not None and edge_mm < LEAST_EDGE_MM - 1.0:
        broken.append(words.near_wall(edge_mm, LEAST_EDGE_MM, units))
    return broken


def _section(
    values: list[Floats],
    numbers: list[float],
    constant_mm: float,
    lags: int,
    rng: np.random.Generator,
) -> tuple[float, float, Floats]:
    """Section's F-number, effective degrees of freedom, and draws of the true one."""
    combined, n = numbers[0], len(values[0])
    for number, row in zip(numbers[1:], values[1:], strict=True):
        combined = combine(combined, n, number, len(row))
        n += len(row)
    if math.isinf(combined):
        return combined, float(n), np.full(_DRAWS, math.inf)
    correlation = _autocorrelation(values, lags)
    tells = [_tells(len(row), correlation) for row in values]
    dof = max(n**2 / sum(tells), 1.0)
    # Half a second on a small machine, and only F-numbers need it.
    from scipy import stats

    chi2 = stats.chi2(dof).ppf((np.arange(_DRAWS) + 0.5) / _DRAWS)
    rng.shuffle(chi2)
    return combined, dof, combined / np.sqrt(dof / chi2)


def _less_shared(
    combined: float,
    draws: Floats,
    values: list[Floats],
    columns: list[Floats],
    errors: Floats,
    constant_mm: float,
) -> tuple[Floats, Floats]:
    """Draws of a section's number, and of its least line's, less errors that all lines share.

    Parameters
    ----------
    combined, draws : float and (draws,)
        As measured, and what that tells of the section.
    values, columns : lists of (n,) and (n, k) arrays
        q or z of each line, and what unit errors do to them.
    errors : (draws, k)
    constant_mm : float
        Of the number.
    """
    squares, count = np.zeros(len(errors)), 0
    largest = np.zeros(len(errors))
    for row, on in zip(values, columns, strict=True):
        about, on_about = row - row.mean(), on - on.mean(axis=0)
        variance = (
            about @ about
            - 2.0 * errors @ (on_about.T @ about)
            + np.einsum("dk,kl,dl->d", errors, on_about.T @ on_about, errors)
        ) / (len(row) - 1)
        size = 3.0 * np.sqrt(np.maximum(variance, 0.0)) + np.abs(
            row.mean() - errors @ on.mean(axis=0)
        )
        squares += len(row) * size**2
        count += len(row)
        largest = np.maximum(largest, size)
    with np.errstate(divide="ignore"):
        number, least = constant_mm * np.sqrt(count / squares), constant_mm / largest
    told = draws / combined if math.isfinite(combined) else 1.0
    return number * told, least


def _autocorrelation(values: list[Floats], lags: int) -> Floats:
    """Pooled autocorrelation at lags 0, 1, ... about zero, which is where a level floor is.

    About each line's own mean it would come out too small on short lines; where a floor truly
    slopes it comes out too large, which errs on the side of doubt.
    """
    total, weight = np.zeros(lags + 1), np.zeros(lags + 1)
    for row in values:
        for lag in range(min(lags, len(row) - 1) + 1):
            total[lag] += float(row[lag:] @ row[: len(row) - lag])
            weight[lag] += len(row) - lag
    level = total / np.maximum(weight, 1.0)
    result: Floats = np.clip(level / level[0], -1.0, 1.0)
    return result


def _tells(n: int, correlation: Floats) -> float:
    """Sum of squared correlations of n values with each other: n where they are independent."""
    return float(np.sum(_matrix(n, correlation) ** 2))


def _matrix(n: int, correlation: Floats) -> Floats:
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    padded = np.concatenate([correlation, np.zeros(max(0, n - len(correlation)))])
    result: Floats = padded[apart]
    return result


def _ci90(draws: Floats) -> tuple[float, float]:
    if not np.all(np.isfinite(draws)):
        return math.inf, math.inf
    low, high = np.quantile(draws, [0.05, 0.95])
    return float(low), float(high)
