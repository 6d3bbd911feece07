"""Ties set-ups of the laser together: sights of shared benchmarks give each line's height.

A reading of a benchmark is the line's height less the benchmark's; least squares over all sights
finds both, relative to the line of the first set-up. Sights beyond what that needs test the rest:
a chi-square test of the whole, and standardised residuals that name the sight at fault.

The earth's curvature and the bending of light are left out: over a sight of d they come to
d²/2R·(1 − k), with R = 6371 km and k = 0.13 (surveying handbooks) 0.06 mm at 30 m, far below what a
rod tells, and balanced sights are free of them.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rig.errors import BadInput, CannotAnswer
from rig.language import either, numeral, put, say

Floats = npt.NDArray[np.float64]

LEVEL = 0.05
"""Sights that disagree so much less often than this by chance have larger errors than stated."""
BLUNDER_LEVEL = 0.01
"""Chance that sound sights, all together, have one called wrong."""
HARDLY_SEEN = 0.01
"""Less than this share of a sight's own error shows in its residual: nothing is said of it."""
REFINED = 3
"""Rounds of refinement: the first already leaves no more than rounding, weights as they may."""


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


@dataclass(frozen=True, slots=True)
class Blunder:
    """A sight that the others contradict.

    Attributes
    ----------
    sight : Sight
    off_mm : float
        How much more it reads than the others say.
    standardised : float
        Its residual in standard errors of that residual (Baarda's test).
    rivals : tuple of Sight
        Sights that would explain the contradiction just as well.
    """

    sight: Sight
    off_mm: float
    standardised: float
    rivals: tuple[Sight, ...]


@dataclass(frozen=True, eq=False, slots=True)
class Ties:
    """Heights relative to the line of the first set-up.

    Attributes
    ----------
    lines : list of Line
        The first is the one that all is relative to: height 0, error 0. Only those that are tied.
    covariance_mm2 : (n, n) array
        Of the lines' heights: points of one set-up share the doubt of its line. Widened by
        `widened` squared, as are the lines' standard errors.
    benchmarks : dict of str to float
        Height of each benchmark.
    sights : tuple of Sight
        In the order given.
    residuals_mm : (m,) array
        Reading less what the heights say, for each sight in the order given; NaN where the sight's
        set-up is not tied to the first.
    standardised : (m,) array
        Residuals in their own standard errors; NaN where the other sights say nothing of one.
    redundancy : int
        Sights beyond what the heights need: 0 means that no mistake can show.
    misfit : float or None
        Root of the weighted squares per redundant sight; about 1 where the stated errors hold.
    agree : float or None
        Chance that sights as good as stated disagree as much as these (chi-square).
    widened : float
        What the stated errors were multiplied by: the misfit where that chance is small, else 1.
    blunder : Blunder or None
        The worst sight, where noise alone does not explain it.
    """

    lines: list[Line]
    covariance_mm2: Floats
    benchmarks: dict[str, float]
    sights: tuple[Sight, ...]
    residuals_mm: Floats
    standardised: Floats
    redundancy: int
    misfit: float | None
    agree: float | None
    widened: float
    blunder: Blunder | None


def stand_of(setup: str) -> str:
    """Return where the laser stands at a set-up, which may be one rod's of several: `1@rod-2`."""
    return setup.partition("@")[0]


def tie(setups: Iterable[str], sights: Sequence[Sight]) -> list[Line]:
    """Return each set-up's line; `adjust` has the rest."""
    return adjust(setups, sights).lines


def adjust(
    setups: Iterable[str], sights: Sequence[Sight], needed: Iterable[str] | None = None
) -> Ties:
    """Find the height of each set-up's line by weighted least squares.

    Parameters
    ----------
    setups : iterable of str
        All set-ups in use, the reference first; those only met in `sights` follow.
    sights : sequence of Sight
        Every reading of a benchmark, weighed by 1/stderr².
    needed : iterable of str, optional
        The set-ups that must be tied to the reference; all unless said. Others that are not are
        left out.

    Raises
    ------
    BadInput
        When a standard error is not positive or a number is not finite.
    CannotAnswer
        When a set-up that is needed shares no benchmark with the rest.
    """
    names = list(dict.fromkeys([*setups, *(s.setup for s in sights)]))
    _refuse_odd(sights)
    nothing = np.full(len(sights), np.nan)
    if not names:
        return Ties(
            [], np.zeros((0, 0)), {}, tuple(sights), nothing, nothing, 0, None, None, 1.0, None
        )
    tied = _tied(names, sights)
    for name in names if needed is None else dict.fromkeys(needed):
        if name not in tied:
            raise CannotAnswer(_missing_tie(name, names[0], tied, sights))
    names = [name for name in names if name in tied]
    used = [n for n, s in enumerate(sights) if s.setup in tied]
    solved = _solve(names, [sights[n] for n in used])
    residuals, standardised = nothing.copy(), nothing.copy()
    residuals[used], standardised[used] = solved.residuals, solved.standardised
    redundancy = len(used) - (len(names) - 1) - len(solved.marks)
    misfit, agree, widened = _agreement(solved.square, redundancy)
    blunder = _worst(sights, residuals, standardised, redundancy) if redundancy > 0 else None
    stderr = widened * np.sqrt(np.diag(solved.covariance))
    return Ties(
        lines=[
            Line(name, float(height), float(error))
            for name, height, error in zip(names, solved.lines, stderr, strict=True)
        ],
        covariance_mm2=widened**2 * solved.covariance,
        benchmarks=dict(zip(solved.marks, map(float, solved.heights), strict=True)),
        sights=tuple(sights),
        residuals_mm=residuals,
        standardised=standardised,
        redundancy=redundancy,
        misfit=misfit,
        agree=agree,
        widened=widened,
        blunder=blunder,
    )


