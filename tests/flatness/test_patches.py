from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import sparse
from scipy.optimize import linprog
from scipy.optimize._optimize import OptimizeResult

from rig.errors import CannotAnswer
from rig.flatness.field import Field, field_of, longest_line
from rig.flatness.patches import (
    FEATHER_MM_PER_M,
    MOST_BEARINGS,
    finished,
    least_work,
    node_areas,
    patches_of,
    tightened,
)
from rig.flatness.rule import Edge
from rig.flatness.straightedge import all_lines, lay, worst_placement
from rig.room import Outline, room, with_opening
from tests.kinds import Floats, there

SMALL = room(1000.0, 1200.0)
EDGE = Edge(800.0, 1.0, True)


def bumpy(seed: int, outline: Outline = SMALL, step: float = 200.0, size: float = 1.0) -> Field:
    rng = np.random.default_rng(seed)
    return field_of(outline, step, lambda x, y: size * rng.normal(0, 1.5, len(x)))


def whole_programme(
    field: Field, outline: Outline, edge: Edge, fill_cost: float, grind_cost: float | None
) -> float:
    """The optimum with a row for every triple on every line, solved by HiGHS in one go."""
    laid = lay(edge, longest_line(outline), field.step_mm)
    rows, limits = [], []
    z = field.z_mm.ravel()
    for lines in all_lines(outline, laid, field.step_mm, MOST_BEARINGS):
        x, y, past = lines.places()
        index, weight = field.corners(x, y)
        for row in range(x.shape[1]):
            n = int(np.sum(past[:, row] == 0))
            read = np.zeros((n, z.size))
            for k in range(4):
                np.add.at(read, (np.arange(n), index[k, :n, row]), weight[k, :n, row])
            for a in range(n):
                for b in range(a + 2, min(n, a + laid.steps + 1)):
                    for c in range(a + 1, b):
                        t = (c - a) / (b - a)
                        gap = (1 - t) * read[a] + t * read[b] - read[c]
                        rows.append(sparse.csr_matrix(gap))
                        limits.append(edge.limit_mm - gap @ z)
    gaps = sparse.vstack(rows)
    number = np.arange(z.size).reshape(field.z_mm.shape)
    pairs = np.vstack([
        np.column_stack([number[:, :-1].ravel(), number[:, 1:].ravel()]),
        np.column_stack([number[:-1].ravel(), number[1:].ravel()]),
    ])  # fmt: skip
    rise_row = np.arange(len(pairs))
    ones = np.ones(len(pairs))
    rise = sparse.csr_matrix(
        (ones, (rise_row, pairs[:, 1])), (len(pairs), z.size)
    ) - sparse.csr_matrix((ones, (rise_row, pairs[:, 0])), (len(pairs), z.size))
    steep = np.full(len(pairs), FEATHER_MM_PER_M * field.step_mm * 1e-3)
    weight = np.maximum(node_areas(field, outline).ravel(), 0.02 * field.step_mm**2) * 1e-6
    none = sparse.csr_matrix(rise.shape)
    if grind_cost is None:
        matrix, cost = sparse.vstack([gaps, rise, -rise]), weight * fill_cost
        bound = np.concatenate([limits, steep, steep])
    else:
        matrix = sparse.vstack([
            sparse.hstack([gaps, -gaps]),
            sparse.hstack([rise, none]), sparse.hstack([-rise, none]),
            sparse.hstack([none, rise]), sparse.hstack([none, -rise]),
        ])  # fmt: skip
        cost = np.concatenate([weight * fill_cost, weight * grind_cost])
        bound = np.concatenate([limits, *[steep] * 4])
    return float(linprog(cost, A_ub=matrix, b_ub=bound, method="highs").fun)


@pytest.mark.parametrize(("seed", "grind"), [(0, None), (1, None), (2, 0.4), (3, 3.0)])
def test_cutting_planes_reach_the_optimum_of_the_whole_programme(
    seed: int, grind: float | None
) -> None:
    field = bumpy(seed)
    work = least_work(field, SMALL, [EDGE], grind_cost=grind, least_patch_m2=0.0)
    whole = whole_programme(field, SMALL, EDGE, 1.0, grind)
    assert work.cost > 0
    # Rows that are broken by less than 0.005 mm are let be.
    assert work.cost == pytest.approx(whole, rel=0.01)
    assert work.cost <= whole + 1e-9


HALL = room(3000.0, 3600.0)
TWO_METRES = Edge(2000.0, 3.0, True)


def hollow(x: Floats, y: Floats) -> Floats:
    return -8.0 * np.exp(-((x - 1400) ** 2 + (y - 1700) ** 2) / (2 * 450**2))


