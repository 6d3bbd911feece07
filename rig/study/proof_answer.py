"""From a job's shots to the proof of its flatness: which shots are judged, before and after."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from rig.errors import CannotAnswer
from rig.flatness.field import Field
from rig.flatness.level_lines import LevelLine
from rig.flatness.rule import Rule
from rig.flatness.straightedge import Placement
from rig.flatness.verdict import Verdict, Word
from rig.record import OMITTED, Record, fields_of
from rig.room import Outline, where
from rig.study.findings import outside_warnings
from rig.study.judged import Surfaces, judge_shots, kind_to_judge, own_heights
from rig.study.lasers import shots_of
from rig.study.rooms import refuse_several
from rig.survey.heights import Heights, heights_of
from rig.units import Units
from rig.words import flatness as words
from rig.words import join

if TYPE_CHECKING:
    from rig.job.rows import Marker
    from rig.job.store import Job

Interval = tuple[float | None, float | None]
_KICKED_MM = 1.0
_AT_POINT_MM = 100.0
MOST_STRIPS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Place(Record):
    """A place on the plan."""

    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Worst(Record):
    """The worst placement of an edge, pair of points or pair of ends.

    `range_mm` is the central 90 % of the worst anywhere, reckoned to this limit; `line` the line
    of a table; `where` says the place.
    """

    gap_mm: float
    limit_mm: float
    x_mm: float
    y_mm: float
    bearing_deg: float
    span_mm: float
    supports: tuple[Place, ...]
    range_mm: tuple[float, ...]
    line: str | None
    where: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LineNumbers(Record):
    """F-numbers of one line, None where they have no end, and what they are made from."""

    line: str
    q_mm: tuple[float, ...]
    z_mm: tuple[float, ...]
    ff: float | None
    fl: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LaserShare(Record):
    """What the laser's own error does to a verdict; the last four are without it."""

    gap_stderr_mm: float | None = field(default=None, metadata=OMITTED)
    verdict_alone: Word | None = field(default=None, metadata=OMITTED)
    ff_ci90_alone: Interval | None = field(default=None, metadata=OMITTED)
    fl_ci90_alone: Interval | None = field(default=None, metadata=OMITTED)
    worst_range_mm_alone: Interval | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Before(Record):
    """The floor before the pour, held against the same rule."""

    verdict: Word
    chance: float
    worst: Worst | None
    share_in: float | None
    ff: float | None
    fl: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Depth(Record):
    """Thickness of a pour at points that were shot before and after."""

    min: float
    mean: float
    max: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerOff(Record):
    """The cured floor less a marker's top; `kicked` beyond twice the doubt of the others."""

    label: str
    off_mm: float
    stderr_mm: float
    kicked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Change(Record):
    """What a pour changed: thickness at points shot before and after, and at the markers."""

    points: int
    depth_mm: Depth | None
    markers: tuple[MarkerOff, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof(Record):
    """A floor, or a table of lines, held against a rule, as `rig flatness --json` prints it.

    `chance` is the probability that it conforms everywhere, `share_in` the share of all placements
    within the limit; F-numbers are None where the rule has none, or they have no end.
    """

    rule: str
    text: str
    source: str
    measure: str
    verdict: Word
    chance: float
    confidence: float
    worst: Worst | None
    share_in: float | None
    ff: float | None
    fl: float | None
    ff_ci90: Interval | None
    fl_ci90: Interval | None
    lines: tuple[LineNumbers, ...]
    next: tuple[Place, ...]
    warnings: tuple[str, ...]
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorProof(Proof):
    """The proof of a job's floor; `laser` is None where its error is not known or plays no part."""

    laser: LaserShare | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PourProof(FloorProof):
    """The proof of a finished surface whose floor was shot too; None where they do not compare."""

    change: Change | None
    before: Before | None = field(default=None, metadata=OMITTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip(Record):
    """A strip of a surface on which a straightedge leaves too much."""

    gap_mm: float
    limit_mm: float
    x_mm: float
    y_mm: float
    supports: tuple[Place, ...]


def proof(
    job: Job,
    outline: Outline,
    rule: Rule,
    confidence: float = 0.95,
    kind: str | None = None,
    surfaces: Surfaces | None = None,
) -> FloorProof:
    """Judge a job's floor against a rule.

    Where both the floor and the finished surface were shot and the latter is judged, the answer is
    a `PourProof`: it has the floor's verdict and what the pour did.

    Parameters
    ----------
    job : Job
    outline : Outline
    rule : Rule
    confidence : float
        How sure to be of in, and of out.
    kind : {'floor', 'finished'}, optional
        Which shots are judged; else the finished ones where there are any.
    surfaces : Surfaces, optional
        Keeps what is fitted, for who goes on with it.

    Raises
    ------
    CannotAnswer
        Where no such shots are there, or they are too few or not tied.
    """
    refuse_several(job)
    kind = kind_to_judge(job, kind)
    surfaces = surfaces or Surfaces(outline, job)
    heights = own_heights(job, outline, kind)
    verdict = judge_shots(job, surfaces, heights, rule, confidence, kind, built=kind == "floor")
    word, laser, said = _with_laser(job, kind, heights, verdict)
    warnings = [*said, *outside_warnings(job, outline, kind)]
    if rule.holds_shared and verdict.alone is None:
        warnings.append(words.SLOPE_NOT_HELD)
    before, changed = None, None
    compared = kind == "finished" and bool(job.shots(kinds=["floor"]))
    if compared:
        try:
            floor = own_heights(job, outline, "floor")
            told = judge_shots(job, surfaces, floor, rule, confidence, built=True)
            before = _before(_told(told, "floor", _worst(told, outline, job.units)))
            changed = change(job, surfaces)
        except CannotAnswer as error:
            warnings.append(words.not_compared(error))
    worst = _worst(verdict, outline, job.units, job)
    base = fields_of(_told(verdict, kind, worst, word, warnings))
    if not compared:
        return FloorProof(**base, laser=laser)
    return PourProof(**base, laser=laser, before=before, change=changed)


def proof_of_lines(
    lines: Sequence[LevelLine], rule: Rule, confidence: float, units: Units
) -> Proof:
    """Judge a table of lines; what is said is written in `units`."""
    verdict = rule.judge_lines(lines, confidence, units=units)
    worst = None
    if verdict.worst is not None:
        along = words.along_line(verdict.worst.x_mm, verdict.line or "", units)
        worst = _placed(verdict, verdict.worst, along)
    return _told(verdict, "lines", worst)


def strips(
    job: Job,
    outline: Outline,
    rule: Rule,
    kind: str,
    surfaces: Surfaces,
    most: int = MOST_STRIPS,
) -> tuple[Strip, ...]:
    """Strips of the judged surface that fail a straightedge rule, the worst first, few for all."""

    def surface() -> Field:
        return surfaces.fine(own_heights(job, outline, kind), built=kind == "floor")

    return tuple(
        Strip(
            gap_mm=one.gap_mm,
            limit_mm=one.limit_mm,
            x_mm=one.x_mm,
            y_mm=one.y_mm,
            supports=_supports(one),
        )
        for one in rule.failed_strips(surface, outline, most)
    )


def _with_laser(
    job: Job, kind: str, heights: Heights, verdict: Verdict
) -> tuple[Word, LaserShare | None, tuple[str, ...]]:
    """Carry the laser's own error into the worst gap: what it leaves open is too close to tell."""
    from scipy.special import ndtri

    from rig.study.laser_budget import gap_mm

    if verdict.alone is not None:
        return _said_of_shared(verdict)
    worst = verdict.worst
    if verdict.rule.holds_shared or worst is None:
        return verdict.word, None, verdict.warnings
    supports = (np.asarray(worst.support_x_mm), np.asarray(worst.support_y_mm))
    stderr = gap_mm(job, kind, heights, supports, (worst.x_mm, worst.y_mm))
    if stderr is None:
        return verdict.word, None, verdict.warnings
    by = float(ndtri(verdict.confidence)) * stderr
    room = worst.limit_mm - worst.gap_mm
    laser = LaserShare(gap_stderr_mm=stderr)
    if (verdict.word == "in" and room < by) or (verdict.word == "out" and -room < by):
        said = words.laser_leaves_open(2.0 * stderr, job.units)
        return "unsure", laser, (*verdict.warnings, said)
    return verdict.word, laser, verdict.warnings


def _said_of_shared(verdict: Verdict) -> tuple[Word, LaserShare, tuple[str, ...]]:
    """Say what the laser's own error does to a verdict that holds it already."""
    alone, numbers = verdict.alone, verdict.numbers
    assert alone is not None
    said = verdict.warnings
    if verdict.word != alone.word:
        with_it = None if numbers is None else numbers.fl_ci90
        said = (*said, words.laser_decides(with_it, alone.fl_ci90))
    share = LaserShare(
        verdict_alone=alone.word,
        ff_ci90_alone=_interval(alone.ff_ci90),
        fl_ci90_alone=_interval(alone.fl_ci90),
        worst_range_mm_alone=_interval(alone.worst_range_mm),
    )
    return verdict.word, share, said


def _told(
    verdict: Verdict,
    kind: str,
    worst: Worst | None,
    word: Word | None = None,
    warnings: Sequence[str] | None = None,
) -> Proof:
    """A verdict as it is told; `word` and `warnings` stand in the place of its own."""
    rule, numbers = verdict.rule, verdict.numbers
    return Proof(
        rule=rule.key,
        text=rule.text,
        source=rule.source,
        measure=rule.measure,
        verdict=word or verdict.word,
        chance=verdict.chance,
        confidence=verdict.confidence,
        worst=worst,
        share_in=verdict.share_in,
        ff=_finite(numbers.ff) if numbers else None,
        fl=_finite(numbers.fl) if numbers else None,
        ff_ci90=_interval(numbers.ff_ci90) if numbers else None,
        fl_ci90=_interval(numbers.fl_ci90) if numbers else None,
        lines=tuple(
            LineNumbers(
                line=line.name,
                q_mm=tuple(float(q) for q in line.q_mm),
                z_mm=tuple(float(z) for z in line.z_mm),
                ff=_finite(line.ff),
                fl=_finite(line.fl),
            )
            for line in (numbers.lines if numbers else ())
        ),
        next=tuple(Place(x_mm=x, y_mm=y) for x, y in verdict.next_shots),
        warnings=tuple(verdict.warnings if warnings is None else warnings),
        kind=kind,
    )


def _before(told: Proof) -> Before:
    return Before(
        verdict=told.verdict,
        chance=told.chance,
        worst=told.worst,
        share_in=told.share_in,
        ff=told.ff,
        fl=told.fl,
    )


def _worst(
    verdict: Verdict, outline: Outline, units: Units, job: Job | None = None
) -> Worst | None:
    """The worst of a verdict and where it is; of a job's, between which points too."""
    worst = verdict.worst
    if worst is None:
        return None
    place = where(outline, worst.x_mm, worst.y_mm, units)
    said = words.edge_at(place, verdict.rule.measure, worst.bearing_deg)
    near = near_points(job, worst.x_mm, worst.y_mm) if job is not None else ""
    return _placed(verdict, worst, join(", ", (part for part in (near, said) if part)))


def _placed(verdict: Verdict, worst: Placement, place: str) -> Worst:
    return Worst(
        gap_mm=worst.gap_mm,
        limit_mm=worst.limit_mm,
        x_mm=worst.x_mm,
        y_mm=worst.y_mm,
        bearing_deg=worst.bearing_deg,
        span_mm=worst.span_mm,
        supports=_supports(worst),
        range_mm=verdict.worst_range_mm or (),
        line=verdict.line,
        where=place,
    )


def _supports(worst: Placement) -> tuple[Place, ...]:
    ends = zip(worst.support_x_mm, worst.support_y_mm, strict=True)
    return tuple(Place(x_mm=x, y_mm=y) for x, y in ends)


def _finite(value: float) -> float | None:
    """A number that JSON can hold; a perfectly flat line has no F-number."""
    return float(value) if np.isfinite(value) else None


def _interval(ends: tuple[float, float] | None) -> Interval | None:
    return None if ends is None else (_finite(ends[0]), _finite(ends[1]))


def near_points(job: Job, x_mm: float, y_mm: float) -> str:
    """Name the grid points that a place lies between: `between C4 and C5`."""
    points = sorted(job.points(), key=lambda p: (p.x_mm - x_mm) ** 2 + (p.y_mm - y_mm) ** 2)
    if len(points) < 2:
        return ""
    first, second = points[:2]
    if np.hypot(first.x_mm - x_mm, first.y_mm - y_mm) < _AT_POINT_MM:
        return words.at_point(first.label)
    return words.between_points(first.label, second.label)


def change(job: Job, surfaces: Surfaces) -> Change:
    """What the pour changed: thickness at points shot before and after, and at the markers.

    Heights before and after are compared, so every set-up must be tied by a benchmark.
    """
    shots, setups = shots_of(job), job.setups()
    before = heights_of(shots, "floor", setups, surfaces.outline)
    after = heights_of(shots, "finished", setups, surfaces.outline)
    row = {label: n for n, label in enumerate(before.labels)}
    both = [(row[label], n) for n, label in enumerate(after.labels) if label in row]
    depth = np.array([after.z_mm[n] - before.z_mm[m] for m, n in both])
    placed = [marker for marker in job.markers() if marker.is_set]
    return Change(
        points=len(both),
        depth_mm=Depth(min=float(depth.min()), mean=float(depth.mean()), max=float(depth.max()))
        if both
        else None,
        markers=_markers(placed, after, surfaces) if placed else (),
    )


def _markers(markers: list[Marker], after: Heights, surfaces: Surfaces) -> tuple[MarkerOff, ...]:
    """Cured floor less marker top; beyond twice the doubt a marker was kicked, or it shrank."""
    x = np.array([m.x_mm for m in markers])
    y = np.array([m.y_mm for m in markers])
    z, sd = surfaces.of(after).predict(x, y, nugget=True)
    off = z + np.array([m.target_reading_mm for m in markers])
    common = float(np.median(off))
    return tuple(
        MarkerOff(
            label=m.label,
            off_mm=float(o),
            stderr_mm=float(s),
            kicked=bool(abs(o - common) > 2.0 * s + _KICKED_MM),
        )
        for m, o, s in zip(markers, off, sd, strict=True)
    )
