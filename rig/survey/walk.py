"""Puts points in an order that is short to walk and ends at the door.

A serpentine along either axis is a good start, and 2-opt and Or-opt moves (Croes 1958, Or 1976)
make it better; a step through a wall or an opening counts three times its length.
"""

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from rig.room import Outline

DETOUR = 3.0
MOST_IMPROVED = 800
"""More points than this keep the better serpentine: the moves would take too long."""

Floats = npt.NDArray[np.float64]


def walk_order(xy: Sequence[tuple[float, float]], outline: Outline) -> list[int]:
    """Return a short open path over points, ending at the one nearest to the door.

    Parameters
    ----------
    xy : sequence of (x_mm, y_mm)
        Inside the outline.
    outline : Outline
        Walls, openings and doors; without a door the path may end anywhere.

    Returns
    -------
    list of int
        Indices into `xy`; the same for the same input.
    """
    points = np.asarray(xy, dtype=float).reshape(-1, 2)
    n = len(points)
    if n < 2:
        return list(range(n))
    end = None
    if outline.doors:
        ways = [np.hypot(*(points - door.middle).T) for door in outline.doors]
        end = int(np.argmin(np.min(ways, axis=0)))
    walls = _walls(outline)
    starts = [_ending_at(order, end, points) for order in _serpentines(points)]
    if n > MOST_IMPROVED:
        return min(starts, key=lambda order: _walked(points, order, walls))
    cost = _costs(points, walls)
    starts.append(_nearest_first(cost, end))
    best = min((_improve(order, cost, end) for order in starts), key=lambda o: _length(o, cost))
    return [int(i) for i in best]


def _walls(outline: Outline) -> Floats:
    """Return the segments of walls and openings, (m, 4)."""
    segments: list[tuple[float, float, float, float]] = []
    for ring in (outline.walls, *outline.openings):
        segments += [(*a, *b) for a, b in zip(ring, (*ring[1:], ring[0]), strict=True)]
    return np.asarray(segments, dtype=float)


def _crossed(a: Floats, b: Floats, walls: Floats) -> npt.NDArray[np.bool_]:
    """Say which of the steps a to b (broadcast, last axis x and y) meet a wall."""
    crossed = np.zeros(np.broadcast_shapes(a.shape, b.shape)[:-1], dtype=bool)
    ax, ay, bx, by = a[..., 0], a[..., 1], b[..., 0], b[..., 1]
    for x0, y0, x1, y1 in walls:
        from_a = (x1 - x0) * (ay - y0) - (y1 - y0) * (ax - x0)
        from_b = (x1 - x0) * (by - y0) - (y1 - y0) * (bx - x0)
        of_0 = (bx - ax) * (y0 - ay) - (by - ay) * (x0 - ax)
        of_1 = (bx - ax) * (y1 - ay) - (by - ay) * (x1 - ax)
        # The boxes settle steps in line with a wall, where all four are nothing.
        boxes = (
            (np.minimum(ax, bx) <= max(x0, x1))
            & (np.maximum(ax, bx) >= min(x0, x1))
            & (np.minimum(ay, by) <= max(y0, y1))
            & (np.maximum(ay, by) >= min(y0, y1))
        )
        crossed |= (from_a * from_b <= 0) & (of_0 * of_1 <= 0) & boxes
    return crossed


def _costs(points: Floats, walls: Floats) -> Floats:
    a, b = points[:, None, :], points[None, :, :]
    cost = np.hypot(a[..., 0] - b[..., 0], a[..., 1] - b[..., 1])
    cost[_crossed(a, b, walls)] *= DETOUR
    return cost


def _walked(points: Floats, order: Sequence[int], walls: Floats) -> float:
    a, b = points[list(order[:-1])], points[list(order[1:])]
    steps = np.hypot(*(a - b).T)
    return float(np.sum(np.where(_crossed(a, b, walls), DETOUR, 1.0) * steps))


def _serpentines(points: Floats) -> Iterable[list[int]]:
    """Yield orders up and down along rows: along x and along y, from either side."""
    for along, across in ((0, 1), (1, 0)):
        rows = _rows(points[:, across])
        for first_row in (1, -1):
            for first_way in (1, -1):
                lanes = rows[::first_row]
                order: list[int] = []
                for k, lane in enumerate(lanes):
                    places = first_way * (-1) ** k * points[lane, along]
                    order += [lane[i] for i in np.argsort(places, kind="stable")]
                yield order


