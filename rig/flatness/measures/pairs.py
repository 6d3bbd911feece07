"""Height differences of two points up to a length apart, along lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rig.errors import BadInput
from rig.flatness.field import Floats
from rig.flatness.measures.edges import EdgeRule
from rig.flatness.model import Model, Shared
from rig.flatness.rule import Edge
from rig.flatness.verdict import Verdict
from rig.language import say
from rig.room import Outline
from rig.units import METRIC, Units


@dataclass(frozen=True, kw_only=True)
class Pairs(EdgeRule):
    """No two points may differ in height by more than the limit of their distance."""

    measure = "pairs"
    rigid = False
    least_steps = 1

    @staticmethod
    def gaps(z_mm: Floats, steps: int) -> Floats:
        """Largest height difference of each reading to any within so many steps after it."""
        best = np.zeros(z_mm.shape)
        for d in range(1, min(steps, len(z_mm) - 1) + 1):
            m = len(z_mm) - d
            np.maximum(best[:m], np.abs(z_mm[d:] - z_mm[:m]), out=best[:m])
        return best

    @staticmethod
    def worst_of(z_mm: Floats, steps: int) -> tuple[float, int, int, int]:
        """Largest difference of one profile, and the readings that make it."""
        best = Pairs.gaps(z_mm, steps)
        a = int(np.argmax(best))
        apart = np.abs(z_mm[a + 1 : a + steps + 1] - z_mm[a])
        return float(best[a]), a, a, a + 1 + int(np.argmax(apart)) if len(apart) else a

    def judge(
        self,
        outline: Outline,
        model: Model,
        confidence: float,
        shared: Shared | None = None,
        units: Units = METRIC,
    ) -> Verdict:
        """Refuse: pairs are points that were measured, not any of a modelled surface."""
        raise BadInput(
            say(
                "Rule {key} compares pairs of points: it judges a table of lines (--lines), "
                "not a surface.",
                key=self.key,
            )
        )

    def unseen(
        self, edges: Sequence[Edge], least_mm: float, units: Units
    ) -> tuple[bool, tuple[str, ...]]:
        """Two points are seen at any spacing."""
        return False, ()
