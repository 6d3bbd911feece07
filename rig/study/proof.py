"""From a job's shots to the proof of its flatness: which shots are judged, before and after."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from rig.errors import CannotAnswer
from rig.flatness import f_numbers as fn
from rig.flatness.field import Field, longest_line
from rig.flatness.level_lines import LevelLine
from rig.flatness.rules import Rule
from rig.flatness.scan import scan_model
from rig.flatness.straightedge import Placement
from rig.flatness.strips import failed_strips
from rig.flatness.verdict import (
    MOST_DRAWN_NODES,
    Alone,
    Model,
    Shared,
    Verdict,
    fine_field,
    fit_surface,
    judge,
    judge_lines,
    model_of,
)
from rig.room import Outline, where
from rig.study.lasers import shots_of
from rig.study.picture import none_inside, outside_warnings
from rig.surface.gaussian_process import GaussianProcess
from rig.survey.heights import Heights, heights_of
from rig.units import format_doubt

if TYPE_CHECKING:
    from rig.job.rows import Marker
    from rig.job.store import Job

SEED = 1155
# More shots than this are a scan: taken as they are, not smoothed.
MOST_SHOTS = 20_000
# Readings of a line stand this near to their equal spacing.
_OFF_LINE_MM = 60.0
_LINE_LABEL = re.compile(r"(F\d+)-(\d+)")


class Surfaces:
    """Surfaces fitted to shots over a room, each only once however often it is asked for.

    Known by the shots' numbers, so that other shots are never taken for them.
    """

    def __init__(self, outline: Outline) -> None:
        self.outline = outline
        self._fitted: dict[tuple[bytes, ...], GaussianProcess] = {}
        self._fine: dict[tuple[bytes, ...], Field] = {}

    def of(self, heights: Heights) -> GaussianProcess:
        """Model fitted to heights."""
        key = _key(heights)
        if key not in self._fitted:
            self._fitted[key] = fit_surface(
                heights.x_mm, heights.y_mm, heights.z_mm, heights.stderr_mm
            )
        return self._fitted[key]

    def fine(self, heights: Heights) -> Field:
        """Best estimate of that model, as finely as a floor is judged."""
        key = _key(heights)
        if key not in self._fine:
            self._fine[key] = fine_field(self.of(heights), self.outline)
        return self._fine[key]


def _key(heights: Heights) -> tuple[bytes, ...]:
    columns = (heights.x_mm, heights.y_mm, heights.z_mm, heights.stderr_mm)
    return tuple(column.tobytes() for column in columns)


def kind_to_judge(job: Job, kind: str | None) -> str:
    """Which shots are judged: those asked for, else the finished ones where there are any."""
    kinds = {shot.kind for shot in job.shots(kinds=["floor", "finished"])}
    if kind is None:
        kind = "finished" if "finished" in kinds else "floor"
    if kind not in kinds:
        hint = " --kind finished" if kind == "finished" else ""
        raise CannotAnswer(f"The job has no {kind} shots yet. Shoot them first: rig survey{hint}")
    return kind


def proof(
    job: Job,
    outline: Outline,
    rule: Rule,
    confidence: float,
    kind: str | None,
    surfaces: Surfaces | None = None,
) -> dict[str, Any]:
    """Judge a job's floor, as `rig flatness --json` prints it.

    Where both the floor and the finished surface were shot and the latter is judged, `before` has
    the floor's verdict and `change` what the pour did. `surfaces` keeps what is fitted, for who
    goes on with it.
    """
    kind = kind_to_judge(job, kind)
    surfaces = surfaces or Surfaces(outline)
    units = job.settings.units
    heights = own_heights(job, outline, kind)
    verdict, laser = _with_laser(
        job, kind, heights, _judge(job, outline, rule, confidence, heights, surfaces, kind)
    )
    result = verdict_result(verdict, outline, units) | {"kind": kind, "laser": laser}
    result["warnings"] += outside_warnings(job, outline, kind)
    if rule.measure in ("f-numbers", "level") and verdict.alone is None:
        result["warnings"].append(
            "The laser's own slope is not in these numbers, and a line that slopes makes a level "
            "floor look sloped: say where the laser stood (--laser X,Y)."
        )
    if kind == "finished" and job.shots(kinds=["floor"]):
        result["change"] = None
        try:
            before = _judge(
                job, outline, rule, confidence, own_heights(job, outline, "floor"), surfaces
            )
            told = verdict_result(before, outline, units)
            keys = ("verdict", "chance", "worst", "share_in", "ff", "fl")
            result["before"] = {key: told[key] for key in keys}
            result["change"] = change(job, surfaces)
        except CannotAnswer as error:
            result["warnings"].append(f"No comparison with the floor before the pour: {error}")
    return result


def _with_laser(
    job: Job, kind: str, heights: Heights, verdict: Verdict
) -> tuple[Verdict, dict[str, Any] | None]:
    """Carry the laser's own error into the worst gap: what it leaves open is too close to tell."""
    from scipy.special import ndtri

    from rig.study.laser_share import gap_mm

    if verdict.alone is not None:
        return _said_of_shared(verdict, verdict.alone)
    worst = verdict.worst
    if verdict.rule.measure != "straightedge" or worst is None or len(worst.support_x_mm) != 2:
        return verdict, None
    supports = (np.asarray(worst.support_x_mm), np.asarray(worst.support_y_mm))
    stderr = gap_mm(job, kind, heights, supports, (worst.x_mm, worst.y_mm))
    if stderr is None:
        return verdict, None
    by = float(ndtri(verdict.confidence)) * stderr
    written = job.settings.units, job.settings.denominator
    room = worst.limit_mm - worst.gap_mm
    if (verdict.word == "in" and room < by) or (verdict.word == "out" and -room < by):
        text = (
            f"The laser's own error may make {format_doubt(2.0 * stderr, *written)} of this gap, "
            "or hide as much, and more shots do not average it out: check the laser (rig check "
            "two-peg), or stand it elsewhere."
        )
        verdict = replace(verdict, word="unsure", warnings=(*verdict.warnings, text))
    return verdict, {"gap_stderr_mm": stderr}