def _rows(values: Floats) -> list[list[int]]:
    """Group points into rows: a new one begins where the next value is a good step away."""
    order = np.argsort(values, kind="stable")
    step = float(np.ptp(values)) / max(np.sqrt(len(values)), 1.0) / 3.0
    rows: list[list[int]] = []
    begun = -np.inf
    for i in order:
        if values[i] - begun > step:
            rows.append([])
            begun = values[i]
        rows[-1].append(int(i))
    return rows


def _ending_at(order: list[int], end: int | None, points: Floats) -> list[int]:
    if end is None:
        return order
    at = order.index(end)
    if at == 0:
        return order[::-1]
    if at == len(order) - 1:
        return order
    # What lay beyond the end is walked first, from the side that joins more closely.
    head, tail = order[:at], order[at + 1 :]
    gaps = [
        np.hypot(*(points[a] - points[b])) for a, b in ((tail[-1], head[0]), (tail[0], head[0]))
    ]
    return (tail if gaps[0] <= gaps[1] else tail[::-1]) + head + [end]


def _nearest_first(cost: Floats, end: int | None) -> list[int]:
    """Walk back from the end, always to the nearest point that is left."""
    here = 0 if end is None else end
    order, left = [here], np.ones(len(cost), dtype=bool)
    left[here] = False
    while left.any():
        here = int(np.argmin(np.where(left, cost[here], np.inf)))
        left[here] = False
        order.append(here)
    return order[::-1]


def _length(order: Sequence[int], cost: Floats) -> float:
    path = np.asarray(order)
    return float(cost[path[:-1], path[1:]].sum())


def _improve(order: list[int], cost: Floats, end: int | None) -> list[int]:
    """Turn round and move stretches of the path as long as that shortens it."""
    # A depot at no cost from the free ends makes the open path a ring with one fixed place.
    n = len(cost)
    ring_cost = np.zeros((n + 1, n + 1))
    ring_cost[:n, :n] = cost
    if end is not None:
        ring_cost[n, end] = ring_cost[end, n] = -1e3 * (cost.max() + 1.0)
    path = np.asarray([n, *order])
    better = True
    while better:
        better = _two_opt(path, ring_cost)
        better |= _or_opt(path, ring_cost)
    order = [int(i) for i in path[1:]]
    return order[::-1] if end is not None and order[0] == end else order


def _two_opt(path: npt.NDArray[np.int_], cost: Floats) -> bool:
    changed = False
    m = len(path)
    for i in range(m - 2):
        after = np.append(path[i + 2 :], path[0])
        gain = (
            cost[path[i], path[i + 1]]
            + cost[path[i + 1 :], after]
            - cost[path[i], path[i + 1 :]]
            - cost[path[i + 1], after]
        )
        j = int(np.argmax(gain))
        if gain[j] > 1e-6:
            path[i + 1 : i + 2 + j] = path[i + 1 : i + 2 + j][::-1].copy()
            changed = True
    return changed


def _or_opt(path: npt.NDArray[np.int_], cost: Floats) -> bool:
    changed = False
    m = len(path)
    for length in (1, 2, 3):
        for i in range(1, m - length + 1):
            piece = path[i : i + length].copy()
            before, after = path[i - 1], path[(i + length) % m]
            freed = cost[before, piece[0]] + cost[piece[-1], after] - cost[before, after]
            if freed <= 1e-6:
                continue
            rest = np.concatenate([path[:i], path[i + length :]])
            follow = np.append(rest[1:], rest[0])
            between = cost[rest, follow]
            ahead = cost[rest, piece[0]] + cost[piece[-1], follow] - between
            turned = cost[rest, piece[-1]] + cost[piece[0], follow] - between
            k, other = int(np.argmin(ahead)), int(np.argmin(turned))
            if min(ahead[k], turned[other]) < freed - 1e-6:
                if turned[other] < ahead[k]:
                    k, piece = other, piece[::-1]
                path[:] = np.concatenate([rest[: k + 1], piece, rest[k + 1 :]])
                changed = True
    return changed
