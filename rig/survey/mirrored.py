"""Sees that readings run the wrong way: a tape held upside down, a rod read from its top.

Readings alone fit a floor and its mirror image alike. What tells them apart is a place whose
height is known beside them: a threshold stands over the bare floor beside it, and two fixed points
keep their difference under every line.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from rig.events import Event, Jolted, ShotTaken, Undone
from rig.survey.laser.verdict import SIGMAS
from rig.units import METRIC, Units
from rig.words import typed as words

LARGEST_RANGE_MM = 300.0
"""A floor to be levelled falls less from its highest to its lowest (common practice, no source)."""
LEAST_MM = 1.0
"""What fixed points may differ by when they are read again (common practice, no source)."""
UNDER_MM = 3.0
BESIDE_MM = 2500.0
"""So far from a threshold the floor still tells how high it should be (common practice, no
source)."""
NEIGHBOURS = 3

Known = tuple[float, float]
"""A reading and its standard error, mm."""


@dataclass(frozen=True, slots=True)
class FixedPoint:
    """A threshold or a benchmark, as one line reads it; a benchmark may have no place."""

    label: str
    is_threshold: bool
    x_mm: float | None
    y_mm: float | None
    reading_mm: float
    stderr_mm: float


def turned(now: Mapping[str, Known], before: Mapping[str, Known]) -> tuple[str, ...]:
    """Return the fixed points whose differences have changed their signs between two lines.

    Parameters
    ----------
    now, before : mapping of label to (reading_mm, stderr_mm)
        Under the two lines.

    Returns
    -------
    tuple of str
        Empty where the differences are the same, or differ otherwise.
    """
    labels = tuple(label for label in now if label in before)
    same = opposite = 0.0
    for first, second in pairwise(labels):
        one = now[second][0] - now[first][0]
        other = before[second][0] - before[first][0]
        doubt = math.hypot(
            LEAST_MM, *(known[label][1] for known in (now, before) for label in (first, second))
        )
        same = max(same, abs(one - other) / doubt)
        opposite = max(opposite, abs(one + other) / doubt)
    return labels if same > SIGMAS and opposite <= SIGMAS else ()


def under_the_floor(point: FixedPoint, floor: Sequence[tuple[float, float, float]]) -> float | None:
    """Return how far a fixed point reads lower than any floor that it should stand over, or None.

    Parameters
    ----------
    point : FixedPoint
    floor : sequence of (x_mm, y_mm, reading_mm)
        Shots under the same line.

    Returns
    -------
    float or None
        In mm. A threshold is held against the floor beside it, a benchmark, which may be a nail
        in the floor, only against what no floor spans.
    """
    readings = [reading_mm for _, _, reading_mm in floor]
    least_mm = LARGEST_RANGE_MM
    if point.is_threshold:
        if point.x_mm is None or point.y_mm is None:
            return None
        at = (point.x_mm, point.y_mm)
        near = sorted((math.dist(at, (x, y)), reading_mm) for x, y, reading_mm in floor)
        readings = [reading_mm for away_mm, reading_mm in near if away_mm <= BESIDE_MM][:NEIGHBOURS]
        least_mm = max(UNDER_MM, SIGMAS * point.stderr_mm)
    if len(readings) < NEIGHBOURS:
        return None
    under_mm = point.reading_mm - max(readings)
    return under_mm if under_mm > least_mm else None


def tells_sense(points: Iterable[FixedPoint], others: Iterable[Mapping[str, Known]]) -> bool:
    """Say whether a floor's mirror image would show by what is known already.

    Parameters
    ----------
    points : iterable of FixedPoint
        Under any line.
    others : iterable of mapping
        What fixed points read under lines other than the one that is begun.
    """
    return any(point.is_threshold and point.x_mm is not None for point in points) or any(
        len(known) > 1 for known in others
    )


class SenseWatch:
    """Watches the shots under one line for readings that run the wrong way.

    Parameters
    ----------
    floor : iterable of (label, x_mm, y_mm, reading_mm)
        Shots under this line from before.
    points : iterable of FixedPoint
        Under this line from before.
    others : mapping of set-up to mapping of label to (reading_mm, stderr_mm)
        What fixed points read under other lines.
    units : Units
        Of the job.
    """

    def __init__(
        self,
        floor: Iterable[tuple[str, float, float, float]] = (),
        points: Iterable[FixedPoint] = (),
        others: Mapping[str, Mapping[str, Known]] | None = None,
        units: Units = METRIC,
    ) -> None:
        self._floor = {label: (x, y, reading) for label, x, y, reading in floor}
        self._points = {point.label: point for point in points}
        self._others, self._units = dict(others or {}), units
        self._told: set[str] = set()

    def hear(self, event: Event) -> list[str]:
        """Take what the survey made of a reading; return what is to be doubted."""
        match event:
            case Undone(label=label):
                self._floor.pop(label, None)
                self._points.pop(label, None)
            case Jolted(labels=gone):
                for label in gone:
                    self._floor.pop(label, None)
            case ShotTaken(kind="benchmark" | "threshold"):
                self._points[event.label] = FixedPoint(
                    event.label,
                    event.kind == "threshold",
                    event.x_mm,
                    event.y_mm,
                    event.reading_mm,
                    event.stderr_mm,
                )
                return self.doubts()
            case ShotTaken(kind="floor") if event.x_mm is not None and event.y_mm is not None:
                self._floor[event.label] = (event.x_mm, event.y_mm, event.reading_mm)
                return self.doubts()
        return []

    def doubts(self) -> list[str]:
        """Return what is to be doubted and was not told yet."""
        found: dict[str, str] = {}
        now = {label: (point.reading_mm, point.stderr_mm) for label, point in self._points.items()}
        for setup, before in self._others.items():
            if labels := turned(now, before):
                found[setup] = words.differences_turned(labels, setup)
        floor = list(self._floor.values())
        for label, point in self._points.items():
            under_mm = under_the_floor(point, floor)
            if under_mm is not None:
                found[f"here:{label}"] = words.fixed_point_too_low(
                    label, under_mm, point.is_threshold, self._units
                )
        fresh = [text for key, text in found.items() if key not in self._told]
        self._told |= found.keys()
        return fresh
