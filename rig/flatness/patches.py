r"""The least fill (and grinding, at its price) that brings a floor within a rule, without a pour.

With fill f and grinding g at the nodes of a lattice the finished height is z + f − g, and the gap
at c under an edge on a and b is linear in both:

.. math:: (1 - t)\,z'(a) + t\,z'(b) - z'(c) \le limit, \qquad z' = z + f - g.

So the least work is a linear programme over all triples. Only few of them bind: it is solved with
none, those that the answer breaks are added, until none is broken (cutting planes, Kelley 1960),
which gives the optimum of the whole programme.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage, sparse
from scipy.optimize import linprog

from rig.errors import CannotAnswer
from rig.flatness.field import Field, Floats, Ints, Lines, longest_line
from rig.flatness.rule import Edge
from rig.flatness.straightedge import all_lines, batches, gaps, read_together, shares
from rig.language import say
from rig.room import Outline, raster

_Triple = tuple[float, Floats, Floats, float, float]

# A trowel feathers a patch out no steeper than this (common practice, no source).
FEATHER_MM_PER_M = 20.0
# A patch smaller than this is not worth mixing for (common practice, no source).
LEAST_PATCH_M2 = 0.05
# Thinner than this is no patch but arithmetic.
LEAST_DEPTH_MM = 0.1

MOST_BEARINGS = 48
DRAW_BEARINGS = 24
_SLACK_MM = 0.005
_MOST_ROUNDS = 60
_PER_ROUND = 600
_TIGHTENINGS = 6
# The interior point method needs 20 to 40; where a programme hardly has an answer it may not end.
_MOST_ITERATIONS = 200


@dataclass(frozen=True, eq=False)
class Work:
    """Fill and grinding at the nodes of a lattice, (rows, columns) each, and what it comes to.

    Attributes
    ----------
    area_mm2 : array
        Floor that each node stands for.
    bound : float
        Least cost of any work, patches of every size allowed; `cost` is what this work costs.
    rounds, rows : int
        Of the cutting planes.
    less : float
        Share by which the limits were tightened.
    """

    fill_mm: Floats
    grind_mm: Floats
    area_mm2: Floats
    cost: float
    bound: float
    rounds: int
    rows: int
    less: float = 0.0

    @property
    def fill_l(self) -> float:
        """Compound in place."""
        return float(np.sum(self.fill_mm * self.area_mm2)) * 1e-6

    @property
    def grind_l(self) -> float:
        """Floor taken away."""
        return float(np.sum(self.grind_mm * self.area_mm2)) * 1e-6


def least_work(
    field: Field,
    outline: Outline,
    edges: Sequence[Edge],
    *,
    fill_cost: float = 1.0,
    grind_cost: float | None = None,
    feather_mm_per_m: float = FEATHER_MM_PER_M,
    least_patch_m2: float = LEAST_PATCH_M2,
    longest_mm: float | None = None,
) -> Work:
    """Least-cost fill and grinding that holds a rule's edges everywhere on one surface.

    Parameters
    ----------
    field : Field
        A single surface; its nodes are where fill and grinding are chosen.
    outline : Outline
    edges : sequence of Edge
        Limits may have been tightened.
    fill_cost, grind_cost : float
        A litre; without `grind_cost` nothing is ground.
    feather_mm_per_m : float
        How steep fill, and grinding, may grow from one node to the next.
    least_patch_m2 : float
        Smaller patches are left out where the rule holds without them; 0 keeps all.

    Raises
    ------
    CannotAnswer
        Where no fill does it: grinding would be needed and is not allowed.
    """
    problem = _Problem(field, outline, edges, fill_cost, grind_cost, feather_mm_per_m, longest_mm)
    return _sized(problem, least_patch_m2)


def _sized(problem: _Problem, least_patch_m2: float) -> Work:
    """Solve, then leave out patches under the least size where the rule holds without them."""
    first = problem.solve(np.zeros(problem.nodes, dtype=bool))
    if first is None:
        raise CannotAnswer(
            say(
                "No patch brings this floor within the rule: fill alone does not do it. Allow "
                "grinding (--grind COST), or pour the whole room."
            )
        )
    if least_patch_m2 <= 0:
        return first
    work, barred = first, np.zeros(problem.nodes, dtype=bool)
    for _ in range(2):
        small = problem.small(work, least_patch_m2)
        if not small.any():
            break
        barred |= small
        try:
            again = problem.solve(barred)
        except CannotAnswer:
            break
        if again is None:
            break
        work = replace(again, bound=first.cost)
    return work


def tightened(
    draws: Field,
    mean: Field,
    outline: Outline,
    edges: Sequence[Edge],
    confidence: float,
    longest_mm: float | None = None,
    *,
    fill_cost: float = 1.0,
    grind_cost: float | None = None,
    feather_mm_per_m: float = FEATHER_MM_PER_M,
    least_patch_m2: float = LEAST_PATCH_M2,
    start: float = 0.0,
) -> tuple[Work, float]:
    """Work after which joint draws of the floor keep the rule with the confidence.

    The limits of the programme on the best estimate are tightened until that share of draws
    conforms, or nothing more is to be had; the chance that is reached comes back too.

    Parameters
    ----------
    draws, mean : Field
        On the same nodes.
    start : float
        Share of the limits to begin with, as `Work.less` of work of another kind.
    """
    longest = longest_line(outline) if longest_mm is None else longest_mm
    problem = _Problem(mean, outline, edges, fill_cost, grind_cost, feather_mm_per_m, longest)
    best: tuple[Work, float] | None = None
    less, undone = start, 1.0  # tightening as a share of the limit; what cannot be done any more
    for _ in range(_TIGHTENINGS):
        problem.tighten(less)
        try:
            work = _sized(problem, least_patch_m2)
        except CannotAnswer:
            if best is None:
                raise
            undone = less
            less = (problem.done_less + undone) / 2.0
            continue
        problem.done_less = less
        after = finished(draws, mean, work)
        worst = shares(after, outline, edges, DRAW_BEARINGS, longest)
        chance = float(np.mean(worst <= 1.0))
        if best is None or chance > best[1]:
            best = (work, chance)
        if chance >= confidence:
            break
        over = float(np.quantile(worst, confidence)) - 1.0
        less = min(less + max(0.02, 0.8 * over), (less + undone) / 2.0)
    assert best is not None
    return best


def finished(draws: Field, mean: Field, work: Work) -> Field:
    """Draws of the floor after the work.

    A patch is struck off to its own surface, laid out from the best estimate, whatever lies under
    it, save where the floor comes through; and a place is ground down to its surface likewise.
    """
    z = draws.z_mm
    fill, grind = work.fill_mm[..., None], work.grind_mm[..., None]
    z = np.where(fill > LEAST_DEPTH_MM, np.maximum(z, mean.z_mm[..., None] + fill), z)
    z = np.where(grind > LEAST_DEPTH_MM, np.minimum(z, mean.z_mm[..., None] - grind), z)
    return replace(draws, z_mm=z)


@dataclass(frozen=True, eq=False)
class Patch:
    """One connected piece of work."""

    x_mm: float
    y_mm: float
    area_m2: float
    fill_l: float
    grind_l: float
    deepest_mm: float
    nodes: Ints


def patches_of(work: Work, field: Field) -> list[Patch]:
    """Connected pieces of a work, the largest volume first."""
    change = work.fill_mm + work.grind_mm
    labels, count = ndimage.label(change > LEAST_DEPTH_MM, np.ones((3, 3)))
    rows, columns = change.shape
    x = field.x0_mm + field.step_mm * np.arange(columns)[None, :] + np.zeros((rows, 1))
    y = field.y0_mm + field.step_mm * np.arange(rows)[:, None] + np.zeros((1, columns))
    found = []
    for n in range(1, count + 1):
        here = labels == n
        weight = (change * work.area_mm2)[here]
        if not weight.sum() > 0:
            continue
        found.append(
            Patch(
                float(np.average(x[here], weights=weight)),
                float(np.average(y[here], weights=weight)),
                float(work.area_mm2[here].sum()) * 1e-6,
                float(np.sum((work.fill_mm * work.area_mm2)[here])) * 1e-6,
                float(np.sum((work.grind_mm * work.area_mm2)[here])) * 1e-6,
                float(change[here].max()),
                np.flatnonzero(here.ravel()),
            )
        )
    return sorted(found, key=lambda patch: -(patch.fill_l + patch.grind_l))


class _Problem:
    """The linear programme, its rows added as they are broken."""

    def __init__(
        self,
        field: Field,
        outline: Outline,
        edges: Sequence[Edge],
        fill_cost: float,
        grind_cost: float | None,
        feather_mm_per_m: float,
        longest_mm: float | None,
    ) -> None:
        self.field, self.shape = field, field.z_mm.shape
        self.nodes = field.z_mm.size
        self.grinds = grind_cost is not None
        self.area = node_areas(field, outline)
        # Nodes beyond the wall carry what lies between them and the wall; they are not free.
        weight = np.maximum(self.area.ravel(), 0.02 * field.step_mm**2) * 1e-6
        self.cost = weight * fill_cost
        if grind_cost is not None:
            self.cost = np.concatenate([self.cost, weight * grind_cost])
        longest = longest_line(outline) if longest_mm is None else longest_mm
        self.work = [
            (list(all_lines(outline, laid, field.step_mm, MOST_BEARINGS)), together)
            for laid, together in read_together(edges, longest, field.step_mm)
        ]
        self.less = self.done_less = 0.0
        self.steepest = feather_mm_per_m * field.step_mm * 1e-3
        self.neighbours = _neighbours(self.shape)
        self.rows: list[sparse.csr_matrix] = []
        # What a row may come to: a limit, which tightens, less the heights as they are.
        self.limits: list[Floats] = []
        self.bases: list[Floats] = []
        self.feathered = np.zeros(len(self.neighbours) * 2 * (1 + self.grinds), dtype=bool)

    def tighten(self, less: float) -> None:
        """Take a share off every limit; the rows found so far stay."""
        self.less = less

    def solve(self, barred: np.ndarray) -> Work | None:
        """Solve with fill barred at some nodes; None where that cannot be."""
        bounds = np.zeros((len(self.cost), 2))
        bounds[:, 1] = np.inf
        bounds[: self.nodes, 1][barred] = 0.0
        x = np.zeros(len(self.cost))
        rounds = 0
        for rounds in range(1, _MOST_ROUNDS + 1):
            added = self._add_broken(x)
            if not added and rounds > 1:
                break
            if not self.rows:
                break
            found = linprog(
                self.cost / self.cost.max(),
                A_ub=sparse.vstack(self.rows, format="csr"),
                b_ub=np.concatenate(self.limits) * (1.0 - self.less) - np.concatenate(self.bases),
                bounds=bounds,
                method="highs-ipm",
                options={"maxiter": _MOST_ITERATIONS},
            )
            if found.status == 2:
                return None
            if found.x is None:
                raise CannotAnswer(
                    say(
                        "The patch programme found no answer ({text}); pour the whole room, or "
                        "shoot a coarser grid.",
                        text=found.message,
                    )
                )
            x = np.maximum(found.x, 0.0)
        fill = x[: self.nodes].reshape(self.shape)
        grind = x[self.nodes :].reshape(self.shape) if self.grinds else np.zeros(self.shape)
        cost = float(self.cost @ x)
        count = sum(part.shape[0] for part in self.rows)
        return Work(fill, grind, self.area, cost, cost, rounds, count, self.less)

    def small(self, work: Work, least_m2: float) -> np.ndarray:
        """Nodes of fill in patches smaller than the least, flat."""
        labels, count = ndimage.label(work.fill_mm > LEAST_DEPTH_MM, np.ones((3, 3)))
        sizes = ndimage.sum_labels(self.area, labels, np.arange(count + 1)) * 1e-6
        small: np.ndarray = (labels > 0) & (sizes[labels] < least_m2)
        # Dust below the least depth goes with them.
        small |= (work.fill_mm > 0) & (work.fill_mm <= LEAST_DEPTH_MM) & (labels == 0)
        return small.ravel()

    def _add_broken(self, x: Floats) -> int:
        added = self._add_feather(x)
        change = x[: self.nodes] - x[self.nodes :] if self.grinds else x
        field = replace(self.field, z_mm=self.field.z_mm + change.reshape(self.shape))
        found: list[_Triple] = []
        for lines, together in self.work:
            for line in lines:
                for part in batches(line, 1):
                    z = part.read(field)
                    for steps, limit in together:
                        found += _broken(part, z, steps, limit, limit * (1.0 - self.less))
        if not found:
            return added
        found.sort(key=lambda row: -row[0])
        chosen = _spread(found, self.field.step_mm)
        index, weights, base = self._corners(
            np.array([row[1] for row in chosen]), np.array([row[2] for row in chosen])
        )
        # (1 − t)·a + t·b − c in each row: three places of four nodes each.
        t = np.array([row[3] for row in chosen])
        signs = np.stack([1 - t, -np.ones(len(t)), t], axis=1)
        columns = np.moveaxis(index, 0, -1).reshape(len(chosen), 12)
        values = (np.moveaxis(weights, 0, -1) * signs[..., None]).reshape(len(chosen), 12)
        row_number = np.repeat(np.arange(len(chosen)), 12)
        fill = sparse.csr_matrix(
            (values.ravel(), (row_number, columns.ravel())), shape=(len(chosen), self.nodes)
        )
        self.rows.append(sparse.hstack([fill, -fill], format="csr") if self.grinds else fill)
        self.limits.append(np.array([row[4] for row in chosen]))
        self.bases.append(np.sum(base * signs, axis=1))
        return added + len(chosen)

    def _corners(self, x: Floats, y: Floats) -> tuple[Ints, Floats, Floats]:
        index, weights = self.field.corners(x, y)
        base = np.sum(self.field.z_mm.ravel()[index] * weights, axis=0)
        return index, weights, base

    def _add_feather(self, x: Floats) -> int:
        parts = [x[: self.nodes]] + ([x[self.nodes :]] if self.grinds else [])
        steps = []
        for part in parts:
            rise = part[self.neighbours[:, 1]] - part[self.neighbours[:, 0]]
            steps += [rise, -rise]
        broken = np.concatenate(steps) > self.steepest + _SLACK_MM
        broken &= ~self.feathered
        new = np.flatnonzero(broken)
        if not len(new):
            return 0
        self.feathered[new] = True
        pairs = len(self.neighbours)
        which, pair = np.divmod(new, pairs)
        sign = np.where(which % 2 == 0, 1.0, -1.0)
        offset = (which // 2) * self.nodes
        n = np.arange(len(new))
        rows = sparse.csr_matrix(
            (
                np.concatenate([sign, -sign]),
                (
                    np.concatenate([n, n]),
                    np.concatenate(
                        [self.neighbours[pair, 1] + offset, self.neighbours[pair, 0] + offset]
                    ),
                ),
            ),
            shape=(len(new), len(self.cost)),
        )
        self.rows.append(rows)
        self.limits.append(np.zeros(len(new)))
        self.bases.append(np.full(len(new), -self.steepest))
        return len(new)


def node_areas(field: Field, outline: Outline) -> Floats:
    """Floor in mm² that each node of a field stands for; they add up to the floor's area."""
    cells = raster(outline, field.step_mm / 2.0)
    index, weights = field.corners(cells.x_mm, cells.y_mm)
    areas = np.zeros(field.z_mm.shape[0] * field.z_mm.shape[1])
    np.add.at(areas, index, weights * cells.area_mm2)
    return areas.reshape(field.z_mm.shape[:2])