def _said_of_shared(verdict: Verdict, alone: Alone) -> tuple[Verdict, dict[str, Any]]:
    """Say what the laser's own error does to a verdict that holds it already."""
    if verdict.word != alone.word:
        said = "The laser's own error decides here"
        if verdict.numbers is not None and alone.fl_ci90 is not None:
            low, high = verdict.numbers.fl_ci90
            said = (
                f"The laser's own error leaves FL between {low:.0f} and {high:.0f}; without it the "
                f"shots would say {alone.fl_ci90[0]:.0f} to {alone.fl_ci90[1]:.0f}"
            )
        text = (
            f"{said}. More shots do not average it out: check the line's slope (rig check cross)."
        )
        verdict = replace(verdict, warnings=(*verdict.warnings, text))
    told: dict[str, Any] = {"verdict_alone": alone.word}
    for name in ("ff_ci90", "fl_ci90", "worst_range_mm"):
        ends = getattr(alone, name)
        if ends is not None:
            told[f"{name}_alone"] = [finite(value) for value in ends]
    return verdict, told


def strips(
    job: Job, outline: Outline, rule: Rule, kind: str, surfaces: Surfaces, most: int = 40
) -> list[dict[str, Any]]:
    """Strips of the judged surface that fail a straightedge rule, the worst first, few for all."""
    if rule.measure != "straightedge":
        return []
    field = surfaces.fine(own_heights(job, outline, kind))
    return [
        {
            "gap_mm": one.gap_mm,
            "limit_mm": one.limit_mm,
            "x_mm": one.x_mm,
            "y_mm": one.y_mm,
            "supports": [
                {"x_mm": x, "y_mm": y}
                for x, y in zip(one.support_x_mm, one.support_y_mm, strict=True)
            ],
        }
        for one in failed_strips(field, outline, rule.edges(longest_line(outline)), most)
    ]


def own_heights(job: Job, outline: Outline, kind: str) -> Heights:
    """Heights of a kind in a room; one set-up alone needs no tie, for flatness has no datum."""
    shots = shots_of(job)
    mine = [shot for shot in shots if shot.kind == kind]
    if len({shot.setup for shot in mine}) == 1:
        return heights_of(mine, kind, outline=outline)
    return heights_of(shots, kind, job.setups(), outline)


