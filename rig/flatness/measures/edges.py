"""Rules of edges: what lies between two supports, or two points, up to a length apart."""

from __future__ import annotations

import math
from abc import abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from rig.errors import BadInput
from rig.flatness.field import Floats
from rig.flatness.level_lines import LevelLine
from rig.flatness.rule import Edge, LengthRule
from rig.flatness.straightedge import Placement
from rig.flatness.verdict import JUDGE_SEED, LINE_DRAWS, Verdict, held
from rig.units import METRIC, Units
from rig.words import flatness as words
from rig.words import say

_SPAN_STEP_MM = 5.0  # how finely a limit that grows with the span is cut into edges
_MOST_STEPS = 100_000

_Steps = tuple[Edge, int]


@dataclass(frozen=True, kw_only=True)
class EdgeRule(LengthRule):
    """A rule that is held by edges.

    Attributes
    ----------
    rigid : bool
        Whether an edge of a length is a thing, all of which must lie on the floor.
    least_steps : int
        Fewest steps of a line that an edge of it has.
    """

    rigid: ClassVar[bool]
    least_steps: ClassVar[int]

    @staticmethod
    @abstractmethod
    def gaps(z_mm: Floats, steps: int) -> Floats:
        """What each edge finds that begins at a reading; (n, ...) as the profiles are."""

    @staticmethod
    @abstractmethod
    def worst_of(z_mm: Floats, steps: int) -> tuple[float, int, int, int]:
        """Worst of one profile, (n,): how much, and the readings of its ends and its place."""

    @abstractmethod
    def unseen(
        self, edges: Sequence[Edge], least_mm: float, units: Units
    ) -> tuple[bool, tuple[str, ...]]:
        """Whether readings are too wide apart to pass any edge under a length, and what to say."""

    def edges(self, longest_mm: float) -> list[Edge]:
        """Straightedges that together hold the rule in a room, shortest first.

        Parameters
        ----------
        longest_mm : float
            The longest straight line in the room. A limit that grows with the span becomes one
            edge for each of its values; a fixed edge stays as long as the rule says.
        """
        if self.between == "next":
            return [
                Edge(length, limit, self.rigid)
                for length, limit in zip(self.lengths_mm, self.limits_mm, strict=True)
            ]
        found: list[Edge] = []
        count = max(1, math.ceil(longest_mm / _SPAN_STEP_MM))
        for n in range(1, count + 1):
            span = min(n * _SPAN_STEP_MM, longest_mm)
            limit = self.limit_mm(span)
            assert limit is not None
            if found and found[-1].limit_mm == limit:
                found.pop()
            found.append(Edge(span, limit, False))
        return found

    def judge_lines(
        self,
        lines: Sequence[LevelLine],
        confidence: float,
        area_m2: float | None = None,
        units: Units = METRIC,
    ) -> Verdict:
        """Lay every edge along every line, as read and with what the readings leave open."""
        step = lines[0].step_mm
        longest = max((len(line.z_mm) - 1) * step for line in lines)
        if longest < 2 * step:
            raise BadInput(
                say("Every line has fewer than three readings; there is nothing to lay on.")
            )
        edges = self.edges(longest)
        blind, said = self.unseen(edges, 2.0 * step, units)
        usable = self._usable(edges, step, units)
        worst, name = self._worst(lines, usable)
        against = held(self._drawn(lines, usable), worst, confidence, "readings", blind)
        return Verdict(
            rule=self,
            word=against.word,
            chance=against.chance,
            confidence=confidence,
            worst=worst,
            worst_range_mm=against.range_mm,
            share_in=self._share_in(lines, usable),
            warnings=(*cut_edges(edges, longest, units), *said, words.LINES_ONLY, *against.why),
            line=name,
        )

    def _usable(self, edges: Sequence[Edge], step_mm: float, units: Units) -> list[_Steps]:
        """Edges that span enough steps of a line, with how many."""
        every = [(edge, min(int(edge.length_mm / step_mm + 1e-6), _MOST_STEPS)) for edge in edges]
        usable = [(edge, steps) for edge, steps in every if steps >= self.least_steps]
        if not usable:
            raise BadInput(
                say(
                    "Readings every {step} are too far apart for rule {key}; its edges are at "
                    "most {length} long.",
                    step=units.span(step_mm),
                    key=self.key,
                    length=units.span(edges[-1].length_mm),
                )
            )
        if self.between == "line":
            usable = list({steps: (edge, steps) for edge, steps in reversed(usable)}.values())
        return usable

    def _drawn(self, lines: Sequence[LevelLine], usable: Sequence[_Steps]) -> Floats:
        """Worst share of the limit over draws of what the readings leave open, (draws,)."""
        rng = np.random.default_rng(JUDGE_SEED)
        drawn = np.zeros(LINE_DRAWS)
        for line in lines:
            noise = rng.standard_normal((len(line.z_mm), LINE_DRAWS))
            noisy = line.z_mm[:, None] + line.stderr_mm * noise
            for edge, steps in usable:
                worst = self.gaps(noisy, steps).max(axis=0) / edge.limit_mm
                np.maximum(drawn, worst, out=drawn)
        return drawn

    def _worst(self, lines: Sequence[LevelLine], usable: Sequence[_Steps]) -> tuple[Placement, str]:
        """Worst place as read, and the name of its line."""
        worst, name = None, lines[0].name
        for line in lines:
            for edge, steps in usable:
                gap, a, c, b = self.worst_of(line.z_mm, steps)
                if gap > 0.0 and (worst is None or gap / edge.limit_mm > worst.share):
                    a_mm, c_mm, b_mm = (n * line.step_mm for n in (a, c, b))
                    worst = Placement(gap, edge.limit_mm, c_mm, 0.0, 0.0, (a_mm, b_mm), (0.0, 0.0))
                    name = line.name
        return worst or no_gap(usable[-1][0], 0.0, 0.0), name

    def _share_in(self, lines: Sequence[LevelLine], usable: Sequence[_Steps]) -> float:
        """Share of all places of the edges that are within their limits, as read."""
        good = places = 0
        for line in lines:
            for edge, steps in usable:
                reach = min(steps, len(line.z_mm) - 1)
                for start in range(len(line.z_mm) - reach):
                    part = line.z_mm[start : start + reach + 1]
                    places += 1
                    good += bool(self.gaps(part, reach).max() <= edge.limit_mm)
        return good / places


def cut_edges(edges: Sequence[Edge], longest_mm: float, units: Units) -> list[str]:
    """Say which edges are longer than any line there is."""
    return [
        words.edge_cut(edge.length_mm, longest_mm, units)
        for edge in edges
        if edge.whole and edge.length_mm > longest_mm * (1 + 1e-9)
    ]


def no_gap(edge: Edge, x_mm: float, y_mm: float) -> Placement:
    """Stand for the worst of placements that all leave no gap."""
    return Placement(0.0, edge.limit_mm, x_mm, y_mm, 0.0, (x_mm, x_mm), (y_mm, y_mm))
