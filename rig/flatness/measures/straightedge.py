"""Gaps under a straightedge that is laid everywhere."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from rig.flatness.field import Field, longest_line
from rig.flatness.measures.edges import EdgeRule, cut_edges, no_gap
from rig.flatness.model import HUMP_MM, NAMED, Model, Shared, settling
from rig.flatness.rule import Edge
from rig.flatness.straightedge import Placement, gaps, share_within, shares, triple, worst_placement
from rig.flatness.strips import failed_strips
from rig.flatness.verdict import Verdict, held
from rig.room import Outline
from rig.units import METRIC, Units
from rig.words import flatness as words

DRAW_BEARINGS = 24
MEAN_BEARINGS = 120


@dataclass(frozen=True, kw_only=True)
class Straightedge(EdgeRule):
    """No gap under an edge may exceed the limit."""

    measure = "straightedge"
    rigid = True
    least_steps = 2
    gaps = staticmethod(gaps)
    worst_of = staticmethod(triple)

    def judge(
        self,
        outline: Outline,
        model: Model,
        confidence: float,
        shared: Shared | None = None,
        units: Units = METRIC,
    ) -> Verdict:
        """Lay every edge everywhere on the best estimate and on its draws."""
        longest = longest_line(outline)
        edges = self.edges(longest)
        drawn = shares(model.draws, outline, edges, DRAW_BEARINGS, longest)
        worst = worst_placement(model.mean, outline, edges, MEAN_BEARINGS, longest)
        if worst is None:
            somewhere = outline.polygon.representative_point()
            worst = no_gap(edges[-1], somewhere.x, somewhere.y)
        # What the draws' wider lattice does not see of the best estimate is given back to them.
        seen = float(shares(model.coarse, outline, edges, DRAW_BEARINGS, longest)[0])
        drawn += max(worst.share - seen, 0.0)
        blind, said = self.unseen(edges, 2.0 * model.spacing_mm, units)
        against = held(drawn, worst, confidence, "shots", blind)
        word, least_mm = against.word, min(edge.limit_mm for edge in edges)
        hiding: tuple[tuple[float, float], ...] = ()
        if word == "in" and model.hides is not None:
            hiding = model.hides.over(least_mm)
        if hiding:
            word, said = "unsure", (*said, words.could_hide(len(hiding), HUMP_MM, least_mm, units))
        unsettled = against.word == "unsure" and not blind
        return Verdict(
            rule=self,
            word=word,
            chance=against.chance,
            confidence=confidence,
            worst=worst,
            worst_range_mm=against.range_mm,
            share_in=share_within(model.mean, outline, edges, DRAW_BEARINGS, longest),
            next_shots=settling(model, outline, drawn) if unsettled else hiding[:NAMED],
            warnings=(*cut_edges(edges, longest, units), *said, *against.why),
        )

    def unseen(
        self, edges: Sequence[Edge], least_mm: float, units: Units
    ) -> tuple[bool, tuple[str, ...]]:
        """Whether readings are too wide apart to pass the edges, and what to say of them.

        Where the limit grows with the span every span is an edge; then those from two spacings up
        are judged, and only a rule without any is blind.
        """
        short = [edge for edge in edges if edge.length_mm < least_mm * (1 - 1e-3)]
        if not short:
            return False, ()
        if self.between == "line" and len(short) < len(edges):
            return False, (words.short_spans(least_mm, units),)
        lengths = [edge.length_mm for edge in short[-2:]]
        return True, (words.blind_edges(lengths, least_mm, short[0].length_mm / 2.0, units),)

    def failed_strips(
        self, surface: Callable[[], Field], outline: Outline, most: int
    ) -> list[Placement]:
        """Strips of a surface on which an edge leaves too much, each dip once."""
        return failed_strips(surface(), outline, self.edges(longest_line(outline)), most)
