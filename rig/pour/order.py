r"""Order of pour: from cells of the floor and their cover to batches along a moving front.

The front is a level line of

.. math:: \varphi(x) = d(x, \text{exit}) - \lambda\, d(x, \text{start}), \quad 0 \le \lambda \le 1,

with d the way to walk over the floor, round walls and openings. Cells are poured from high to low.
Along the way from any place to the exit d(x, exit) falls at full rate and d(x, start) changes no
faster, so the way never climbs: what is not yet poured always hangs together with the exit, and
nobody is walled in. The least lambda with which the start comes first is taken; from the farthest
corner that is 0.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree

from rig.errors import BadInput
from rig.language import say, say_many
from rig.room import ON_WALL_MM, Outline, Raster, contains
from rig.units import Units

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

STEPS_REACH = 2.3
"""Cells up to a knight's move apart are linked: walked ways then come out at most 3 % long."""
BESIDE = 1.3
"""Cells whose middles are nearer than this many steps lie side by side."""
DEEP = 1.5
"""A share this much deeper than its strip draws the front down: it is filled first."""
EXIT_MM = 500.0
"""So near to a wall an exit lies at it: one step."""
STAIR_MM = 700.0
"""An opening this wide may be a stair by which the crew leaves."""
_CRUMB = 0.02
"""Part of a batch that a hole in the raster may cut off without meaning anything."""


@dataclass(frozen=True, eq=False)
class Floor:
    """Cells of a floor with their cover, and how one walks over them.

    Attributes
    ----------
    x_mm, y_mm : (m,) array
    volume_l : (m,) array
        Compound that each cell takes.
    area_mm2 : (m,) array
    links : (m, m) sparse matrix
        Lengths between cells that one can step between.
    firm : (m,) array of bool
        Whether a cell's middle is on the floor; round a post it may be beside it.
    step_mm : float
        Side of a cell.
    """

    x_mm: Floats
    y_mm: Floats
    volume_l: Floats
    area_mm2: Floats
    links: csr_matrix
    firm: NDArray[np.bool_]
    step_mm: float

    def nearest(self, x_mm: float, y_mm: float) -> int:
        """Return the cell whose middle is nearest to a place."""
        return int(np.argmin(np.hypot(self.x_mm - x_mm, self.y_mm - y_mm)))

    def ways_mm(self, cell: int) -> Floats:
        """Length of the way from a cell to every other; what is cut off takes its neighbour's."""
        ways: Floats = dijkstra(self.links, directed=False, indices=cell)
        cut_off = ~np.isfinite(ways)
        if cut_off.any():
            tree = cKDTree(np.column_stack([self.x_mm, self.y_mm])[~cut_off])
            away, near = tree.query(np.column_stack([self.x_mm, self.y_mm])[cut_off])
            ways[cut_off] = ways[~cut_off][near] + away
        return ways


@dataclass(frozen=True)
class Batch:
    """A batch, and the share of the floor that it fills.

    Attributes
    ----------
    n, bay, strip : int
        Counted from 1; strips go on counting through the bays.
    bags, volume_l, area_m2 : float
    x_mm, y_mm : float
        Where to pour it: on the floor, near the middle of its share.
    reach_mm : float
        How far from there it has to spread.
    way_mm : float
        From the exit, on foot.
    deep : bool
        Taken first in its strip, so that the deep place does not starve the front.
    """

    n: int
    bay: int
    strip: int
    bags: float
    volume_l: float
    area_m2: float
    x_mm: float
    y_mm: float
    reach_mm: float
    way_mm: float
    deep: bool


@dataclass(frozen=True, eq=False)
class Order:
    """Batches in their order.

    Attributes
    ----------
    batches : tuple of Batch
    batch_of : (m,) array of int
        Number of the batch (from 0) that fills each cell.
    seams : tuple of (int, int)
        Batches (from 0, the earlier first) that meet while both are wet.
    """

    batches: tuple[Batch, ...]
    batch_of: Ints
    seams: tuple[tuple[int, int], ...]


