"""Judges a floor against a rule under doubt: in, out, or too close to tell (after JCGM 106).

The doubt is that of the whole surface at once: joint draws of the floor are each held against
the rule everywhere, and the share of draws that conform is the probability of conformity.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from rig.errors import BadInput
from rig.flatness import f_numbers as fn
from rig.flatness.field import Field, Floats, field_of, longest_line, step_for
from rig.flatness.level import spans_of
from rig.flatness.level_lines import LevelLine
from rig.flatness.line_layout import lay_lines
from rig.flatness.rules import Edge, Rule
from rig.flatness.straightedge import Placement, gaps, share_within, shares, triple, worst_placement
from rig.room import Outline, contains, raster_of
from rig.surface.floor_model import floor_model
from rig.surface.gaussian_process import GaussianProcess
from rig.units import format_length, format_place

Word = Literal["in", "out", "unsure"]
# What k errors that all shots share do to heights over m places, (m, k) in mm at one standard
# uncertainty each.
Shared = Callable[[Floats, Floats], Floats]

DRAWS = 200
FINEST_MM = 50.8  # a rod's foot and a trowel's ridge; below it the shots say nothing
DRAW_STEP_MM = 101.6
MOST_NODES = 12_000
MOST_DRAWN_NODES = 1_600
DRAW_BEARINGS = 24
MEAN_BEARINGS = 120
# On a square grid of shots the 95th percentile of the distance to the nearest is 0.60 spacings.
_FAR_SHARE = 0.60
_SUGGESTED = 3


@dataclass(frozen=True, slots=True)
class Alone:
    """Word and 90 % intervals (of F-numbers or the worst), as if readings shared no error."""

    word: Word
    ff_ci90: tuple[float, float] | None = None
    fl_ci90: tuple[float, float] | None = None
    worst_range_mm: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False)
class Verdict:
    """What a floor is against a rule.

    Attributes
    ----------
    chance : float
        Probability that the floor conforms everywhere.
    worst : Placement or None
        Of the best estimate of the surface, a gap of 0 where there is none; None for F-numbers.
    worst_range_mm : (float, float) or None
        Central 90 % of the largest gap (scaled to the limit of `worst`) over the draws.
    share_in : float or None
        Share of all placements within the limit, on the best estimate.
    numbers : FNumbers or None
    next_shots : tuple of (x_mm, y_mm)
        Places whose shots would most settle the verdict, where it is unsure.
    line : str or None
        The line that `worst` lies on, for a table of lines.
    alone : Alone or None
        Of F-numbers and levelness, what it would be without errors that all readings share; None
        without such.
    """

    rule: Rule
    word: Word
    chance: float
    confidence: float
    worst: Placement | None
    worst_range_mm: tuple[float, float] | None
    share_in: float | None
    numbers: fn.FNumbers | None
    next_shots: tuple[tuple[float, float], ...]
    warnings: tuple[str, ...]
    line: str | None = None
    alone: Alone | None = None


@dataclass(frozen=True, eq=False)
class Model:
    """A surface to be judged: its best estimate, joint draws of it, and how dense the shots are.

    Attributes
    ----------
    mean : Field
        Fine.
    draws : Field
        (rows, columns, draws), roughness included; may be coarser.
    coarse : Field
        The best estimate on the nodes of `draws`.
    spacing_mm : float
        Between shots, where they are wide apart.
    shot_noise_mm : float
        What one more shot would be wrong by, roughness included.
    """

    mean: Field
    draws: Field
    coarse: Field
    spacing_mm: float
    shot_noise_mm: float


def word_for(chance: float, confidence: float) -> Word:
    """In, out or unsure, for a probability of conformity.

    Acceptance and rejection each with a guard band: in from the confidence up, out from 1 less
    the confidence down (JCGM 106:2012, 8.3, with the probability in place of the band's width).
    """
    if chance >= confidence:
        return "in"
    return "out" if chance <= 1.0 - confidence + 1e-12 else "unsure"


def guarded(
    chance: float, confidence: float, worst_share: float, of: str, blind: bool = False
) -> tuple[Word, list[str]]:
    """Word for a probability, held back where the best estimate or the spacing speaks against it.

    A maximum over draws lies above that of the best estimate, for each draw adds its own ups and
    downs: nothing is called out that at its best estimate is in. Nor is it called in by what
    stands too wide apart to see.

    Parameters
    ----------
    chance, confidence : float
    worst_share : float
        Of the limit, what the worst of the best estimate takes up.
    of : {'shots', 'readings'}
        What the doubt is of.
    blind : bool
        Whether they stand too wide apart for the rule.

    Returns
    -------
    word : Word
    why : list of str
        What made it unsure, if not the probability.
    """
    word = word_for(chance, confidence)
    if word == "in" and blind:
        return "unsure", [
            f"It is too close to tell only because the {of} stand too wide apart: what they show "
            "keeps the rule, and closer ones would settle it."
        ]
    if word == "out" and worst_share <= 1.0:
        return "unsure", [DISAGREE[of]]
    return word, []


DISAGREE = {
    "shots": (
        "It is too close to tell because the best estimate of the floor keeps the rule, and the "
        "doubt of the shots alone would break it somewhere: more shots, closer together, settle "
        "it."
    ),
    "readings": (
        "It is too close to tell because the readings as they stand keep the rule, and only what "
        "their last digit leaves open would break it. They are taken to be as fine as they are "
        "written: write them as they were read, zeros at the end too."
    ),
}


def fit_surface(x_mm: Floats, y_mm: Floats, z_mm: Floats, stderr_mm: Floats) -> GaussianProcess:
    """Fit shots with the one model that the tool uses for floors."""
    return floor_model().fit(x_mm, y_mm, z_mm, stderr_mm)


def fine_field(surface: GaussianProcess, outline: Outline) -> Field:
    """Best estimate of a fitted surface, as finely as it is judged."""
    step = step_for(outline, FINEST_MM, MOST_NODES)
    return field_of(outline, step, lambda x, y: surface.predict(x, y)[0])


def model_of(
    surface: GaussianProcess,
    outline: Outline,
    x_mm: Floats,
    y_mm: Floats,
    stderr_mm: float,
    rng: np.random.Generator,
    draws: int = DRAWS,
    most_drawn_nodes: int = MOST_DRAWN_NODES,
    mean: Field | None = None,
) -> Model:
    """Best estimate and joint draws of a fitted surface over a room.

    Roughness (the nugget) is drawn anew at each node: nodes stand for spots of the floor. `mean` is
    what `fine_field` found of the surface before.
    """
    if mean is None:
        mean = fine_field(surface, outline)
    drawn_step = step_for(outline, DRAW_STEP_MM, most_drawn_nodes)
    drawn = field_of(
        outline, drawn_step, lambda x, y: np.ascontiguousarray(surface.sample(x, y, draws, rng).T)
    )
    coarse = field_of(outline, drawn_step, lambda x, y: surface.predict(x, y)[0])
    noise = math.hypot(stderr_mm, math.sqrt(surface.nugget_mm2))
    return Model(mean, drawn, coarse, spacing_of(outline, x_mm, y_mm), noise)


def spacing_of(outline: Outline, x_mm: Floats, y_mm: Floats) -> float:
    """How far apart the shots stand where they are wide apart.

    The spacing of the square grid that leaves the floor as far from its nearest shot: a cluster
    in one corner does not make the rest known.
    """
    from scipy.spatial import cKDTree

    cells = raster_of(outline, 2_000)
    away = cKDTree(np.column_stack([x_mm, y_mm])).query(np.column_stack([cells.x_mm, cells.y_mm]))
    return float(np.quantile(away[0], 0.95)) / _FAR_SHARE


def judge(
    rule: Rule,
    outline: Outline,
    model: Model,
    confidence: float,
    shared: Shared | None = None,
    units: str = "mm",
) -> Verdict:
    """Judge a modelled floor against any rule.

    `shared` tells what errors that all shots share do to the heights, for F-numbers and levelness.
    Warnings are written in `units`.
    """
    if rule.measure == "f-numbers":
        return _judge_f_numbers(rule, outline, model, confidence, shared, units)
    if rule.measure == "level":
        return _judge_level(rule, outline, model, confidence, shared)
    if rule.measure == "pairs":
        raise BadInput(
            f"Rule {rule.key} compares pairs of points: it judges a table of lines (--lines), "
            "not a surface."
        )
    longest = longest_line(outline)
    edges = rule.edges(longest)
    drawn = shares(model.draws, outline, edges, DRAW_BEARINGS, longest)
    worst = worst_placement(model.mean, outline, edges, MEAN_BEARINGS, longest)
    if worst is None:
        somewhere = outline.polygon.representative_point()
        worst = _no_gap(edges[-1], somewhere.x, somewhere.y)
    # What the draws' wider lattice does not see of the best estimate is given back to them.
    seen = float(shares(model.coarse, outline, edges, DRAW_BEARINGS, longest)[0])
    drawn += max(worst.share - seen, 0.0)
    chance = float(np.mean(drawn <= 1.0))
    share_in = share_within(model.mean, outline, edges, DRAW_BEARINGS, longest)
    warnings = _cut_warnings(edges, longest, units)
    blind, said = _blind(rule, edges, 2.0 * model.spacing_mm, units)
    warnings += said
    word, why = guarded(chance, confidence, worst.share, "shots", blind)
    warnings += why
    low, high = np.quantile(drawn, [0.05, 0.95]) * worst.limit_mm
    suggested: tuple[tuple[float, float], ...] = ()
    if word == "unsure" and not blind:
        suggested = _settling(model, outline, drawn)
    return Verdict(
        rule, word, chance, confidence, worst, (float(low), float(high)), share_in, None,
        suggested, tuple(warnings),
    )  # fmt: skip


def judge_lines(
    rule: Rule,
    lines: Sequence[LevelLine],
    confidence: float,
    area_m2: float | None = None,
    units: str = "mm",
) -> Verdict:
    """Judge a table of lines against any rule; what lies beside the lines is not judged.

    Warnings are written in `units`.
    """
    warnings: list[str] = []
    numbers = None
    if rule.measure == "f-numbers":
        numbers = fn.f_numbers(lines)
        warnings = fn.minimum_rules(lines, area_m2, units=units)
        chance = _f_chance(rule, numbers)
        word = word_for(chance, confidence)
        alone = None
        if all(line.shared_mm is not None for line in lines):
            plain = fn.f_numbers([replace(line, shared_mm=None) for line in lines])
            alone_word = word_for(_f_chance(rule, plain), confidence)
            alone = Alone(alone_word, plain.ff_ci90, plain.fl_ci90)
        return Verdict(
            rule, word, chance, confidence, None, None, None, numbers, (), tuple(warnings),
            alone=alone,
        )  # fmt: skip
    if rule.measure == "level":
        return _judge_level_lines(rule, lines, confidence)
    step = lines[0].step_mm
    longest = max((len(line.z_mm) - 1) * step for line in lines)
    if longest < 2 * step:
        raise BadInput("Every line has fewer than three readings; there is nothing to lay on.")
    edges = rule.edges(longest)
    measure = _pair_gaps if rule.measure == "pairs" else gaps
    warnings += _cut_warnings(edges, longest, units)
    if rule.measure == "straightedge":
        blind, said = _blind(rule, edges, 2.0 * step, units)
    else:
        blind, said = False, []
    warnings += said
    usable = [(edge, min(int(edge.length_mm / step + 1e-6), 100_000)) for edge in edges]
    least = 1 if rule.measure == "pairs" else 2
    usable = [(edge, steps) for edge, steps in usable if steps >= least]
    if not usable:
        raise BadInput(
            f"Readings every {_span(step, units)} are too far apart for rule {rule.key}; its edges "
            f"are at most {_span(edges[-1].length_mm, units)} long."
        )
    if rule.between == "line":
        usable = list({steps: (edge, steps) for edge, steps in reversed(usable)}.values())
    rng = np.random.default_rng(JUDGE_SEED)
    drawn = np.zeros(DRAWS)
    worst: Placement | None = None
    worst_line = None
    good = places = 0
    for line in lines:
        noisy = line.z_mm[:, None] + line.stderr_mm * rng.standard_normal((len(line.z_mm), DRAWS))
        for edge, steps in usable:
            np.maximum(drawn, measure(noisy, steps).max(axis=0) / edge.limit_mm, out=drawn)
            placement = _on_line(line, edge, steps, rule)
            if placement and (worst is None or placement.share > worst.share):
                worst, worst_line = placement, line.name
            reach = min(steps, len(line.z_mm) - 1)
            for start in range(len(line.z_mm) - reach):
                part = line.z_mm[start : start + reach + 1]
                places += 1
                good += bool(measure(part, reach).max() <= edge.limit_mm)
    chance = float(np.mean(drawn <= 1.0))
    warnings.append("Judged on the lines only: what lies beside them is not known.")
    if worst is None:
        worst, worst_line = _no_gap(usable[-1][0], 0.0, 0.0), lines[0].name
    word, why = guarded(chance, confidence, worst.share, "readings", blind)
    warnings += why
    low, high = np.quantile(drawn, [0.05, 0.95]) * worst.limit_mm
    return Verdict(
        rule, word, chance, confidence, worst, (float(low), float(high)), good / places, None,
        (), tuple(warnings), worst_line,
    )  # fmt: skip


JUDGE_SEED = 18202


def _judge_level(
    rule: Rule, outline: Outline, model: Model, confidence: float, shared: Shared | None
) -> Verdict:
    """One end over the other along lines from wall to wall; draws give the doubt."""
    spans = spans_of(outline)
    limits = _limits(rule, spans.length_mm)
    best = spans.falls(model.mean)
    n = int(np.argmax(np.abs(best) / limits))
    rise = float(best[n])
    x, y = (spans.start_x_mm, spans.end_x_mm), (spans.start_y_mm, spans.end_y_mm)
    lower = 0 if rise > 0 else 1
    bearing = math.degrees(math.atan2(y[1][n] - y[0][n], x[1][n] - x[0][n])) % 180.0
    worst = Placement(
        abs(rise), float(limits[n]), float(x[lower][n]), float(y[lower][n]), bearing,
        (float(x[0][n]), float(x[1][n])), (float(y[0][n]), float(y[1][n])),
    )  # fmt: skip
    falls = spans.falls(model.draws)

    def told(falls: Floats) -> tuple[Floats, float, Word, list[str], tuple[float, float]]:
        drawn: Floats = (np.abs(falls) / limits[:, None]).max(axis=0)
        chance = float(np.mean(drawn <= 1.0))
        word, why = guarded(chance, confidence, worst.share, "shots")
        low, high = np.quantile(drawn, [0.05, 0.95]) * worst.limit_mm
        return drawn, chance, word, why, (float(low), float(high))

    drawn, chance, word, why, spread = told(falls)
    alone = None
    if shared is not None:
        alone = Alone(word, worst_range_mm=spread)
        columns = shared(x[1], y[1]) - shared(x[0], y[0])
        errors = np.random.default_rng(JUDGE_SEED).standard_normal(
            (columns.shape[1], model.draws.draws)
        )
        drawn, chance, word, why, spread = told(falls - columns @ errors)
    # More shots do not settle what the laser leaves open.
    shots_settle = word == "unsure" and (alone is None or alone.word == "unsure")
    suggested = _settling(model, outline, drawn) if shots_settle else ()
    share_in = float(np.mean(np.abs(best) <= limits))
    return Verdict(
        rule, word, chance, confidence, worst, spread, share_in, None, suggested, tuple(why),
        alone=alone,
    )  # fmt: skip


def _judge_level_lines(rule: Rule, lines: Sequence[LevelLine], confidence: float) -> Verdict:
    """One end over the other of each line of a table; how long is from reading to reading."""
    lines = [line for line in lines if len(line.z_mm) > 1]
    if not lines:
        raise BadInput("Every line has fewer than two readings; there are no two ends to compare.")
    length = np.array([(len(line.z_mm) - 1) * line.step_mm for line in lines])
    limits = _limits(rule, length)
    rises = np.array([line.z_mm[-1] - line.z_mm[0] for line in lines])
    stderr = math.sqrt(2.0) * np.array([line.stderr_mm for line in lines])
    noise = np.random.default_rng(JUDGE_SEED).standard_normal((len(lines), DRAWS))
    drawn = (np.abs(rises[:, None] + stderr[:, None] * noise) / limits[:, None]).max(axis=0)
    n = int(np.argmax(np.abs(rises) / limits))
    lower = 0.0 if rises[n] > 0 else float(length[n])
    worst = Placement(
        float(abs(rises[n])), float(limits[n]), lower, 0.0, 0.0, (0.0, float(length[n])), (0.0, 0.0)
    )
    chance = float(np.mean(drawn <= 1.0))
    low, high = np.quantile(drawn, [0.05, 0.95]) * worst.limit_mm
    word, why = guarded(chance, confidence, worst.share, "readings")
    return Verdict(
        rule, word, chance, confidence, worst, (float(low), float(high)),
        float(np.mean(np.abs(rises) <= limits)), None, (),
        ("Judged on the lines only: what lies beside them is not known.", *why), lines[n].name,
    )  # fmt: skip


def _limits(rule: Rule, length_mm: Floats) -> Floats:
    found = [rule.limit_mm(float(length)) for length in length_mm]
    if None in found:
        raise BadInput(
            f"Rule {rule.key} has no limit for a floor {max(length_mm) / 1000:.1f} m long."
        )
    return np.array(found, dtype=float)


def _no_gap(edge: Edge, x_mm: float, y_mm: float) -> Placement:
    """Stand for the worst of placements that all leave no gap."""
    return Placement(0.0, edge.limit_mm, x_mm, y_mm, 0.0, (x_mm, x_mm), (y_mm, y_mm))


def _pair_gaps(z_mm: Floats, steps: int) -> Floats:
    """Largest height difference of each reading to any within so many steps after it."""
    best = np.zeros(z_mm.shape)
    for d in range(1, min(steps, len(z_mm) - 1) + 1):
        m = len(z_mm) - d
        np.maximum(best[:m], np.abs(z_mm[d:] - z_mm[:m]), out=best[:m])
    return best


def _on_line(line: LevelLine, edge: Edge, steps: int, rule: Rule) -> Placement | None:
    if rule.measure == "pairs":
        best = _pair_gaps(line.z_mm, steps)
        a = int(np.argmax(best))
        apart = np.abs(line.z_mm[a + 1 : a + steps + 1] - line.z_mm[a])
        gap, c, b = float(best[a]), a, a + 1 + int(np.argmax(apart)) if len(apart) else a
    else:
        gap, a, c, b = triple(line.z_mm, steps)
    if not gap > 0.0:
        return None
    ends = (a * line.step_mm, b * line.step_mm)
    return Placement(gap, edge.limit_mm, c * line.step_mm, 0.0, 0.0, ends, (0.0, 0.0))


def _span(mm: float, units: str) -> str:
    """Write how long an edge is, or how far readings stand apart."""
    return format_length(mm, units, step_mm=1.0) if units == "mm" else format_place(mm, units)


def _cut_warnings(edges: Sequence[Edge], longest_mm: float, units: str) -> list[str]:
    cut = [e for e in edges if e.whole and e.length_mm > longest_mm * (1 + 1e-9)]
    return [
        f"An edge of {_span(e.length_mm, units)} does not fit here: the longest that does, "
        f"{_span(longest_mm, units)}, is used, and wall to wall where even that does not fit."
        for e in cut
    ]


def _blind(
    rule: Rule, edges: Sequence[Edge], least_mm: float, units: str
) -> tuple[bool, list[str]]:
    """Whether shots are too wide apart to pass the rule's edges, and the warning that says so.

    Where the limit grows with the span every span is an edge; then those from two spacings up
    are judged, and only a rule without any is blind.
    """
    short = [e for e in edges if e.length_mm < least_mm * (1 - 1e-3)]
    if not short:
        return False, []
    if rule.between == "line" and len(short) < len(edges):
        return False, [
            f"Spans under {_span(least_mm, units)} are shorter than two spacings of the readings: "
            "nothing is proved about waves that short."
        ]
    names = " and ".join(_span(e.length_mm, units) for e in short[-2:])
    return True, [
        f"An edge of {names} is shorter than two spacings of the readings "
        f"({_span(least_mm, units)}): it cannot be judged in from them. Take readings no more than "
        f"{_span(short[0].length_mm / 2.0, units)} apart, or lay that edge by hand."
    ]


def _settling(model: Model, outline: Outline, drawn: Floats) -> tuple[tuple[float, float], ...]:
    """Places where a shot would explain most of what the draws' worst shares differ by."""
    field = model.draws
    rows, columns = field.z_mm.shape[:2]
    x = field.x0_mm + field.step_mm * np.tile(np.arange(columns), rows)
    y = field.y0_mm + field.step_mm * np.repeat(np.arange(rows), columns)
    on_floor = contains(outline, x, y)
    z = field.z_mm.reshape(rows * columns, -1)[on_floor]
    x, y = x[on_floor], y[on_floor]
    z = z - z.mean(axis=1, keepdims=True)
    left = drawn - drawn.mean()
    found: list[tuple[float, float]] = []
    for _ in range(_SUGGESTED):
        with_it = z @ left / len(left)
        own = np.mean(z**2, axis=1) + model.shot_noise_mm**2
        gain = np.where(own > 0, with_it**2 / np.maximum(own, 1e-12), 0.0)
        best = int(np.argmax(gain))
        if gain[best] <= 4.0 * float(np.mean(left**2)) / len(left):
            break  # no more than chance would give
        found.append((float(x[best]), float(y[best])))
        seen = z[best]
        left = left - seen * (with_it[best] / own[best])
        z = z - np.outer(z @ seen / len(seen) / own[best], seen)
    return tuple(found)


def _judge_f_numbers(
    rule: Rule,
    outline: Outline,
    model: Model,
    confidence: float,
    shared: Shared | None,
    units: str,
) -> Verdict:
    """F-numbers along lines laid over the modelled surface; draws give the doubt."""
    step = fn.FOOT_STEP_MM
    points = lay_lines(outline, step)
    names = list(dict.fromkeys(point.label.split("-")[0] for point in points))
    found = [
        np.array([(p.x_mm, p.y_mm) for p in points if p.label.split("-")[0] == name])
        for name in names
    ]

    def read(field: Field) -> list[Floats]:
        return [field.at(run[:, 0], run[:, 1]) for run in found]

    means = read(model.mean)
    numbers = fn.f_numbers([LevelLine(name, z, step) for name, z in zip(names, means, strict=True)])
    draws = read(model.draws)
    numbers = _drawn(numbers, draws)
    # The best estimate is smoother than any floor that it may be, so its own numbers flatter.
    numbers = replace(
        numbers,
        lines=tuple(_over_draws(line, z) for line, z in zip(numbers.lines, draws, strict=True)),
        ff=_combined(numbers.ff_draws),
        fl=_combined(numbers.fl_draws),
    )
    alone = None
    if shared is not None:
        word = word_for(_f_chance(rule, numbers), confidence)
        alone = Alone(word, numbers.ff_ci90, numbers.fl_ci90)
        columns = [shared(run[:, 0], run[:, 1]) for run in found]
        rng = np.random.default_rng(JUDGE_SEED)
        errors = rng.standard_normal((columns[0].shape[1], model.draws.draws))
        wrong = [on @ errors for on in columns]
        numbers = _drawn(numbers, [z - w for z, w in zip(draws, wrong, strict=True)])
    chance = _f_chance(rule, numbers)
    word = word_for(chance, confidence)
    warnings = fn.minimum_rules(
        [LevelLine(name, z, step) for name, z in zip(names, means, strict=True)],
        outline.area_m2,
        units=units,
    )
    warnings.append(
        "No lines were shot: FF and FL, of each line and of the whole, are what lines over the "
        "floor would come to, roughness and doubt in them (all draws combined)."
    )
    if 2.0 * model.spacing_mm > 2.0 * step * (1 + 1e-3):
        warnings.append(
            f"The shots stand some {_span(model.spacing_mm, units)} apart: curvature over "
            f"{_span(step, units)} is the model's, not measured. Shoot lines for F-numbers: rig "
            "grid --lines."
        )
        word, why = guarded(chance, confidence, 0.0, "shots", blind=True)
        warnings += why
        if alone is not None and alone.word == "in":
            alone = replace(alone, word="unsure")
    return Verdict(
        rule, word, chance, confidence, None, None, None, numbers, (), tuple(warnings), alone=alone
    )


def _over_draws(line: fn.FLine, z_mm: Floats) -> fn.FLine:
    """A line with its numbers combined over draws of its heights, (n, draws)."""
    ff, fl = np.array([_line_f(h) for h in z_mm.T]).T
    return replace(line, ff=_combined(ff), fl=_combined(fl))


def _combined(numbers: Floats) -> float:
    """Combine the numbers of draws as those of lines are, so that lines and whole agree."""
    with np.errstate(divide="ignore"):  # a floor without any curvature has no end of FF
        return float(np.mean(np.square(1.0 / numbers)) ** -0.5)


def _line_f(heights_mm: Floats) -> tuple[float, float]:
    """FF and FL of one line."""
    q, z = np.diff(heights_mm, 2), heights_mm[fn.SPAN_STEPS :] - heights_mm[: -fn.SPAN_STEPS]
    return fn.f_number(q, fn.FF_FOOT_MM), fn.f_number(z, fn.FL_MM)


def _drawn(numbers: fn.FNumbers, draws: list[Floats]) -> fn.FNumbers:
    """Put draws of a surface along the lines, each (n, draws), in the place of an interval."""
    each = [_plain_f([z[:, k] for z in draws]) for k in range(draws[0].shape[1])]
    ff, fl, least_ff, least_fl = np.array(each).T
    return replace(
        numbers,
        ff_draws=ff,
        fl_draws=fl,
        least_ff_draws=least_ff,
        least_fl_draws=least_fl,
        ff_ci90=_interval(ff),
        fl_ci90=_interval(fl),
    )


def _plain_f(heights: list[Floats]) -> tuple[float, float, float, float]:
    """FF and FL of the section, and the least of any line."""
    ff, fl = np.array([_line_f(h) for h in heights]).T
    n_q = np.array([len(h) - 2 for h in heights])
    n_z = np.array([len(h) - fn.SPAN_STEPS for h in heights])
    return (
        math.sqrt(n_q.sum() / np.sum(n_q / np.square(ff))),
        math.sqrt(n_z.sum() / np.sum(n_z / np.square(fl))),
        float(ff.min()),
        float(fl.min()),
    )


def _f_chance(rule: Rule, numbers: fn.FNumbers) -> float:
    """Probability that the section has the rule's numbers, and each line what it must."""
    good = (numbers.ff_draws >= (rule.ff or 0.0)) & (numbers.fl_draws >= (rule.fl or 0.0))
    good &= numbers.least_ff_draws >= (rule.local_ff or 0.0)
    good &= numbers.least_fl_draws >= (rule.local_fl or 0.0)
    return float(np.mean(good))


def _interval(draws: Floats) -> tuple[float, float]:
    low, high = np.quantile(draws, [0.05, 0.95])
    return float(low), float(high)