def test_a_hollow_is_filled_where_it_is_and_the_floor_passes() -> None:
    field = field_of(HALL, 101.6, hollow)
    assert there(worst_placement(field, HALL, [TWO_METRES])).share > 1.5
    work = least_work(field, HALL, [TWO_METRES])
    after = replace(field, z_mm=field.z_mm + work.fill_mm)
    assert there(worst_placement(after, HALL, [TWO_METRES], MOST_BEARINGS)).share < 1.01
    assert work.grind_l == 0
    pieces = patches_of(work, field)
    assert len(pieces) == 1
    assert np.hypot(pieces[0].x_mm - 1400, pieces[0].y_mm - 1700) < 60
    assert pieces[0].fill_l == pytest.approx(work.fill_l, rel=0.01)
    # Less than filling the hollow to its brim, 8 mm · 2π · 450² mm³.
    assert 0.1 < work.fill_l < 8 * 2 * np.pi * 450**2 * 1e-6
    steps = np.abs(np.diff(work.fill_mm, axis=0)).max(), np.abs(np.diff(work.fill_mm, axis=1)).max()
    assert max(steps) <= FEATHER_MM_PER_M * 0.1016 + 0.01


def test_a_hump_is_ground_where_that_is_cheaper() -> None:
    field = field_of(HALL, 101.6, lambda x, y: -hollow(x, y))
    fill = least_work(field, HALL, [TWO_METRES])
    ground = least_work(field, HALL, [TWO_METRES], fill_cost=1.0, grind_cost=1.0)
    assert ground.grind_l > 0
    assert ground.cost < fill.cost
    dear = least_work(field, HALL, [TWO_METRES], fill_cost=1.0, grind_cost=500.0)
    assert dear.grind_l == pytest.approx(0, abs=1e-3)
    assert dear.cost == pytest.approx(fill.cost, rel=0.02)


def test_small_patches_are_left_out_where_the_rule_holds_without_them() -> None:
    rng = np.random.default_rng(4)
    field = field_of(HALL, 150.0, lambda x, y: 0.5 * hollow(x, y) + rng.normal(0, 1.3, len(x)))
    every = least_work(field, HALL, [TWO_METRES], least_patch_m2=0.0)
    sized = least_work(field, HALL, [TWO_METRES], least_patch_m2=0.1)
    assert sized.bound == pytest.approx(every.cost, rel=1e-3)
    assert sized.cost >= sized.bound - 1e-9
    assert len(patches_of(sized, field)) <= len(patches_of(every, field))
    after = replace(field, z_mm=field.z_mm + sized.fill_mm)
    assert there(worst_placement(after, HALL, [TWO_METRES], MOST_BEARINGS)).share < 1.01


def test_a_trim_that_the_solver_gives_up_leaves_the_work_before_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rng = np.random.default_rng(4)
    field = field_of(HALL, 150.0, lambda x, y: 0.5 * hollow(x, y) + rng.normal(0, 1.3, len(x)))
    every = least_work(field, HALL, [TWO_METRES], least_patch_m2=0.0)
    solved = []

    def gives_up(cost: Floats, **problem: Any) -> OptimizeResult:
        if np.any(problem["bounds"][:, 1] == 0.0):
            problem["options"] = {"maxiter": 1}
        solved.append(linprog(cost, **problem))
        return solved[-1]

    monkeypatch.setattr("rig.flatness.patches.linprog", gives_up)
    work = least_work(field, HALL, [TWO_METRES], least_patch_m2=0.1)
    assert solved[-1].x is None
    assert work.cost == pytest.approx(every.cost, rel=1e-9)


def test_a_floor_that_passes_needs_nothing() -> None:
    work = least_work(field_of(HALL, 150.0, lambda x, y: 0.01 * x), HALL, [TWO_METRES])
    assert work.cost == 0
    assert patches_of(work, field_of(HALL, 150.0, lambda x, y: 0 * x)) == []


def test_limits_are_tightened_until_the_draws_pass() -> None:
    mean = field_of(HALL, 150.0, hollow)
    rng = np.random.default_rng(5)
    smooth = rng.normal(0, 0.5, (3, 60))
    rows, columns = mean.z_mm.shape
    y, x = np.mgrid[0:rows, 0:columns] / 8.0
    off = np.tensordot(np.stack([np.cos(x), np.cos(y), np.cos(x + y)]), smooth, axes=(0, 0))
    draws = replace(mean, z_mm=mean.z_mm[..., None] + off)
    loose, loose_chance = tightened(draws, mean, HALL, [TWO_METRES], 0.5)
    tight, chance = tightened(draws, mean, HALL, [TWO_METRES], 0.95)
    assert chance >= 0.95
    assert loose_chance >= 0.5
    assert tight.less > 0
    assert tight.fill_l >= loose.fill_l > 0
    done = finished(draws, mean, tight)
    deep = tight.fill_mm > 2.0
    assert np.ptp(done.z_mm[deep], axis=1).max() < 1e-9  # struck off, whatever lies under it


def test_areas_of_the_nodes_add_up_to_the_floor() -> None:
    holed = with_opening(HALL, 500.0, 500.0, 700.0, 300.0)
    field = field_of(holed, 130.0, lambda x, y: 0 * x)
    assert node_areas(field, holed).sum() == pytest.approx(holed.polygon.area, rel=1e-6)


def test_what_fill_cannot_mend_is_said() -> None:
    # A comb of ridges 40 mm high: its grooves are steeper than fill may be feathered.
    comb = field_of(HALL, 150.0, lambda x, y: np.where(np.rint(x / 150.0) % 2 == 0, 40.0, 0.0))
    with pytest.raises(CannotAnswer, match="grinding"):
        least_work(comb, HALL, [TWO_METRES])
