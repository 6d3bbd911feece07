r"""What a company's jobs teach of the next one's bags: partial pooling over crews and products.

.. math::

    \log\frac{used}{stated} = \beta_0 + \beta_1 (t - \bar t) + c_{crew} + p_{product} + e

with normal crews, products and jobs. The variances are found by restricted maximum likelihood
(Patterson and Thompson, Biometrika 58 (1971) 545-554), effects by Henderson's mixed model
equations (Searle, Casella and McCulloch, Variance Components, 1992, ch. 7), from sums a crew and
product: crews are eliminated one by one, so that many jobs cost no more than few. What is foretold
is mixed over a grid of both standard deviations, each with a flat prior (Gelman, Bayesian Analysis
1 (2006) 515-534), so that few crews and jobs are not believed more than they deserve.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize
from scipy.special import stdtr

from rig.errors import CannotAnswer
from rig.quantities.expected import Expectation, Factor, Jobs, Spread
from rig.words import say

Floats = NDArray[np.float64]

FEWEST_JOBS = 3
"""With fewer there is nothing to tell the jobs' own spread from a crew's."""
_GRID = np.concatenate([np.linspace(0.0, 1.0, 9), np.geomspace(1.3, 4.0, 5)])
"""Standard deviations of crews and of products, in those of a job."""
_NO_ONE = ""


@dataclass(frozen=True, slots=True)
class Past:
    """A job that was poured: who and what, the air's temperature, log(used / stated)."""

    crew: str | None
    product: str | None
    temperature_c: float | None
    log_ratio: float


@dataclass(frozen=True)
class Sums:
    """All that the jobs' fit needs, by crew and product.

    `count`, `sum_y` and `sum_t` (crews, products) hold the number of jobs and their sums of the
    ratio's log and of the temperature (less its mean); the rest are totals over all jobs.
    """

    crews: tuple[str, ...]
    products: tuple[str, ...]
    count: Floats
    sum_y: Floats
    sum_t: Floats
    yy: float
    ty: float
    tt: float
    mean_t: float

    @property
    def jobs(self) -> int:
        """How many jobs there are."""
        return int(self.count.sum())

    @property
    def has_slope(self) -> bool:
        """Whether the temperatures tell anything."""
        return self.tt > 1e-9 * max(self.jobs, 1)


class Cell(NamedTuple):
    """Jobs of one crew with one product, added up.

    `y` is log(used / stated), `t` the temperature less the mean of all, 0 where it was not read.
    """

    crew: str | None
    product: str | None
    jobs: int
    y: float
    yy: float
    t: float = 0.0
    ty: float = 0.0
    tt: float = 0.0


def cells_of(pasts: Iterable[Past]) -> tuple[list[Cell], float]:
    """Return jobs as cells of one each, and the mean temperature."""
    listed = list(pasts)
    read = [one.temperature_c for one in listed if one.temperature_c is not None]
    mean = math.fsum(read) / len(read) if read else 0.0
    found = []
    for one in listed:
        y, t = one.log_ratio, 0.0 if one.temperature_c is None else one.temperature_c - mean
        found.append(Cell(one.crew, one.product, 1, y, y * y, t, t * y, t * t))
    return found, mean


def sums_of(cells: Iterable[Cell], mean_t: float) -> Sums:
    """Add cells up; a crew or a product that was not told is one that nobody asks for."""
    listed = list(cells)
    crews = {name: n for n, name in enumerate(sorted({one.crew or _NO_ONE for one in listed}))}
    products = {n: k for k, n in enumerate(sorted({one.product or _NO_ONE for one in listed}))}
    count, sum_y, sum_t = np.zeros((3, len(crews), len(products)))
    for one in listed:
        at = crews[one.crew or _NO_ONE], products[one.product or _NO_ONE]
        count[at] += one.jobs
        sum_y[at] += one.y
        sum_t[at] += one.t
    return Sums(
        crews=tuple(crews),
        products=tuple(products),
        count=count,
        sum_y=sum_y,
        sum_t=sum_t,
        yy=math.fsum(one.yy for one in listed),
        ty=math.fsum(one.ty for one in listed),
        tt=math.fsum(one.tt for one in listed),
        mean_t=mean_t,
    )


@dataclass(frozen=True)
class _Fitted:
    """A fit at given ratios of standard deviations.

    `loss` is minus twice the log of the restricted likelihood, `variance` that of a job. `solved`
    holds mean, slope and products; `covariance` is theirs in units of `variance`. Products are
    scaled by their ratio.
    """

    crew_ratio: float
    product_ratio: float
    loss: float
    variance: float
    solved: Floats
    covariance: Floats
    freedom: int


