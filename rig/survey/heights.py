"""From shots to heights: every shot relative to the line of set-up 1, its doubt with it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from rig.survey.setups import Line, Sight, tie

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

# A shot point stood on again is found only so well; a benchmark is a point (common practice, no
# source). Counts where a floor shot has to serve as a tie.
REFOUND_MM = 0.5


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


def lines_of(shots: Iterable[_Shot]) -> list[Line]:
    """Tie the set-ups of these shots together; the first one met is set-up 1.

    Benchmarks tie. A floor shot does too where its label was shot as a benchmark from another
    set-up, with the doubt of finding the spot again.

    Raises
    ------
    CannotAnswer
        Where a set-up shares no benchmark with the rest.
    """
    shots = list(shots)
    shared = {shot.point for shot in shots if shot.kind == "benchmark"}
    sights = []
    for shot in shots:
        if shot.kind == "benchmark":
            sights.append(Sight(shot.setup, shot.point, shot.reading_mm, shot.stderr_mm))
        elif shot.kind == "floor" and shot.point in shared:
            doubt = (shot.stderr_mm**2 + REFOUND_MM**2) ** 0.5
            sights.append(Sight(shot.setup, shot.point, shot.reading_mm, doubt))
    setups = list(dict.fromkeys(shot.setup for shot in shots))
    return tie(setups, sights)


def heights_of(shots: Sequence[_Shot], kind: str = "floor") -> Heights:
    """Heights of all shots of a kind that have a place.

    Raises
    ------
    CannotAnswer
        Where set-ups are not tied.
    """
    import numpy as np

    lines = {line.setup: line for line in lines_of(shots)}
    placed = [
        (shot, shot.x_mm, shot.y_mm)
        for shot in shots
        if shot.kind == kind and shot.x_mm is not None and shot.y_mm is not None
    ]
    return Heights(
        tuple(shot.point for shot, _, _ in placed),
        np.array([x for _, x, _ in placed], dtype=float),
        np.array([y for _, _, y in placed], dtype=float),
        np.array([lines[s.setup].line_mm - s.reading_mm for s, _, _ in placed], dtype=float),
        np.array([np.hypot(s.stderr_mm, lines[s.setup].stderr_mm) for s, _, _ in placed]),
    )
