"""From shots to heights: every shot relative to the line of set-up 1, its doubt with it."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from rig.job.rows import SAME_PLACE_MM
from rig.survey.reading import REFOUND_MM, z_mm
from rig.survey.setups import Line, Sight, Ties, adjust

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from rig.room import Outline

NEAR_WALL_MM = 300.0
"""A shot this near outside a wall still tells of the floor inside (common practice, no source)."""
# Kinds that a plan stands on: the first set-up that gave one is set-up 1.
BASIS = ("floor", "benchmark", "threshold")


class _Shot(Protocol):
    @property
    def setup(self) -> str: ...
    @property
    def point(self) -> str: ...
    @property
    def x_mm(self) -> float | None: ...
    @property
    def y_mm(self) -> float | None: ...
    @property
    def reading_mm(self) -> float: ...
    @property
    def stderr_mm(self) -> float: ...
    @property
    def kind(self) -> str: ...


@dataclass(frozen=True, eq=False)
class Heights:
    """Places and heights of n shots; z up-positive, relative to the line of set-up 1.

    `stderr_mm` holds the shot's own error and that of its set-up's line.
    """

    labels: tuple[str, ...]
    x_mm: "NDArray[np.float64]"
    y_mm: "NDArray[np.float64]"
    z_mm: "NDArray[np.float64]"
    stderr_mm: "NDArray[np.float64]"


def ties_of(shots: Iterable[_Shot], kind: str | None = None, setups: Iterable[str] = ()) -> Ties:
    """Tie the set-ups of these shots together.

    Benchmarks of one name tie. So does a floor shot with a benchmark at its own place that has its
    name, which is how a line is tied to a floor without benchmarks, with the doubt of finding the
    spot again.

    Parameters
    ----------
    shots : iterable of shots
        Current ones, of all kinds.
    kind : str, optional
        Only set-ups with shots of this kind must be tied; all unless said, none where it is empty.
    setups : iterable of str
        In the order in which the job met them; the first in use is set-up 1. Without it the first
        shot decides.

    Raises
    ------
    CannotAnswer
        Where a set-up that must be tied shares no benchmark with the rest.
    """
    shots = list(shots)
    sights = [sight for sight, _ in sights_of(shots)]
    used = {shot.setup for shot in shots if shot.kind in BASIS} or {s.setup for s in shots}
    order = [name for name in setups if name in used]
    order += [shot.setup for shot in shots if shot.setup in used]
    order += [shot.setup for shot in shots]
    needed = [shot.setup for shot in shots if kind is None or shot.kind == kind]
    return adjust(order, sights, needed)


def sights_of(shots: Iterable[_Shot]) -> list[tuple[Sight, tuple[float, float] | None]]:
    """Return the sights that tie set-ups, as `ties_of` says, each with its place if known."""
    shots = list(shots)
    marks: dict[str, list[_Shot]] = {}
    for shot in shots:
        if shot.kind == "benchmark":
            marks.setdefault(shot.point, []).append(shot)
    sights = []
    for shot in shots:
        doubt = shot.stderr_mm
        if shot.kind == "floor" and any(_at_same(shot, m) for m in marks.get(shot.point, ())):
            doubt = math.hypot(doubt, REFOUND_MM)
        elif shot.kind != "benchmark":
            continue
        placed = shot.x_mm is not None and shot.y_mm is not None
        place = (shot.x_mm or 0.0, shot.y_mm or 0.0) if placed else None
        sights.append((Sight(shot.setup, shot.point, shot.reading_mm, doubt), place))
    return sights


def lines_of(
    shots: Iterable[_Shot], kind: str | None = None, setups: Iterable[str] = ()
) -> list[Line]:
    """Return the lines of `ties_of`."""
    return ties_of(shots, kind, setups).lines


def outside_mm(outline: "Outline", shots: Sequence[_Shot]) -> "NDArray[np.float64]":
    """How far each shot lies outside the walls or inside an opening; 0 without a place."""
    import numpy as np
    import shapely

    x, y = np.array([(s.x_mm or 0.0, s.y_mm or 0.0) for s in shots], dtype=float).reshape(-1, 2).T
    away = shapely.distance(outline.polygon, shapely.points(x, y))
    placed = np.array([s.x_mm is not None and s.y_mm is not None for s in shots], dtype=bool)
    told: NDArray[np.float64] = np.where(placed, away, 0.0)
    return told


def heights_of(
    shots: Sequence[_Shot],
    kind: str = "floor",
    setups: Iterable[str] = (),
    outline: "Outline | None" = None,
) -> Heights:
    """Heights of all shots of a kind that have a place; `setups` as in `ties_of`.

    With `outline` only of those inside it or just outside: the walls may have been mended since,
    and what lies farther off says nothing of this floor. Such a shot may still tie a line.

    Raises
    ------
    CannotAnswer
        Where set-ups of that kind are not tied.
    """
    import numpy as np

    lines = {line.setup: line for line in lines_of(shots, kind, setups)}
    near = [shot for shot in shots if shot.kind == kind]
    if outline is not None:
        away = outside_mm(outline, near)
        near = [shot for shot, off in zip(near, away, strict=True) if off <= NEAR_WALL_MM]
    placed = [
        (shot, shot.x_mm, shot.y_mm)
        for shot in near
        if shot.x_mm is not None and shot.y_mm is not None
    ]
    return Heights(
        tuple(shot.point for shot, _, _ in placed),
        np.array([x for _, x, _ in placed], dtype=float),
        np.array([y for _, _, y in placed], dtype=float),
        np.array([z_mm(s.reading_mm, lines[s.setup].line_mm) for s, _, _ in placed], dtype=float),
        np.array([np.hypot(s.stderr_mm, lines[s.setup].stderr_mm) for s, _, _ in placed]),
    )


def _at_same(shot: _Shot, mark: _Shot) -> bool:
    """Tell whether a benchmark's sight is one of the very spot of a floor shot."""
    if shot.x_mm is None or shot.y_mm is None or mark.x_mm is None or mark.y_mm is None:
        return False
    return math.dist((shot.x_mm, shot.y_mm), (mark.x_mm, mark.y_mm)) <= SAME_PLACE_MM
