"""F-numbers of flatness and levelness: of lines that were shot, or of lines over the surface."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Self

import numpy as np

from rig.flatness import f_numbers as fn
from rig.flatness.field import Field, Floats
from rig.flatness.level_lines import LevelLine
from rig.flatness.line_layout import lay_lines
from rig.flatness.model import Model, Shared
from rig.flatness.rule import Rule, Table
from rig.flatness.verdict import JUDGE_SEED, Alone, Verdict, guarded, word_for
from rig.room import Outline
from rig.units import METRIC, Units
from rig.words import flatness as words


@dataclass(frozen=True, kw_only=True)
class FNumberRule(Rule):
    """F-numbers that a section must reach, and the least that any line must."""

    measure = "f-numbers"
    keys = ("ff", "fl", "local_ff", "local_fl")
    holds_shared = True
    by_lines = True

    ff: float
    fl: float
    local_ff: float | None = None
    local_fl: float | None = None

    @classmethod
    def read(cls, table: Table, **texts: str) -> Self:
        """Make the rule of a table of numbers."""
        return cls(
            ff=table.needed("ff"),
            fl=table.needed("fl"),
            local_ff=table.number("local_ff"),
            local_fl=table.number("local_fl"),
            lengths_mm=(),
            limits_mm=(),
            **texts,
        )

    def judge(
        self,
        outline: Outline,
        model: Model,
        confidence: float,
        shared: Shared | None = None,
        units: Units = METRIC,
    ) -> Verdict:
        """Take the numbers along lines laid over the modelled surface; draws give the doubt."""
        step = fn.FOOT_STEP_MM
        runs = _runs_over(outline, step)
        lines = [LevelLine(name, run.heights(model.mean), step) for name, run in runs.items()]
        draws = [run.heights(model.draws) for run in runs.values()]
        numbers = _drawn(fn.f_numbers(lines), draws)
        # The best estimate is smoother than any floor that it may be, so its own numbers flatter.
        numbers = replace(
            numbers,
            lines=tuple(_over_draws(line, z) for line, z in zip(numbers.lines, draws, strict=True)),
            ff=_combined(numbers.ff_draws),
            fl=_combined(numbers.fl_draws),
        )
        alone = None
        if shared is not None:
            alone = self._alone(numbers, confidence)
            columns = [shared(run.x_mm, run.y_mm) for run in runs.values()]
            rng = np.random.default_rng(JUDGE_SEED)
            errors = rng.standard_normal((columns[0].shape[1], model.draws.draws))
            wrong = [on @ errors for on in columns]
            numbers = _drawn(numbers, [z - w for z, w in zip(draws, wrong, strict=True)])
        chance = self.chance(numbers)
        word = word_for(chance, confidence)
        warnings = [*fn.minimum_rules(lines, outline.area_m2, units=units), words.NO_LINES_SHOT]
        if 2.0 * model.spacing_mm > 2.0 * step * (1 + 1e-3):
            word, why = guarded(chance, confidence, 0.0, "shots", blind=True)
            warnings += [words.curvature_modelled(model.spacing_mm, step, units), *why]
            if alone is not None and alone.word == "in":
                alone = replace(alone, word="unsure")
        return Verdict(
            rule=self,
            word=word,
            chance=chance,
            confidence=confidence,
            numbers=numbers,
            warnings=tuple(warnings),
            alone=alone,
        )

    def judge_lines(
        self,
        lines: Sequence[LevelLine],
        confidence: float,
        area_m2: float | None = None,
        units: Units = METRIC,
    ) -> Verdict:
        """Take the numbers of lines as they were read."""
        numbers, alone = fn.f_numbers(lines), None
        if all(line.shared_mm is not None for line in lines):
            plain = fn.f_numbers([replace(line, shared_mm=None) for line in lines])
            alone = self._alone(plain, confidence)
        chance = self.chance(numbers)
        return Verdict(
            rule=self,
            word=word_for(chance, confidence),
            chance=chance,
            confidence=confidence,
            numbers=numbers,
            warnings=tuple(fn.minimum_rules(lines, area_m2, units=units)),
            alone=alone,
        )

    def chance(self, numbers: fn.FNumbers) -> float:
        """Probability that the section has the rule's numbers, and each line what it must."""
        good = (numbers.ff_draws >= self.ff) & (numbers.fl_draws >= self.fl)
        good &= numbers.least_ff_draws >= (self.local_ff or 0.0)
        good &= numbers.least_fl_draws >= (self.local_fl or 0.0)
        return float(np.mean(good))

    def _alone(self, numbers: fn.FNumbers, confidence: float) -> Alone:
        word = word_for(self.chance(numbers), confidence)
        return Alone(word, numbers.ff_ci90, numbers.fl_ci90)


@dataclass(frozen=True, eq=False)
class _Run:
    """Places of one line, (n,) each."""

    x_mm: Floats
    y_mm: Floats

    def heights(self, field: Field) -> Floats:
        return field.at(self.x_mm, self.y_mm)


def _runs_over(outline: Outline, step_mm: float) -> dict[str, _Run]:
    """Lines laid over a room, by name."""
    places: dict[str, list[tuple[float, float]]] = {}
    for point in lay_lines(outline, step_mm):
        places.setdefault(point.label.split("-")[0], []).append((point.x_mm, point.y_mm))
    return {name: _Run(*np.array(run).T) for name, run in places.items()}


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


def _interval(draws: Floats) -> tuple[float, float]:
    low, high = np.quantile(draws, [0.05, 0.95])
    return float(low), float(high)
