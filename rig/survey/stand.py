"""A place to stand the rod on, and the height that it gave there."""

from dataclasses import dataclass

from rig.events import ShotTaken
from rig.language import put

Sample = tuple[float, float | None, bool]
"""Time, height (None: no beam), and whether the link broke here."""


@dataclass(frozen=True, slots=True)
class Stand:
    """A place to shoot: a grid point, or a benchmark without coordinates.

    ``where`` says how to find it: "6 ft from the door wall, 4 ft from the left wall".
    """

    label: str
    x_mm: float | None = None
    y_mm: float | None = None
    where: str = ""

    @property
    def text(self) -> str:
        """Label and where it is."""
        return (
            put("{label}: {where}", label=self.label, where=self.where)
            if self.where
            else self.label
        )


@dataclass(frozen=True, slots=True)
class HeldReading:
    """What a still window says, kept for when it is accepted."""

    reading_mm: float
    stderr_mm: float
    n: int
    time_s: float
    spread_mm: float = 0.0
    sag_mm: float = 0.0

    def as_shot(self, stand: Stand | ShotTaken, kind: str) -> ShotTaken:
        """Return it as the shot of a stand, or of one that was shot before."""
        return ShotTaken(
            label=stand.label,
            x_mm=stand.x_mm,
            y_mm=stand.y_mm,
            reading_mm=self.reading_mm,
            stderr_mm=self.stderr_mm,
            n=self.n,
            kind=kind,
            time_s=self.time_s,
        )
