"""The order in which batches are poured, drawn as strips, fronts and numbers."""

import itertools
import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from rig.drawing.contours import Lattice, between, isoline, runs_of
from rig.drawing.frame import Frame, closest, simple
from rig.drawing.look import Look
from rig.drawing.symbols import Key, patch, stroke, tagged, triangle
from rig.drawing.vector import (
    SMALL_MM,
    USUAL_MM,
    Drawing,
    Floats,
    Pen,
    Text,
    rectangle,
    text_width,
)
from rig.language import say, say_many
from rig.room import Outline
from rig.study.pour_answer import PourBatch

SEAM = Pen("soft", 0.18)
FRONT = Pen("ink", 0.4)
BAY = Pen("alarm", 1.1, (3.0, 1.2))
POURED = Pen("mark", 0.2)
MOST_FRONTS = 24


@dataclass(frozen=True, eq=False)
class Shares:
    """Cells of a floor and the batch (counted from 0) that fills each."""

    x_mm: Floats
    y_mm: Floats
    step_mm: float
    batch_of: npt.NDArray[np.intp]


def pour_drawing(
    outline: Outline,
    look: Look,
    batches: Sequence[PourBatch],
    exit_mm: tuple[float, float],
    shares: Shares | None = None,
    poured: Collection[int] = (),
    title: str = say("Order of the pour"),
) -> Drawing:
    """Batches in their order, each with its share of the floor where that is known.

    Parameters
    ----------
    outline : Outline
    look : Look
    batches : sequence of PourBatch
    exit_mm : (x, y)
        Where the crew leaves.
    shares : Shares, optional
    poured : collection of int
        Numbers of the batches that were poured.
    """
    by_the_door = any(math.dist(exit_mm, door.middle) < 100.0 for door in outline.doors)
    strips = max((one.strip for one in batches), default=1)
    every = max(1, math.ceil(strips / MOST_FRONTS))
    keys = [
        Key(
            lambda x, y: [Text(x, y + 1.1, "7", USUAL_MM, "middle", True)],
            say("batch, poured here"),
        )
    ]
    if shares is not None:
        keys += _keys_of_shares(batches, every)
    if not by_the_door:
        keys.append(Key(lambda x, y: triangle(x, y, fill="paper"), say("the crew leaves here")))
    if poured:
        keys.append(Key(patch("paper", POURED), say("poured")))
    frame = Frame(outline, look, keys)
    if shares is not None:
        _add_shares(frame, outline, batches, shares, poured, every)
    frame.add_room()
    if not by_the_door:
        frame.add(*triangle(*frame.place(*exit_mm), fill="paper"))
    _add_numbers(frame, batches)
    told = say(
        "{batches} in {strips}; the crew leaves by the door."
        if by_the_door
        else "{batches} in {strips}.",
        batches=say_many("{count} batch", "{count} batches", len(batches)),
        strips=say_many("{count} strip", "{count} strips", strips),
    )
    return frame.finish(title, told)


def _keys_of_shares(batches: Sequence[PourBatch], every: int) -> Iterator[Key]:
    if every == 1:
        yield Key(stroke(FRONT), say("front after a strip"))
        yield Key(stroke(SEAM), say("from batch to batch"))
    else:
        yield Key(stroke(FRONT), say("front after every {every} strips", every=every))
    if len({one.bay for one in batches}) > 1:
        yield Key(stroke(BAY), say("stop: let the bay before it set"))


def _add_numbers(frame: Frame, batches: Sequence[PourBatch]) -> None:
    """Number the batches: first and last, then the first of each strip, others where is room."""
    places = [frame.place(one.x_mm, one.y_mm) for one in batches]
    size = USUAL_MM + 0.6 if closest(places) > 9.0 else SMALL_MM
    last = len(batches) - 1
    turns = [0 if n in (0, last) else 2 for n in range(len(batches))]
    for n in range(1, last):
        if batches[n].strip != batches[n - 1].strip:
            turns[n] = 1
    for n in sorted(range(len(batches)), key=lambda n: turns[n]):
        x, y = frame.labels.inside(*places[n], 2.5, 0.55 * size)
        name = str(batches[n].n)
        wide = text_width(name, size, True) / 2 + 0.4
        box = (x - wide, y - 0.55 * size, x + wide, y + 0.55 * size)
        if turns[n] and not frame.labels.free(box):
            continue
        frame.labels.take(box)
        word = Text(x, y + 0.36 * size, name, size, "middle", True)
        frame.add(tagged("batch", name, [rectangle(box, "paper"), word]))


def strip_areas(
    outline: Outline, batches: Sequence[PourBatch], shares: Shares
) -> dict[int, shapely.Geometry]:
    """Area of each strip, between smoothed fronts as they are drawn."""
    found = {}
    for own, field, first, last in _bays(outline, batches, _Mesh(outline, shares)):
        for strip in range(first, last + 1):
            below = -np.inf if strip == first else strip - 0.5
            over = np.inf if strip == last else strip + 0.5
            found[strip] = between(own, field, below, over)
    return found