def floor_of(outline: Outline, cells: Raster, cover_mm: Floats) -> Floor:
    """Link the cells of a floor that one can step between without crossing a wall or an opening.

    Parameters
    ----------
    outline : Outline
    cells : Raster
    cover_mm : (m,) array
        Best estimate; what stands above the finished plane takes nothing.
    """
    places = np.column_stack([cells.x_mm, cells.y_mm])
    pairs = cKDTree(places).query_pairs(STEPS_REACH * cells.step_mm, output_type="ndarray")
    floor = outline.polygon.buffer(1.0, join_style="mitre")
    shapely.prepare(floor)
    lines = shapely.linestrings(np.stack([places[pairs[:, 0]], places[pairs[:, 1]]], axis=1))
    lengths = np.hypot(*(places[pairs[:, 0]] - places[pairs[:, 1]]).T)
    firm = contains(outline, cells.x_mm, cells.y_mm)
    # A cell cut by a corner may have its middle in the post: it hangs on what lies beside it.
    beside = ~firm[pairs].all(axis=1) & (lengths < BESIDE * cells.step_mm)
    kept = shapely.covers(floor, lines) | beside
    pairs, lengths = pairs[kept], lengths[kept]
    count = len(places)
    links = csr_matrix((np.maximum(lengths, 1e-6), pairs.T), shape=(count, count))
    volume = np.maximum(cover_mm, 0.0) * cells.area_mm2 * 1e-6
    return Floor(
        cells.x_mm, cells.y_mm, volume, cells.area_mm2, links + links.T, firm, cells.step_mm
    )


def place_on(
    outline: Outline, name: str, x_mm: float, y_mm: float, units: Units
) -> tuple[float, float]:
    """Return a place that must be on the floor or in a doorway, or refuse it by name."""
    if not shapely.dwithin(outline.polygon, shapely.Point(x_mm, y_mm), ON_WALL_MM):
        raise BadInput(
            say(
                "The {name} at {x}, {y} lies outside the floor: give a place on it or in a "
                "doorway.",
                name=name,
                x=units.place(x_mm),
                y=units.place(y_mm),
            )
        )
    return x_mm, y_mm


def exit_on(outline: Outline, x_mm: float, y_mm: float, units: Units) -> tuple[float, float]:
    """Return a place where the crew can leave, or refuse it: a door, a wall, a stair's opening.

    Parameters
    ----------
    outline : Outline
    x_mm, y_mm : float
    units : Units
        Of the job, for the refusal.
    """
    place_on(outline, "exit", x_mm, y_mm, units)
    wide = [
        ring for ring in outline.openings if shapely.Polygon(ring).buffer(-STAIR_MM / 2.0).area > 0
    ]
    ways_out = [shapely.LinearRing(ring) for ring in (outline.walls, *wide)]
    off_mm = min(shapely.Point(x_mm, y_mm).distance(way) for way in ways_out)
    if off_mm > EXIT_MM:
        raise BadInput(
            say(
                "The exit at {x}, {y} lies {off} from the nearest wall: there the crew stands "
                "in what it has poured. Give the door or place at a wall by which it leaves "
                "(--exit X,Y, at most {exit_mm} from the wall), or leave --exit out for the "
                "first door.",
                x=units.place(x_mm),
                y=units.place(y_mm),
                off=units.place(off_mm),
                exit_mm=units.place(EXIT_MM),
            )
        )
    return x_mm, y_mm


def order_of_pour(
    floor: Floor,
    exit_mm: tuple[float, float],
    start_mm: tuple[float, float] | None,
    bags: Sequence[float],
    volume_l: float,
    strip_mm: float,
    bays: int = 1,
) -> Order:
    """Share the floor out to batches along a front that moves from the start to the exit.

    Parameters
    ----------
    floor : Floor
    exit_mm : (x, y)
        Where the crew leaves.
    start_mm : (x, y), optional
        Else the place with the longest way to the exit.
    bags : sequence of float
        Of each batch; they share the volume in proportion.
    volume_l : float
        Of the whole pour.
    strip_mm : float
        Depth of a strip along the front, which is poured from end to end, always the same way:
        there and back would double the age of the edge at the turns.
    bays : int
        Poured one after another, each let set before the next; cut along the way to the exit, so
        that each front is shorter.
    """
    total = float(floor.volume_l.sum())
    if total <= 0 or volume_l <= 0:
        raise BadInput(
            say("There is nothing to pour: the finished plane does not lie above the floor.")
        )
    exit_cell = floor.nearest(*exit_mm)
    to_exit = floor.ways_mm(exit_cell)
    start_cell = int(np.argmax(to_exit)) if start_mm is None else floor.nearest(*start_mm)
    if start_cell == exit_cell:
        raise BadInput(say("The pour cannot start at the exit: the crew would be walled in."))
    to_start = floor.ways_mm(start_cell)
    pull = start_pull(to_exit, to_start, start_cell)
    height = to_exit - pull * to_start
    deepest_mm = strip_mm * (1.0 + pull)  # the height falls at most so fast along the way

    # Volumes in bags, so that every batch takes exactly as many as it holds.
    need = floor.volume_l / total * float(np.sum(bags))
    batch_of = np.full(len(height), -1, dtype=np.intp)
    shares: list[tuple[int, int, bool, Ints]] = []  # bay, strip, deep, cells
    begin = np.array([floor.x_mm[start_cell], floor.y_mm[start_cell]])
    every = np.arange(len(height))
    strip = 0
    for bay, (cells, sizes) in enumerate(_bays(floor, exit_cell, start_cell, need, bags, bays), 1):
        ranked = cells[np.argsort(-height[cells], kind="stable")]
        at = begin
        for low, high, inside in _strips(height[ranked], need[ranked], sizes, deepest_mm):
            strip += 1
            band = ranked[low:high]
            dry = np.concatenate([ranked[high:], np.setdiff1d(every, cells)])
            pieces = _pieces(floor, band, need, sizes[inside], at)
            if low == 0:
                pieces.sort(key=lambda piece: float(np.hypot(*(_middle(floor, piece) - begin))))
            at = _middle(floor, pieces[0])
            if not leaves_a_way(floor, pieces, dry, exit_cell):
                # Ends of a deep, bent strip get cut off: narrower ribbons along it never are.
                pieces = _cut(band, need, list(sizes[inside]))
            pieces, is_deep = _deep_first(floor, band, pieces, dry, exit_cell)
            for piece, deep in zip(pieces, is_deep, strict=True):
                batch_of[piece] = len(shares)
                shares.append((bay, strip, deep, piece))
    per_bag_l = volume_l / float(np.sum(bags))
    batches = tuple(
        _batch(floor, cells, to_exit, n, bay, strip, float(bags[n]), per_bag_l, deep)
        for n, (bay, strip, deep, cells) in enumerate(shares)
    )
    return Order(batches, batch_of, _seams(floor, batch_of, [bay for bay, *_ in shares]))