def _refuse_odd(sights: Sequence[Sight]) -> None:
    for s in sights:
        if not (math.isfinite(s.reading_mm) and math.isfinite(s.stderr_mm) and s.stderr_mm > 0):
            raise BadInput(
                say(
                    "the sight of {benchmark} from set-up {setup} needs a finite reading and a "
                    "standard error above 0.",
                    benchmark=s.benchmark,
                    setup=s.setup,
                )
            )


def _agreement(square: float, redundancy: int) -> tuple[float | None, float | None, float]:
    """Return by how much sights miss, the chance of it, and by what the doubt grows."""
    if redundancy <= 0:
        return None, None, 1.0
    from scipy.stats import chi2  # a third of a second, and one set-up needs none

    misfit = math.sqrt(square / redundancy)
    agree = float(chi2.sf(square, redundancy))
    return misfit, agree, misfit if agree < LEVEL else 1.0


def contradictions(ties: Ties, show: Callable[[float], str] = "{:.1f} mm".format) -> list[str]:
    """Say in words where benchmarks contradict each other; nothing where they agree.

    Parameters
    ----------
    ties : Ties
    show : callable
        Writes a length for people.
    """
    said = []
    bad = ties.blunder
    if bad is not None:
        told = {
            "benchmark": bad.sight.benchmark,
            "setup": bad.sight.setup,
            "by": show(abs(bad.off_mm)),
        }
        if bad.rivals:
            others = either(
                say("{benchmark} from {setup}", benchmark=s.benchmark, setup=s.setup)
                for s in bad.rivals[:3]
            )
            told["others"] = put("{others} …", others=others) if len(bad.rivals) > 3 else others
        said.append(say(_blunder_message(bad), **told))
    if ties.widened > 1.0:
        said.append(
            say(
                "The benchmarks disagree {widened} times as much as their doubt allows (chance "
                "{agree}): the doubt of the set-ups' lines was widened by that.",
                widened=numeral(ties.widened, ".1f"),
                agree=numeral(ties.agree, ".1g"),
            )
        )
    return said


def _blunder_message(bad: Blunder) -> str:
    if bad.rivals and bad.off_mm > 0:
        return say(
            "The sight of {benchmark} from set-up {setup} reads {by} more than the other sights "
            "say (or it is {others}: these sights cannot tell). Shoot one more benchmark from "
            "both set-ups, or these again."
        )
    if bad.rivals:
        return say(
            "The sight of {benchmark} from set-up {setup} reads {by} less than the other sights "
            "say (or it is {others}: these sights cannot tell). Shoot one more benchmark from "
            "both set-ups, or these again."
        )
    if bad.off_mm > 0:
        return say(
            "The sight of {benchmark} from set-up {setup} reads {by} more than the other sights "
            "say: misread, or read beside it. Shoot it again: rig survey --kind benchmark "
            "--label {benchmark} --setup {setup}."
        )
    return say(
        "The sight of {benchmark} from set-up {setup} reads {by} less than the other sights say: "
        "misread, or read beside it. Shoot it again: rig survey --kind benchmark --label "
        "{benchmark} --setup {setup}."
    )


@dataclass(frozen=True, eq=False)
class _Solution:
    marks: list[str]
    lines: Floats
    heights: Floats
    covariance: Floats
    residuals: Floats
    standardised: Floats
    square: float


