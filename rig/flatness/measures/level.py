"""How much one end of a floor stands over the other, along lines from wall to wall."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rig.errors import BadInput
from rig.flatness.field import Floats
from rig.flatness.level import Spans, spans_of
from rig.flatness.level_lines import LevelLine
from rig.flatness.model import Model, Shared, settling
from rig.flatness.rule import LengthRule
from rig.flatness.straightedge import Placement
from rig.flatness.verdict import JUDGE_SEED, LINE_DRAWS, Alone, Verdict, held
from rig.room import Outline
from rig.units import METRIC, Units
from rig.words import flatness as words
from rig.words import numeral, say


@dataclass(frozen=True, kw_only=True)
class Level(LengthRule):
    """One end of a floor may stand over the other by the limit of its length."""

    measure = "level"
    holds_shared = True

    def judge(
        self,
        outline: Outline,
        model: Model,
        confidence: float,
        shared: Shared | None = None,
        units: Units = METRIC,
    ) -> Verdict:
        """Compare the ends of lines from wall to wall; draws give the doubt."""
        spans = spans_of(outline)
        limits = self._limits(spans.length_mm)
        best, falls = spans.falls(model.mean), spans.falls(model.draws)
        worst = _worst(spans, best, limits)

        def share(falls: Floats) -> Floats:
            drawn: Floats = (np.abs(falls) / limits[:, None]).max(axis=0)
            return drawn

        drawn = share(falls)
        against, alone = held(drawn, worst, confidence, "shots"), None
        if shared is not None:
            alone = Alone(against.word, worst_range_mm=against.range_mm)
            columns = shared(spans.end_x_mm, spans.end_y_mm) - shared(
                spans.start_x_mm, spans.start_y_mm
            )
            errors = np.random.default_rng(JUDGE_SEED).standard_normal(
                (columns.shape[1], model.draws.draws)
            )
            drawn = share(falls - columns @ errors)
            against = held(drawn, worst, confidence, "shots")
        # More shots do not settle what the laser leaves open.
        shots_settle = against.word == "unsure" and (alone is None or alone.word == "unsure")
        return Verdict(
            rule=self,
            word=against.word,
            chance=against.chance,
            confidence=confidence,
            worst=worst,
            worst_range_mm=against.range_mm,
            share_in=float(np.mean(np.abs(best) <= limits)),
            next_shots=settling(model, outline, drawn) if shots_settle else (),
            warnings=against.why,
            alone=alone,
        )

    def judge_lines(
        self,
        lines: Sequence[LevelLine],
        confidence: float,
        area_m2: float | None = None,
        units: Units = METRIC,
    ) -> Verdict:
        """Compare the ends of each line of a table; how long is from reading to reading."""
        lines = [line for line in lines if len(line.z_mm) > 1]
        if not lines:
            raise BadInput(
                say("Every line has fewer than two readings; there are no two ends to compare.")
            )
        length = np.array([(len(line.z_mm) - 1) * line.step_mm for line in lines])
        limits = self._limits(length)
        rises = np.array([line.z_mm[-1] - line.z_mm[0] for line in lines])
        stderr = math.sqrt(2.0) * np.array([line.stderr_mm for line in lines])
        noise = np.random.default_rng(JUDGE_SEED).standard_normal((len(lines), LINE_DRAWS))
        drawn = (np.abs(rises[:, None] + stderr[:, None] * noise) / limits[:, None]).max(axis=0)
        n = int(np.argmax(np.abs(rises) / limits))
        long, lower = float(length[n]), 0.0 if rises[n] > 0 else float(length[n])
        worst = Placement(
            float(abs(rises[n])), float(limits[n]), lower, 0.0, 0.0, (0.0, long), (0.0, 0.0)
        )
        against = held(drawn, worst, confidence, "readings")
        return Verdict(
            rule=self,
            word=against.word,
            chance=against.chance,
            confidence=confidence,
            worst=worst,
            worst_range_mm=against.range_mm,
            share_in=float(np.mean(np.abs(rises) <= limits)),
            warnings=(words.LINES_ONLY, *against.why),
            line=lines[n].name,
        )

    def _limits(self, length_mm: Floats) -> Floats:
        found = [self.limit_mm(float(length)) for length in length_mm]
        if None in found:
            raise BadInput(
                say(
                    "Rule {key} has no limit for a floor {length} m long.",
                    key=self.key,
                    length=numeral(max(length_mm) / 1000, ".1f"),
                )
            )
        return np.array(found, dtype=float)


def _worst(spans: Spans, rises: Floats, limits: Floats) -> Placement:
    """The line that rises most for its limit, its place the lower end."""
    n = int(np.argmax(np.abs(rises) / limits))
    rise = float(rises[n])
    x, y = (spans.start_x_mm, spans.end_x_mm), (spans.start_y_mm, spans.end_y_mm)
    lower = 0 if rise > 0 else 1
    bearing = math.degrees(math.atan2(y[1][n] - y[0][n], x[1][n] - x[0][n])) % 180.0
    return Placement(
        abs(rise), float(limits[n]), float(x[lower][n]), float(y[lower][n]), bearing,
        (float(x[0][n]), float(x[1][n])), (float(y[0][n]), float(y[1][n])),
    )  # fmt: skip