def start_pull(to_exit: Floats, to_start: Floats, start: int) -> float:
    """Return the least lambda with which no cell lies higher than the start."""
    others = to_start > 0
    pull = float(np.max((to_exit[others] - to_exit[start]) / to_start[others], initial=0.0))
    return min(max(pull, 0.0), 1.0)


def leaves_a_way(
    floor: Floor, pieces: Sequence[Ints], dry: Ints, exit_cell: int, crumb: float = _CRUMB
) -> bool:
    """Tell whether each piece can be reached from the exit when it is its turn, and left again.

    Parameters
    ----------
    floor : Floor
    pieces : sequence of cells
        In the order in which they are poured.
    dry : cells
        What is still unpoured after the last of them.
    exit_cell : int
    crumb : float
        Part of a piece that may be cut off.
    """
    for n, piece in enumerate(pieces):
        open_cells = np.unique(np.concatenate([dry, [exit_cell], *pieces[n:]]))
        _, part = connected_components(floor.links[open_cells][:, open_cells], directed=False)
        reached = part == part[np.searchsorted(open_cells, exit_cell)]
        lost = open_cells[~reached]
        if len(lost) and floor.area_mm2[lost].sum() > crumb * floor.area_mm2[piece].sum():
            return False
    return True


def _bays(
    floor: Floor, exit_cell: int, start_cell: int, need: Floats, bags: Sequence[float], bays: int
) -> list[tuple[Ints, Floats]]:
    """Cut the floor along the line from start to exit into bays of whole batches."""
    along = np.array(
        [floor.x_mm[exit_cell] - floor.x_mm[start_cell],
         floor.y_mm[exit_cell] - floor.y_mm[start_cell]]
    )  # fmt: skip
    across = floor.x_mm * along[1] - floor.y_mm * along[0]
    sizes = [np.asarray(part, dtype=float) for part in np.array_split(np.asarray(bags), bays)]
    if min(len(part) for part in sizes) == 0:
        raise BadInput(
            say(
                "{batchs} cannot be poured in {bays}.",
                batchs=say_many("{count} batch", "{count} batches", len(bags)),
                bays=say_many("{count} bay", "{count} bays", bays),
            )
        )
    cells = _cut(np.argsort(across, kind="stable"), need, [part.sum() for part in sizes])
    return list(zip(cells, sizes, strict=True))


def _strips(
    height: Floats, need: Floats, sizes: Floats, deepest_mm: float
) -> list[tuple[int, int, slice]]:
    """Cut ranked cells into strips of whole batches: first and last cell, and which batches."""
    middles = np.cumsum(need) - need / 2
    ends = np.cumsum(sizes)
    strips = []
    done = low = 0
    while done < len(sizes):
        bottom = int(np.searchsorted(-height, -(height[min(low, len(height) - 1)] - deepest_mm)))
        wanted = float(need[low:bottom].sum())
        begun = ends[done - 1] if done else 0.0
        count = max(1, int(np.argmin(np.abs(ends[done:] - begun - wanted))) + 1)
        more = len(sizes) - done - count
        if more * 2 < count and more:  # no stub of a strip at the exit
            count += more
        last = done + count == len(sizes)
        high = len(height) if last else int(np.searchsorted(middles, ends[done + count - 1]))
        strips.append((low, max(high, low + 1), slice(done, done + count)))
        done, low = done + count, max(high, low + 1)
    return strips


