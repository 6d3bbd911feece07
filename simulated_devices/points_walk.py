"""Movers that look at nothing: a walk through listed points, and a rod that just stands."""

import csv
import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simulated_devices import Refused
from simulated_devices.motion import Carried, Motion, Rest, Spot, Standing
from simulated_devices.rod import Pose
from simulated_devices.site import PLACEMENT_MM, Site

WALK_S = 1.5


@dataclass(frozen=True)
class Point:
    """A place to stand on."""

    label: str
    x_mm: float
    y_mm: float


def read_points(path: str | Path) -> list[Point]:
    """Read a CSV with the header `label,x_mm,y_mm`; other columns are left alone."""
    try:
        with Path(path).open(newline="", encoding="utf-8-sig") as file:
            rows = csv.DictReader(file)
            missing = {"label", "x_mm", "y_mm"} - set(rows.fieldnames or [])
            if missing:
                raise Refused(f"The points {path} have no column {', '.join(sorted(missing))}.")
            points = []
            for row in rows:
                try:
                    point = Point(row["label"], float(row["x_mm"]), float(row["y_mm"]))
                except (TypeError, ValueError):
                    raise Refused(
                        f"Line {rows.line_num} of {path} has no numbers for x_mm and y_mm."
                    ) from None
                if not (math.isfinite(point.x_mm) and math.isfinite(point.y_mm)):
                    raise Refused(f"Line {rows.line_num} of {path} names no place.")
                points.append(point)
    except OSError as error:
        raise Refused(f"The points {path} cannot be read: {error.strerror}.") from None
    except (UnicodeDecodeError, csv.Error):
        raise Refused(f"The points {path} are not a CSV table.") from None
    if not points:
        raise Refused(f"The points {path} are none.")
    return points


class PointsWalk:
    """Walks listed points in order and stands on each; the last stand is repeated for ever.

    Nothing moves before `begin`, so that a reader who comes late misses no point.
    """

    def __init__(
        self, site: Site, seed: int, points: Sequence[Point], stand_s: float = 3.0
    ) -> None:
        self._site = site
        self._rng = random.Random(f"points {seed}")
        self._points = list(points)
        self._stand_s = stand_s
        self._index = 0
        self._next_s = math.inf
        x, y = site.middle
        self._motion: Motion = Rest(Spot(None, x, y, site.floor_mm(x, y)))
        self.spot: Spot | None = None
        self.stand = ""
        self.stands: list[tuple[float, Spot]] = []

    def begin(self, time_s: float) -> None:
        """Set out, unless already under way."""
        if math.isinf(self._next_s):
            self._walk(time_s)

    def next_time(self) -> float:
        return self._next_s

    def advance(self, time_s: float) -> None:
        while self._next_s <= time_s:
            now = self._next_s
            if isinstance(self._motion, Carried):
                self.spot, self.stand = self._motion.end, f"{self._rng.random()}"
                if not self.stands or self.spot is not self.stands[-1][1]:
                    self.stands.append((now, self.spot))
                self._motion = Standing(self.spot, now, self._rng.uniform(3, 8), 3.0)
                self._next_s = now + self._stand_s
            else:
                self._walk(now)

    def pose(self, time_s: float) -> Pose:
        return self._motion.pose(time_s)

    def take_presses(self) -> int:
        return 0

    def event(self, told: Mapping[str, Any], time_s: float) -> None:
        """Do nothing: it does not look."""

    def _walk(self, now: float) -> None:
        point = self._points[min(self._index, len(self._points) - 1)]
        if self._index < len(self._points):
            self._index += 1
            x = self._rng.gauss(point.x_mm, PLACEMENT_MM)
            y = self._rng.gauss(point.y_mm, PLACEMENT_MM)
            end = Spot(point.label, x, y, self._site.floor_mm(x, y))
        else:
            assert self.spot is not None
            end = self.spot
        here = self.spot or end
        self._motion = Carried(here, end, now, now + WALK_S, swings=False)
        self._next_s = now + WALK_S


class StandStill:
    """The rod stands on one point, for ever."""

    stand = ""

    def __init__(self, site: Site, x_mm: float, y_mm: float) -> None:
        self.spot: Spot | None = Spot("middle", x_mm, y_mm, site.floor_mm(x_mm, y_mm))
        self._motion = Standing(self.spot, 0.0)

    def next_time(self) -> float:
        return math.inf

    def advance(self, time_s: float) -> None:
        """Do nothing."""

    def pose(self, time_s: float) -> Pose:
        return self._motion.pose(time_s)

    def take_presses(self) -> int:
        return 0

    def event(self, told: Mapping[str, Any], time_s: float) -> None:
        """Do nothing: it does not look."""
