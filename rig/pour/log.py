"""The entries of a pour's log, and what they tell: bags, front, need, pace, ages of the edges."""

import math
import statistics
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from rig.pour.estimate import Front, Need, estimate
from rig.pour.live_plan import LivePlan, Strip
from rig.pour.pace import interval_s


@dataclass(frozen=True)
class Batch:
    """A batch that was poured."""

    time_s: float


@dataclass(frozen=True)
class FrontTold:
    """A front that was told, by the number of its strip or by a marker."""

    told: str
    strip: Strip


@dataclass(frozen=True)
class Tick:
    """A step of the list before the pour that was ticked."""

    step: str


Entry = Batch | FrontTold | Tick


class Log:
    """Entries in their order; the last can be taken back.

    Parameters
    ----------
    plan : LivePlan
    """

    def __init__(self, plan: LivePlan) -> None:
        self._plan = plan
        self._entries: list[Entry] = []

    def add(self, entry: Entry) -> None:
        """Keep an entry."""
        self._entries.append(entry)

    def take_back(self) -> Entry | None:
        """Forget the last entry and return it."""
        return self._entries.pop() if self._entries else None

    def forget_fronts_past(self, number: int) -> None:
        """Forget the fronts told past a strip."""
        self._entries = [
            one
            for one in self._entries
            if not (isinstance(one, FrontTold) and one.strip.number > number)
        ]

    @property
    def poured(self) -> list[Batch]:
        """Batches poured."""
        return [entry for entry in self._entries if isinstance(entry, Batch)]

    @property
    def fronts(self) -> list[FrontTold]:
        """Fronts told."""
        return [entry for entry in self._entries if isinstance(entry, FrontTold)]

    @property
    def ticked(self) -> list[str]:
        """Steps ticked."""
        return [entry.step for entry in self._entries if isinstance(entry, Tick)]

    @property
    def bags_used(self) -> float:
        """By the count of batches."""
        return math.fsum(self._plan.bags_of(n) for n in range(len(self.poured)))

    @property
    def front(self) -> int:
        """The last strip that was told as covered, 0 before."""
        return max((entry.strip.number for entry in self.fronts), default=0)

    @property
    def share(self) -> float:
        """Share of the volume that was told as covered."""
        return self._plan.strips[self.front - 1].share_end if self.front else 0.0

    @property
    def need(self) -> Need:
        """What the whole floor takes, by the fronts told so far."""
        used, batches, furthest = 0.0, 0, 0
        fronts = []
        for entry in self._entries:
            if isinstance(entry, Batch):
                used += self._plan.bags_of(batches)
                batches += 1
            elif isinstance(entry, FrontTold) and entry.strip.number > furthest:
                furthest = entry.strip.number
                fronts.append(Front(used, *self._plan.front_share(entry.told, entry.strip)))
        return estimate(self._plan.prior, fronts)

    @property
    def need_without_last(self) -> Need:
        """The need as it looked before the last entry."""
        entry = self._entries.pop()
        need = self.need
        self._entries.append(entry)
        return need

    @property
    def interval_s(self) -> float | None:
        """Mean time from batch to batch, pauses left out, where there were any two."""
        times = [[batch.time_s] for batch in self.poured]
        return float(interval_s(np.array(times))[0]) if len(times) > 1 else None

    def pace_s(self, now_s: float) -> float:
        """Time from batch to batch of late; a batch that keeps us waiting counts already."""
        poured = self.poured
        gaps = [b.time_s - a.time_s for a, b in pairwise(poured[-4:])]
        usual = statistics.median(gaps) if gaps else self._plan.interval_s
        return max(usual, now_s - poured[-1].time_s) if poured else usual

    @property
    def dry(self) -> tuple[str, ...]:
        """Markers behind the front whose row was passed over and not named since."""
        covered: set[str] = set()
        furthest = 0
        for entry in self.fronts:
            strip = entry.strip
            if entry.told.isdecimal() or strip.number > furthest:
                covered.update(strip.markers)
            else:
                covered.update(m for m in strip.markers if m.upper() == entry.told)
            furthest = max(furthest, strip.number)
        return tuple(
            label
            for strip in self._plan.strips[:furthest]
            for label in strip.markers
            if label not in covered
        )

    def open_edges(self, now_s: float) -> dict[int, tuple[float, int]]:
        """Age of the edge of each poured batch with neighbours to come, and the last of them."""
        poured = self.poured
        done = min(len(poured), len(self._plan.batches))
        ages: dict[int, tuple[float, int]] = {}
        for earlier, later in self._plan.seams:
            if earlier < done <= later:
                age = now_s - poured[earlier].time_s + self._plan.lead_s
                ages[earlier] = (age, max(later, ages.get(earlier, (0.0, 0))[1]))
        return ages