def surface_model(
    outline: Outline,
    heights: Heights,
    most_drawn_nodes: int = MOST_DRAWN_NODES,
    surfaces: Surfaces | None = None,
) -> Model:
    """Model of the surface that shots show, or of a scan's points where they are many."""
    rng = np.random.default_rng(SEED)
    if len(heights.labels) > MOST_SHOTS:
        return scan_model(outline, heights.x_mm, heights.y_mm, heights.z_mm, rng)
    surfaces = surfaces or Surfaces(outline)
    noise = float(np.median(heights.stderr_mm))
    return model_of(
        surfaces.of(heights),
        outline,
        heights.x_mm,
        heights.y_mm,
        noise,
        rng,
        most_drawn_nodes=most_drawn_nodes,
        mean=surfaces.fine(heights),
    )


def _judge(
    job: Job,
    outline: Outline,
    rule: Rule,
    confidence: float,
    heights: Heights,
    surfaces: Surfaces,
    kind: str | None = None,
) -> Verdict:
    """Judge heights; with their kind, F-numbers and levelness hold the laser's own error."""
    from rig.study.laser_share import errors_over

    if len(heights.labels) == 0:
        raise CannotAnswer(none_inside(job, kind or "floor"))
    shared, units = None, job.settings.units
    if kind is not None and rule.measure in ("f-numbers", "level"):
        shared = errors_over(job, kind, heights)
    if rule.measure == "f-numbers":
        lines = shot_lines(heights, shared)
        if lines:
            return judge_lines(rule, lines, confidence, outline.area_m2, units)
    model = surface_model(outline, heights, surfaces=surfaces)
    return judge(rule, outline, model, confidence, shared, units)


def shot_lines(heights: Heights, shared: Shared | None = None) -> list[LevelLine]:
    """Lines of `rig grid --lines` that were shot without a gap, long enough for F-numbers."""
    found: dict[str, list[tuple[int, int]]] = {}
    for n, label in enumerate(heights.labels):
        parts = _LINE_LABEL.fullmatch(label)
        if parts:
            found.setdefault(parts[1], []).append((int(parts[2]), n))
    lines = []
    for name, members in found.items():
        numbers, rows = zip(*sorted(members), strict=True)
        if len(rows) < fn.LEAST_READINGS or numbers != tuple(range(1, len(rows) + 1)):
            continue
        index = list(rows)
        steps = np.hypot(np.diff(heights.x_mm[index]), np.diff(heights.y_mm[index]))
        step = float(np.median(steps))
        if np.all(np.abs(steps - step) < _OFF_LINE_MM):
            noise = float(np.median(heights.stderr_mm[index]))
            x, y = heights.x_mm[index], heights.y_mm[index]
            columns = None if shared is None else shared(x, y)
            lines.append(LevelLine(name, heights.z_mm[index], step, noise, columns))
    return lines


def verdict_result(verdict: Verdict, outline: Outline | None, units: str) -> dict[str, Any]:
    """A verdict in the words of `rig flatness --json`."""
    worst, numbers = verdict.worst, verdict.numbers
    told: dict[str, Any] = {
        "rule": verdict.rule.key,
        "text": verdict.rule.text,
        "source": verdict.rule.source,
        "measure": verdict.rule.measure,
        "verdict": verdict.word,
        "chance": verdict.chance,
        "confidence": verdict.confidence,
        "worst": None,
        "share_in": verdict.share_in,
        "ff": None,
        "fl": None,
        "ff_ci90": None,
        "fl_ci90": None,
        "lines": [],
        "next": [],
        "warnings": list(verdict.warnings),
    }
    if worst is not None:
        told["worst"] = {
            "gap_mm": worst.gap_mm,
            "limit_mm": worst.limit_mm,
            "x_mm": worst.x_mm,
            "y_mm": worst.y_mm,
            "bearing_deg": worst.bearing_deg,
            "span_mm": worst.span_mm,
            "supports": [
                {"x_mm": x, "y_mm": y}
                for x, y in zip(worst.support_x_mm, worst.support_y_mm, strict=True)
            ],
            "range_mm": list(verdict.worst_range_mm or ()),
            "line": verdict.line,
            "where": _where(worst, verdict.rule.measure, outline, units)
            if outline is not None
            else "",
        }
    if numbers is not None:
        told["ff"], told["fl"] = finite(numbers.ff), finite(numbers.fl)
        told["ff_ci90"] = [finite(value) for value in numbers.ff_ci90]
        told["fl_ci90"] = [finite(value) for value in numbers.fl_ci90]
        told["lines"] = [
            {
                "line": line.name,
                "q_mm": [float(q) for q in line.q_mm],
                "z_mm": [float(z) for z in line.z_mm],
                "ff": finite(line.ff),
                "fl": finite(line.fl),
            }
            for line in numbers.lines
        ]
    for x, y in verdict.next_shots:
        told["next"].append({"x_mm": x, "y_mm": y})
    return told