def _pieces(floor: Floor, band: Ints, need: Floats, sizes: Floats, at: Floats) -> list[Ints]:
    """Cut a strip across into batches, beginning at its end nearer to a place.

    Parts of a strip that do not hang together (round a post, say) come one after the other.
    """
    count, part = connected_components(floor.links[band][:, band], directed=False)
    parts = [band[part == k] for k in range(count)]

    def away(cells: Ints) -> float:
        return float(np.hypot(floor.x_mm[cells] - at[0], floor.y_mm[cells] - at[1]).min())

    lined_up = [_end_to_end(floor, cells, at) for cells in sorted(parts, key=away)]
    return _cut(np.concatenate(lined_up), need, list(sizes))


def _deep_first(
    floor: Floor, band: Ints, pieces: list[Ints], dry: Ints, exit_cell: int
) -> tuple[list[Ints], list[bool]]:
    """Take the pieces that would draw the front down first, where that leaves a way to the rest."""
    usual = float(floor.volume_l[band].sum() / floor.area_mm2[band].sum())
    deep = [
        float(floor.volume_l[cells].sum()) > DEEP * usual * float(floor.area_mm2[cells].sum())
        for cells in pieces
    ]
    ranked = sorted(range(len(pieces)), key=lambda n: not deep[n])
    turned = [pieces[n] for n in ranked]
    if any(deep) and leaves_a_way(floor, turned, dry, exit_cell):
        return turned, [deep[n] for n in ranked]
    return pieces, [False] * len(pieces)


def _end_to_end(floor: Floor, cells: Ints, at: Floats) -> Ints:
    places = np.column_stack([floor.x_mm[cells], floor.y_mm[cells]])
    centred = places - places.mean(axis=0)
    along = centred @ np.linalg.svd(centred, full_matrices=False)[2][0]
    ends = places[[int(np.argmin(along)), int(np.argmax(along))]]
    if np.hypot(*(ends[1] - at)) < np.hypot(*(ends[0] - at)):
        along = -along
    return cells[np.argsort(along, kind="stable")]


def _cut(lined_up: Ints, need: Floats, sizes: Sequence[float]) -> list[Ints]:
    """Cut a line of cells into pieces that need so many bags each; each gets at least a cell."""
    needed = need[lined_up]
    middles = np.cumsum(needed) - needed / 2
    ends = np.cumsum(sizes) * (needed.sum() / np.sum(sizes))
    bounds = np.searchsorted(middles, ends[:-1])
    pieces = np.split(lined_up, bounds)
    return [
        piece if len(piece) else lined_up[[min(int(bound), len(lined_up) - 1)]]
        for piece, bound in zip(pieces, [*bounds, len(lined_up) - 1], strict=True)
    ]


def _batch(
    floor: Floor,
    cells: Ints,
    to_exit: Floats,
    n: int,
    bay: int,
    strip: int,
    bags: float,
    per_bag_l: float,
    deep: bool,
) -> Batch:
    middle = _middle(floor, cells)
    away = np.hypot(floor.x_mm[cells] - middle[0], floor.y_mm[cells] - middle[1])
    place = int(cells[np.argmin(np.where(floor.firm[cells], away, np.inf))])
    reach = np.hypot(floor.x_mm[cells] - floor.x_mm[place], floor.y_mm[cells] - floor.y_mm[place])
    return Batch(
        n + 1,
        bay,
        strip,
        bags,
        bags * per_bag_l,
        float(floor.area_mm2[cells].sum()) * 1e-6,
        float(floor.x_mm[place]),
        float(floor.y_mm[place]),
        float(reach.max()) + floor.step_mm / 2,
        float(to_exit[place]),
        deep,
    )


def _seams(floor: Floor, batch_of: Ints, bay_of: Sequence[int]) -> tuple[tuple[int, int], ...]:
    links = floor.links.tocoo()
    beside = links.data < BESIDE * floor.step_mm
    one, other = batch_of[links.row[beside]], batch_of[links.col[beside]]
    bay = np.asarray(bay_of)
    meet = (one < other) & (one >= 0) & (bay[one] == bay[other])
    return tuple((int(a), int(b)) for a, b in np.unique(np.stack([one, other], 1)[meet], axis=0))


def _middle(floor: Floor, cells: Ints) -> Floats:
    weight = floor.volume_l[cells] + 1e-12
    return np.array(
        [np.average(floor.x_mm[cells], weights=weight),
         np.average(floor.y_mm[cells], weights=weight)]
    )  # fmt: skip
