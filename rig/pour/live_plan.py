"""What the live log of a pour goes by: batches, strips, seams, and what was known before."""

from dataclasses import dataclass
from functools import cached_property

from rig.pour.estimate import Prior
from rig.units import Units


@dataclass(frozen=True)
class PlannedBatch:
    """A batch of the plan; `where` is for people."""

    n: int
    strip: int
    bags: float
    x_mm: float
    y_mm: float
    where: str


@dataclass(frozen=True)
class Strip:
    """A strip of the plan: share of the volume behind its far edge, and of itself; its markers."""

    number: int
    share_end: float
    share: float
    markers: tuple[str, ...]


@dataclass(frozen=True)
class LivePlan:
    """What the live log goes by.

    Attributes
    ----------
    batches, strips : tuple
    seams : tuple of (int, int)
        Batches, from 0, that meet while wet.
    working_s : float
    lead_s : float
        From water on the powder until a batch is poured: so old it is when it is logged.
    interval_s : float
        Planned, from batch to batch.
    bags : float
        On site.
    prior : Prior
    units : Units
        Of the job, for what is said.
    """

    batches: tuple[PlannedBatch, ...]
    strips: tuple[Strip, ...]
    seams: tuple[tuple[int, int], ...]
    working_s: float
    lead_s: float
    interval_s: float
    bags: float
    prior: Prior
    units: Units

    @cached_property
    def strip_of(self) -> dict[str, Strip]:
        """The strip of each marker, by its label in capitals."""
        return {label.upper(): strip for strip in self.strips for label in strip.markers}

    def strip_told(self, front: str) -> Strip | None:
        """Return the strip that a front names by its number or a marker, where there is one."""
        if front.isdecimal() and 1 <= int(front) <= len(self.strips):
            return self.strips[int(front) - 1]
        return self.strip_of.get(front)

    def strip_at(self, share: float) -> int:
        """Return the number of the strip in which so much of the volume is covered."""
        for strip in self.strips:
            if share <= strip.share_end + 1e-9:
                return strip.number
        return len(self.strips)

    def front_share(self, front: str, strip: Strip) -> tuple[float, float]:
        """Share behind a front that was told, and half the width of its error.

        The last row covered was named, mostly by the batch that covered it: the front stands half
        a batch past the row, give or take half a strip. A marker stands somewhere within its strip.
        """
        half = strip.share / 2.0
        if not front.isdecimal():
            return strip.share_end - half, half
        if strip.number == len(self.strips):
            return 1.0, half
        batch = self.batches[0].bags / self.prior.need
        half = self.strips[strip.number].share / 2.0
        return strip.share_end + min(half, batch / 2.0), half

    def bags_of(self, n: int) -> float:
        """Bags of the batch `n`, from 0; those past the plan are as the last one."""
        return self.batches[min(n, len(self.batches) - 1)].bags