class History:
    """The fit of a company's jobs.

    Parameters
    ----------
    sums : Sums

    Raises
    ------
    CannotAnswer
        Too few jobs.
    """

    def __init__(self, sums: Sums) -> None:
        if sums.jobs < FEWEST_JOBS:
            raise CannotAnswer(
                say(
                    "The books hold too few poured jobs to learn from: {jobs}, of at least "
                    "{fewest_jobs}.",
                    jobs=sums.jobs,
                    fewest_jobs=FEWEST_JOBS,
                )
            )
        self.sums = sums
        self._fixed = 2 if sums.has_slope else 1
        self._wide = _wide(sums, self._fixed)
        self._right, self._left = _totals(sums, self._fixed)
        self._grid = self._mixed()
        self._best = self._refined(self._grid)

    @property
    def sd(self) -> Spread:
        """Standard deviations between crews, between products and from job to job, by REML."""
        best = self._best
        job = math.sqrt(best.variance)
        return Spread(crew=best.crew_ratio * job, product=best.product_ratio * job, job=job)

    @property
    def effects(self) -> tuple[Mapping[str, float], Mapping[str, float]]:
        """Effects of crews and of products, shrunk, at the REML variances."""
        best = self._best
        products = best.solved[self._fixed :] * best.product_ratio
        crews = self._crew_effects(best)
        return (
            dict(zip(self.sums.crews, crews.tolist(), strict=True)),
            dict(zip(self.sums.products, products.tolist(), strict=True)),
        )

    @property
    def mean(self) -> float:
        """Mean of the log of the ratio, at the mean temperature."""
        return float(self._best.solved[0])

    def expect(
        self, crew: str | None, product: str | None, temperature_c: float | None = None
    ) -> Expectation:
        """Tell what the next job takes; an unknown crew or product has the company's spread."""
        one = _index(self.sums.crews, crew)
        other = _index(self.sums.products, product)
        grid = self._grid
        least = min(fit.loss for fit, _ in grid)
        weight = np.array([width * math.exp(0.5 * (least - fit.loss)) for fit, width in grid])
        weight /= weight.sum()
        told = np.array([self._told(fit, one, other, temperature_c) for fit, _ in grid])
        means, variances = told[:, 0], told[:, 1:]
        spread = np.sqrt(variances.sum(axis=1))
        freedom = grid[0][0].freedom
        low, p50, high = (
            _quantile(share, weight, means, spread, freedom) for share in (0.025, 0.5, 0.975)
        )
        doubt = [math.sqrt(float(weight @ variances[:, n])) for n in range(2)]
        sd = self.sd
        return Expectation(
            factor=Factor(p50=math.exp(p50), low=math.exp(low), high=math.exp(high)),
            jobs=Jobs(
                crew=0 if one is None else int(self.sums.count[one].sum()),
                product=0 if other is None else int(self.sums.count[:, other].sum()),
            ),
            sd=sd,
            doubt=Spread(crew=doubt[0], product=doubt[1], job=sd.job),
            crew=crew,
            product=product,
            temperature_c=temperature_c,
        )

    def _told(
        self, fit: _Fitted, crew: int | None, product: int | None, temperature_c: float | None
    ) -> tuple[float, float, float, float]:
        """Return the mean, and the variances of the crew's part, the product's and the job's.

        The doubt of the mean, and what crew and product share, is the job's.
        """
        line = np.zeros(len(fit.solved))
        line[0] = 1.0
        if self._fixed == 2 and temperature_c is not None:
            line[1] = temperature_c - self.sums.mean_t
        by_product, by_crew = fit.product_ratio**2, fit.crew_ratio**2
        if product is not None:
            at = self._fixed + product
            line[at] = fit.product_ratio
            by_product = fit.product_ratio**2 * float(fit.covariance[at, at])
        mean = 0.0
        if crew is not None:
            ratio = fit.crew_ratio
            pivot = 1.0 + ratio**2 * self._wide.jobs[crew]
            row = ratio**2 * self._wide.rows[crew] / pivot * self._scale(fit.product_ratio)
            mean = ratio**2 * float(self._wide.right[crew]) / pivot
            by_crew = ratio**2 / pivot + float(row @ fit.covariance @ row)
            line = line - row
            own = ratio**2 / pivot
        else:
            own = fit.crew_ratio**2
        mean += float(line @ fit.solved)
        whole = float(line @ fit.covariance @ line) + own + (by_product if product is None else 0.0)
        rest = 1.0 + max(whole - by_crew - by_product, 0.0)
        total = 1.0 + whole
        share = total / (by_crew + by_product + rest)
        scale = fit.variance * share
        return mean, scale * by_crew, scale * by_product, scale * rest

    def _scale(self, product_ratio: float) -> Floats:
        scale = np.full(self._fixed + len(self.sums.products), product_ratio)
        scale[: self._fixed] = 1.0
        return scale

    def _mixed(self) -> list[tuple[_Fitted, float]]:
        width = np.gradient(_GRID)
        return [
            (fit, float(width[i] * width[j]))
            for i, crew_ratio in enumerate(_GRID)
            for j, fit in enumerate(self._fits(float(crew_ratio), _GRID))
        ]

    def _refined(self, grid: Sequence[tuple[_Fitted, float]]) -> _Fitted:
        start = min((fit for fit, _ in grid), key=lambda fit: fit.loss)

        def loss(at: Floats) -> float:
            return self._fits(abs(float(at[0])), np.abs(at[1:]))[0].loss

        found = minimize(
            loss,
            [start.crew_ratio, start.product_ratio],
            method="Nelder-Mead",
            options={"xatol": 1e-6, "fatol": 1e-9, "maxiter": 400},
        )
        best = self._fits(abs(float(found.x[0])), np.abs(found.x[1:]))[0]
        return best if best.loss <= start.loss else start

    def _fits(self, crew_ratio: float, product_ratios: Floats) -> list[_Fitted]:
        """Fit at one ratio of crews and several of products; crews are eliminated once."""
        wide, fixed, sums = self._wide, self._fixed, self.sums
        square = crew_ratio**2
        pivots = 1.0 + square * wide.jobs
        down = square / pivots
        left = self._left - wide.rows.T @ (down[:, None] * wide.rows)
        right = self._right - wide.rows.T @ (down * wide.right)
        yy = sums.yy - float(down @ wide.right**2)
        log_pivots = float(np.log(pivots).sum())
        freedom = sums.jobs - fixed
        found = []
        for ratio in product_ratios:
            scale = self._scale(float(ratio))
            matrix = left * scale[:, None] * scale[None, :]
            matrix[range(fixed, len(scale)), range(fixed, len(scale))] += 1.0
            factor = np.linalg.cholesky(matrix)
            inverse = np.linalg.inv(factor)
            covariance = inverse.T @ inverse
            solved = covariance @ (right * scale)
            variance = max((yy - float(solved @ (right * scale))) / freedom, 1e-12)
            loss = (
                freedom * math.log(variance)
                + 2.0 * float(np.log(np.diag(factor)).sum())
                + log_pivots
            )
            found.append(
                _Fitted(crew_ratio, float(ratio), loss, variance, solved, covariance, freedom)
            )
        return found

    def _crew_effects(self, fit: _Fitted) -> Floats:
        square = fit.crew_ratio**2
        left = self._wide.right - self._wide.rows @ (fit.solved * self._scale(fit.product_ratio))
        return np.asarray(square * left / (1.0 + square * self._wide.jobs))