def _solve(names: Sequence[str], sights: Sequence[Sight]) -> _Solution:
    """Solve for lines (the first is 0) and benchmarks, all tied.

    Each benchmark meets no other in a sight, so benchmarks are eliminated one by one and what is
    left is as large as the set-ups are many. The squares of normal equations cost digits where
    weights differ much; solving again for what the residuals leave brings them back.
    """
    marks = list(dict.fromkeys(s.benchmark for s in sights))
    if not sights:
        none = np.zeros(0)
        return _Solution([], np.zeros(1), none, np.zeros((1, 1)), none, none, 0.0)
    from scipy.linalg import cho_factor, cho_solve
    from scipy.sparse import coo_array

    line_at = {name: n for n, name in enumerate(names)}
    mark_at = {mark: n for n, mark in enumerate(marks)}
    line = np.array([line_at[s.setup] for s in sights])
    mark = np.array([mark_at[s.benchmark] for s in sights])
    reading = np.array([s.reading_mm for s in sights])
    weight = np.array([s.stderr_mm for s in sights]) ** -2.0
    n, m = len(names), len(marks)

    of_marks = np.bincount(mark, weight, m)
    # Rows are benchmarks, so that a set-up's share in each is read off quickly.
    shared = coo_array((weight, (mark, line)), (m, n)).tocsr()
    share = shared.multiply(1.0 / of_marks[:, None]).tocsr()
    left = np.diag(np.bincount(line, weight, n)) - (shared.T @ share).toarray()
    factor = cho_factor(left[1:, 1:]) if n > 1 else None

    lines, heights = np.zeros(n), np.zeros(m)
    residual = reading
    for _ in range(REFINED):
        pull = weight * residual
        on_marks = -np.bincount(mark, pull, m)
        on_lines = np.bincount(line, pull, n) + share.T @ on_marks
        step = np.zeros(n)
        if factor is not None:
            step[1:] = cho_solve(factor, on_lines[1:])
        lines += step
        heights += on_marks / of_marks + share @ step
        residual = reading - (lines[line] - heights[mark])

    covariance = np.zeros((n, n))
    if factor is not None:
        covariance[1:, 1:] = cho_solve(factor, np.eye(n - 1))
    # Cofactors of each sight: (line, line) + (mark, mark) - 2 (line, mark), by way of the shares.
    mixed = share @ covariance
    own = 1.0 / of_marks + np.asarray(share.multiply(mixed).sum(axis=1)).ravel()
    fitted = covariance[line, line] + own[mark] - 2.0 * mixed[mark, line]
    left_over = 1.0 / weight - fitted
    seen = left_over * weight > HARDLY_SEEN
    standardised = np.full(len(sights), np.nan)
    standardised[seen] = residual[seen] / np.sqrt(left_over[seen])
    square = float(np.sum(weight * residual**2))
    return _Solution(marks, lines, heights, covariance, residual, standardised, square)


def _worst(
    sights: Sequence[Sight], residuals: Floats, standardised: Floats, redundancy: int
) -> Blunder | None:
    """Find the sight with the largest standardised residual, where that is no noise."""
    from scipy.stats import norm

    tested = int(np.isfinite(standardised).sum())
    if not tested:
        return None
    size = np.nan_to_num(np.abs(standardised))
    at = int(np.argmax(size))
    # Bonferroni; with one sight beyond need all say the same, which is one test.
    limit = float(norm.isf(BLUNDER_LEVEL / 2.0 / (tested if redundancy > 1 else 1)))
    if size[at] <= limit:
        return None
    # Residual = share of the sight's own error that shows; the standardised one tells that share.
    shows = (residuals[at] / standardised[at] / sights[at].stderr_mm) ** 2
    rivals = tuple(
        sights[n] for n in map(int, np.flatnonzero(size > (1.0 - 1e-6) * size[at])) if n != at
    )
    return Blunder(sights[at], float(residuals[at] / shows), float(standardised[at]), rivals)


def _tied(names: Sequence[str], sights: Iterable[Sight]) -> set[str]:
    """Return the set-ups that benchmarks connect with the first."""
    seen: dict[str, list[str]] = {}
    from_: dict[str, list[str]] = {}
    for s in sights:
        seen.setdefault(s.setup, []).append(s.benchmark)
        from_.setdefault(s.benchmark, []).append(s.setup)
    tied, reached, edge = {names[0]}, set(), [names[0]]
    while edge:
        for mark in seen.get(edge.pop(), ()):
            if mark not in reached:
                reached.add(mark)
                new = set(from_[mark]) - tied
                tied |= new
                edge += new
    return tied


def _missing_tie(name: str, first: str, tied: set[str], sights: Iterable[Sight]) -> str:
    known = list(dict.fromkeys(s.benchmark for s in sights if s.setup in tied))
    own = list(dict.fromkeys(s.benchmark for s in sights if s.setup == name))
    if known:
        return say(
            "set-up {name} shares no benchmark with set-up {first}, nor through others: shoot "
            "{mark} from it too (rig survey --kind benchmark --label {mark} --setup {name}).",
            name=name,
            first=first,
            mark=known[0],
        )
    if own:
        return say(
            "set-up {name} shares no benchmark with set-up {first}, nor through others: shoot "
            "{mark} from the other too (rig survey --kind benchmark --label {mark} --setup "
            "{first}).",
            name=name,
            first=first,
            mark=own[0],
        )
    return say(
        "set-up {name} shares no benchmark with set-up {first}, nor through others: shoot one "
        "benchmark from both (rig survey --kind benchmark --label {mark} --setup {name}).",
        name=name,
        first=first,
        mark="BM1",
    )
