"""Ties set-ups of the laser together: sights of shared benchmarks give each line's height.

A reading of a benchmark is the line's height less the benchmark's; least squares over all sights
finds both, relative to the line of the first set-up.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rig.errors import BadInput, CannotAnswer

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sight:
    """A benchmark read from a set-up."""

    setup: str
    benchmark: str
    reading_mm: float
    stderr_mm: float


@dataclass(frozen=True, slots=True)
class Line:
    """A set-up's line: its height relative to that of the first set-up, up positive."""

    setup: str
    line_mm: float
    stderr_mm: float


@dataclass(frozen=True, eq=False, slots=True)
class Ties:
    """Heights relative to the line of the first set-up.

    Attributes
    ----------
    lines : list of Line
        The first is the one that all is relative to: height 0, error 0.
    covariance_mm2 : (n, n) array
        Of the lines' heights: points of one set-up share the doubt of its line.
    benchmarks : dict of str to float
        Height of each benchmark.
    residuals_mm : (m,) array
        Reading less what the heights say, for each sight in the order given.
    redundancy : int
        Sights beyond what the heights need: 0 means that no mistake can show.
    misfit : float or None
        Root of the weighted squares per redundant sight; about 1 where the stated errors hold.
    """

    lines: list[Line]
    covariance_mm2: Floats
    benchmarks: dict[str, float]
    residuals_mm: Floats
    redundancy: int
    misfit: float | None


def tie(setups: Iterable[str], sights: Sequence[Sight]) -> list[Line]:
    """Return each set-up's line; `adjust` has the rest."""
    return adjust(setups, sights).lines


def adjust(setups: Iterable[str], sights: Sequence[Sight]) -> Ties:
    """Find the height of each set-up's line by weighted least squares.

    Parameters
    ----------
    setups : iterable of str
        All set-ups in use, the reference first; those only met in `sights` follow.
    sights : sequence of Sight
        Every reading of a benchmark, weighed by 1/stderr².

    Raises
    ------
    BadInput
        When a standard error is not positive or a number is not finite.
    CannotAnswer
        When a set-up shares no benchmark with the rest.
    """
    names = tuple(dict.fromkeys([*setups, *(s.setup for s in sights)]))
    marks = tuple(dict.fromkeys(s.benchmark for s in sights))
    for s in sights:
        if not (np.isfinite(s.reading_mm) and np.isfinite(s.stderr_mm) and s.stderr_mm > 0):
            raise BadInput(
                f"the sight of {s.benchmark} from set-up {s.setup} needs a finite reading and a "
                "standard error above 0."
            )
    if not names:
        return Ties([], np.zeros((0, 0)), {}, np.zeros(0), 0, None)
    _refuse_untied(names, sights)
    lines, unknowns = len(names) - 1, len(names) - 1 + len(marks)
    design = np.zeros((len(sights), unknowns))
    for row, s in enumerate(sights):
        at = names.index(s.setup)
        if at:
            design[row, at - 1] = 1.0
        design[row, lines + marks.index(s.benchmark)] = -1.0
    readings = np.array([s.reading_mm for s in sights])
    weights = 1.0 / np.array([s.stderr_mm for s in sights])
    # By QR rather than normal equations: weights may differ a thousandfold.
    q, r = np.linalg.qr(design * weights[:, None])
    heights = np.linalg.solve(r, q.T @ (readings * weights))
    inverse = np.linalg.inv(r)
    covariance = np.zeros((len(names), len(names)))
    covariance[1:, 1:] = (inverse @ inverse.T)[:lines, :lines]
    residuals = readings - design @ heights
    redundancy = len(sights) - unknowns
    misfit = None
    if redundancy > 0:
        misfit = float(np.sqrt(np.sum((residuals * weights) ** 2) / redundancy))
    return Ties(
        lines=[
            Line(name, float(height), float(stderr))
            for name, height, stderr in zip(
                names, [0.0, *heights[:lines]], np.sqrt(np.diag(covariance)), strict=False
            )
        ],
        covariance_mm2=covariance,
        benchmarks=dict(zip(marks, map(float, heights[lines:]), strict=True)),
        residuals_mm=residuals,
        redundancy=redundancy,
        misfit=misfit,
    )


def _refuse_untied(names: Sequence[str], sights: Iterable[Sight]) -> None:
    seen: dict[str, set[str]] = {}
    for s in sights:
        seen.setdefault(s.setup, set()).add(s.benchmark)
    tied, marks = {names[0]}, set(seen.get(names[0], ()))
    while True:
        new = {name for name in names if name not in tied and seen.get(name, set()) & marks}
        if not new:
            break
        tied |= new
        marks |= set().union(*(seen[name] for name in new))
    for name in names:
        if name not in tied:
            raise CannotAnswer(
                f"set-up {name} shares no benchmark with set-up {names[0]}, nor through others: "
                f"shoot one benchmark from both (rig survey --kind benchmark --setup {name})."
            )