def finite(value: float) -> float | None:
    """A number that JSON can hold; a perfectly flat line has no F-number."""
    return float(value) if np.isfinite(value) else None


def _where(worst: Placement, measure: str, outline: Outline, units: str) -> str:
    """Where the gap or the lower end is, and which way the edge lies, so that one finds it."""
    what = "the line" if measure == "level" else "the edge"
    return f"{where(outline, worst.x_mm, worst.y_mm, units)}; {what} {_way(worst.bearing_deg)}"


def _way(bearing_deg: float) -> str:
    turned = round(bearing_deg / 5.0) * 5 % 180
    if turned == 0:
        return "along the first wall"
    if turned == 90:
        return "square to the first wall"
    side = turned if turned < 90 else 180 - turned
    hand = "left" if turned < 90 else "right"
    return f"turned {side}° to the {hand} of the first wall's direction"


def near_points(job: Job, x_mm: float, y_mm: float) -> str:
    """Name the grid points that a place lies between: `between C4 and C5`."""
    points = sorted(job.points(), key=lambda p: (p.x_mm - x_mm) ** 2 + (p.y_mm - y_mm) ** 2)
    if len(points) < 2:
        return ""
    first, second = points[:2]
    if np.hypot(first.x_mm - x_mm, first.y_mm - y_mm) < 100.0:
        return f"at {first.label}"
    return f"between {first.label} and {second.label}"


def change(job: Job, surfaces: Surfaces) -> dict[str, Any]:
    """What the pour changed: thickness at points shot before and after, and at the markers.

    Heights before and after are compared, so every set-up must be tied by a benchmark.
    """
    shots, setups = shots_of(job), job.setups()
    before = heights_of(shots, "floor", setups, surfaces.outline)
    after = heights_of(shots, "finished", setups, surfaces.outline)
    row = {label: n for n, label in enumerate(before.labels)}
    both = [(row[label], n) for n, label in enumerate(after.labels) if label in row]
    depth = np.array([after.z_mm[n] - before.z_mm[m] for m, n in both])
    told: dict[str, Any] = {
        "points": len(both),
        "depth_mm": {
            "min": float(depth.min()),
            "mean": float(depth.mean()),
            "max": float(depth.max()),
        }
        if len(both)
        else None,
        "markers": [],
    }
    placed = [marker for marker in job.markers() if marker.is_set]
    if placed:
        told["markers"] = _markers(placed, after, surfaces)
    return told


def _markers(markers: list[Marker], after: Heights, surfaces: Surfaces) -> list[dict[str, Any]]:
    """Cured floor less marker top; beyond twice the doubt a marker was kicked, or it shrank."""
    x = np.array([m.x_mm for m in markers])
    y = np.array([m.y_mm for m in markers])
    z, sd = surfaces.of(after).predict(x, y, nugget=True)
    off = z + np.array([m.target_reading_mm for m in markers])
    common = float(np.median(off))
    return [
        {
            "label": m.label,
            "off_mm": float(o),
            "stderr_mm": float(s),
            "kicked": bool(abs(o - common) > 2.0 * s + 1.0),
        }
        for m, o, s in zip(markers, off, sd, strict=True)
    ]