@dataclass(frozen=True)
class _Wide:
    """Sums a crew: its jobs, its row of mean, slope and products, and its right side."""

    jobs: Floats
    rows: Floats
    right: Floats


def _wide(sums: Sums, fixed: int) -> _Wide:
    jobs = sums.count.sum(axis=1)
    rows = [jobs, sums.sum_t.sum(axis=1)][:fixed]
    return _Wide(jobs, np.column_stack([*rows, sums.count]), sums.sum_y.sum(axis=1))


def _totals(sums: Sums, fixed: int) -> tuple[Floats, Floats]:
    """Right side and matrix of mean, slope and products, crews left out."""
    count, t, y = (one.sum(axis=0) for one in (sums.count, sums.sum_t, sums.sum_y))
    size = fixed + len(sums.products)
    left, right = np.zeros((size, size)), np.zeros(size)
    tops = [count, t][:fixed]
    corner = np.array([[count.sum(), t.sum()], [t.sum(), sums.tt]])[:fixed, :fixed]
    left[:fixed, :fixed] = corner
    for n, row in enumerate(tops):
        left[n, fixed:] = left[fixed:, n] = row
    left[range(fixed, size), range(fixed, size)] = count
    right[:fixed] = [y.sum(), sums.ty][:fixed]
    right[fixed:] = y
    return right, left


def _index(names: Sequence[str], name: str | None) -> int | None:
    if name is None and tuple(names) == (_NO_ONE,):
        return 0  # nobody tells it, in the past or now: the next job is as those were
    return names.index(name) if name is not None and name in names else None


def _quantile(share: float, weight: Floats, means: Floats, spread: Floats, freedom: int) -> float:
    """Return a quantile of Student t's, mixed."""

    def over(x: float) -> float:
        return float(weight @ stdtr(freedom, (x - means) / spread)) - share

    reach = 100.0 * float(spread.max())
    return float(brentq(over, float(means.min()) - reach, float(means.max()) + reach, xtol=1e-10))