def _broken(lines: Lines, z: Floats, steps: int, limit_mm: float, tight_mm: float) -> list[_Triple]:
    """Worst triples that break a tightened limit: of each line the worst, others well apart.

    Each is (excess, x of a, c and b, y of them, t of c between a and b, limit).
    """
    best = gaps(z, steps)
    found = []
    for row in np.flatnonzero(best.max(axis=0) > tight_mm + _SLACK_MM):
        own = best[:, row].copy()
        profile = z[: int(lines.count[row]), row]
        while True:
            a = int(np.argmax(own))
            if own[a] <= tight_mm + _SLACK_MM:
                break
            d = np.arange(1, min(steps, len(profile) - 1 - a) + 1)
            slopes = (profile[a + d] - profile[a]) / d
            steepest = np.maximum.accumulate(slopes[::-1])[::-1]
            gap = d[:-1] * (steepest[1:] - slopes[:-1])
            c = int(np.argmax(gap))
            b = c + 1 + int(np.argmax(slopes[c + 1 :]))
            k = np.array([a, a + c + 1, a + b + 1]) * lines.step_mm
            found.append(
                (
                    float(gap[c]) - tight_mm,
                    lines.x_mm[row] + k * lines.along[0],
                    lines.y_mm[row] + k * lines.along[1],
                    (c + 1) / (b + 1),
                    limit_mm,
                )
            )
            own[max(0, a - steps // 4) : a + b + 2] = 0.0
    return found


def _spread(found: list[_Triple], step_mm: float) -> list[_Triple]:
    """The worst of them, no more than a few at one place: the rest would say the same."""
    chosen = []
    taken: dict[tuple[int, int], int] = {}
    for row in found:
        at = (int(row[1][1] / step_mm), int(row[2][1] / step_mm))
        if taken.get(at, 0) >= 3:
            continue
        taken[at] = taken.get(at, 0) + 1
        chosen.append(row)
        if len(chosen) == _PER_ROUND:
            break
    return chosen


def _neighbours(shape: tuple[int, ...]) -> Ints:
    """Pairs of nodes side by side, (k, 2)."""
    number = np.arange(shape[0] * shape[1]).reshape(shape)
    across = np.stack([number[:, :-1].ravel(), number[:, 1:].ravel()], axis=1)
    along = np.stack([number[:-1].ravel(), number[1:].ravel()], axis=1)
    return np.concatenate([across, along])