class _Mesh:
    """A lattice over the floor, and the batch that fills each node of it."""

    def __init__(self, outline: Outline, shares: Shares) -> None:
        left, low, right, high = shapely.bounds(outline.polygon)
        step = shares.step_mm
        self.shares = shares
        self.columns = np.arange(left - step / 2, right + 1.5 * step, step)
        self.rows = np.arange(low - step / 2, high + 1.5 * step, step)
        self._x, self._y = np.meshgrid(self.columns, self.rows)
        self.batch = self.nearest(np.arange(len(shares.batch_of)))

    def nearest(self, cells: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
        """Batch of the nearest of some cells, at each node."""
        from scipy.spatial import cKDTree

        shares = self.shares
        tree = cKDTree(np.column_stack([shares.x_mm[cells], shares.y_mm[cells]]))
        nodes = np.column_stack([self._x.ravel(), self._y.ravel()])
        found: npt.NDArray[np.intp] = shares.batch_of[cells[tree.query(nodes)[1]]]
        return found.reshape(self._x.shape)

    def smooth(self, values: npt.NDArray[np.generic]) -> Lattice:
        """Blur values at the nodes, so that their levels are no stairs."""
        from scipy.ndimage import gaussian_filter

        blurred = gaussian_filter(values.astype(float), 0.8, mode="nearest")
        return Lattice(self.columns, self.rows, blurred)


def _bays(
    outline: Outline, batches: Sequence[PourBatch], mesh: _Mesh
) -> Iterator[tuple[shapely.Geometry, Lattice, int, int]]:
    """Of each bay its area, a field whose levels are its fronts, its first and last strip."""
    strip_of = np.array([one.strip for one in batches], dtype=float)
    bay_of = np.array([one.bay for one in batches])
    for bay in np.unique(bay_of):
        # Within a bay strips come one after another; across its border they jump.
        cells = np.flatnonzero(bay_of[mesh.shares.batch_of] == bay)
        own = between(outline.polygon, mesh.smooth(bay_of[mesh.batch] == bay), 0.5, np.inf)
        strips = strip_of[bay_of == bay]
        yield own, mesh.smooth(strip_of[mesh.nearest(cells)]), int(strips.min()), int(strips.max())


def _add_shares(
    frame: Frame,
    outline: Outline,
    batches: Sequence[PourBatch],
    shares: Shares,
    poured: Collection[int],
    every: int,
) -> None:
    """Draw strips as bands between smoothed fronts, and thin lines between their batches."""
    mesh = _Mesh(outline, shares)
    strip_of = np.array([one.strip for one in batches], dtype=float)
    bay_of = np.array([one.bay for one in batches])
    smooth, batch = mesh.smooth, mesh.batch
    runs: list[Floats] = []
    for own, field, first, last in _bays(outline, batches, mesh):
        fronts = [*range(first + every - 1, last, every)]
        edges = [-np.inf, *(front + 0.5 for front in fronts), np.inf]
        for n, (below, over) in enumerate(itertools.pairwise(edges)):
            if n % 2 == 0:
                band = between(own, field, below, over)
                frame.add_area(shapely.simplify(band, 0.1 * frame.scale), "tint")
        for front in fronts:
            runs += isoline(own, field, front + 0.5)
    done = np.array([one.n in poured for one in batches])
    if done.any():
        wet = between(outline.polygon, smooth(done[batch]), 0.5, np.inf)
        frame.add_hatching(wet, POURED, 1.8, 45.0)
    if every == 1:
        frame.add_runs(_seams(outline, mesh.columns, mesh.rows, batch, strip_of), SEAM)
    frame.add_runs([simple(run, 0.1 * frame.scale) for run in runs], FRONT)
    for bay in np.unique(bay_of)[1:]:
        border = isoline(outline.polygon, smooth(bay_of[batch] >= bay), 0.5)
        frame.add_runs(border, BAY)


def _seams(
    outline: Outline, columns: Floats, rows: Floats, batch: npt.NDArray[np.intp], strip_of: Floats
) -> list[Floats]:
    """Lines between neighbouring cells of one strip that different batches fill."""
    half = (columns[1] - columns[0]) / 2
    strip = strip_of[batch]
    found = []
    across = (batch[:, 1:] != batch[:, :-1]) & (strip[:, 1:] == strip[:, :-1])
    for j, i in np.argwhere(across):
        x, y = columns[i] + half, rows[j]
        found.append([(x, y - half), (x, y + half)])
    along = (batch[1:] != batch[:-1]) & (strip[1:] == strip[:-1])
    for j, i in np.argwhere(along):
        x, y = columns[i], rows[j] + half
        found.append([(x - half, y), (x + half, y)])
    if not found:
        return []
    lines = shapely.line_merge(shapely.MultiLineString(found))
    return runs_of(shapely.intersection(lines, outline.polygon))
