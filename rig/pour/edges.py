"""The wet edges of a pour under way: how old they are, and when to warn of one."""

import math

from rig.events import Edge, Edges
from rig.pour.live_plan import LivePlan
from rig.pour.log import Log
from rig.words import pour_log as words
from rig.words.pour_log import EdgeLevel

SOON = 0.25
"""Part of the working time that is left when an edge is warned of."""
EDGES_EVERY_S = 30.0


class EdgeWatch:
    """Tells the ages of the edges, and warns of each but once.

    Parameters
    ----------
    plan : LivePlan
    log : Log
    """

    def __init__(self, plan: LivePlan, log: Log) -> None:
        self._plan, self._log = plan, log
        self._warned: set[tuple[int, EdgeLevel]] = set()
        self._told_s = -math.inf

    def forget(self, poured: int = 0) -> None:
        """Warn anew of all batches but the first so many."""
        self._warned = {one for one in self._warned if one[0] < poured}

    def due(self, now_s: float) -> list[Edges]:
        """Tell the ages where they were not told for a while."""
        if not self._log.poured or now_s - self._told_s < EDGES_EVERY_S:
            return []
        return self.ages(now_s)

    def ages(self, now_s: float) -> list[Edges]:
        """Tell the oldest open edge of each strip."""
        oldest: dict[int, float] = {}
        for n, (age, _) in self._log.open_edges(now_s).items():
            strip = self._plan.batches[n].strip
            oldest[strip] = max(age, oldest.get(strip, 0.0))
        if not oldest:
            return []
        self._told_s = now_s
        left = self._plan.working_s - max(oldest.values())
        each = sorted(oldest.items())
        return [
            Edges(
                strips=tuple(strip for strip, _ in each),
                ages_s=tuple(age for _, age in each),
                left_s=left,
                time_s=now_s,
                text=words.edges(each, left),
            )
        ]

    def warnings(self, now_s: float) -> list[Edge]:
        """Warn once of each edge that is about to die, will die by the pace, or is past it."""
        events: list[Edge] = []
        working, done, pace = self._plan.working_s, len(self._log.poured), self._log.pace_s(now_s)
        told_strips: set[tuple[int, EdgeLevel]] = set()
        edges = sorted(self._log.open_edges(now_s).items(), key=lambda one: -one[1][0])
        for n, (age, last) in edges:
            strip = self._plan.batches[n].strip
            then = age + (last + 1 - done) * pace
            level = self._level(age, then if done else 0.0)
            if level is None or (n, level) in self._warned:
                continue
            self._warned.add((n, level))
            if (strip, level) in told_strips:
                continue
            told_strips.add((strip, level))
            events.append(
                Edge(
                    level=level,
                    strip=strip,
                    age_s=age,
                    left_s=working - age,
                    time_s=now_s,
                    text=words.edge(level, strip, age, working, then),
                )
            )
        return events

    def _level(self, age_s: float, then_s: float) -> EdgeLevel | None:
        working = self._plan.working_s
        if age_s >= working:
            return "dead"
        if working - age_s <= SOON * working:
            return "soon"
        return "pace" if then_s > working else None
