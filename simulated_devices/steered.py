"""A rod in the hands of a person at a screen: carried, stood and its screws turned as told.

What is told comes in among the tool's events, one JSON object a line: `{"do": "carry", "x": …,
"y": …}` while it is moved (mm), `{"do": "stand", "x": …, "y": …}` where it is put down, `{"do":
"turn", "by": …}` for the screw under it (mm, up is positive), `{"do": "press"}` for its button.
"""

import math
import random
from collections.abc import Mapping
from typing import Any

from simulated_devices.motion import Carried, Motion, Rest, Spot, Standing, Turning
from simulated_devices.rod import Pose
from simulated_devices.site import PLACEMENT_MM, Site

STEP_S = 0.25
REACH_MM = 150.0
"""A mark so near to where a finger puts the rod is what the foot is put on."""
SHORTEST_WALK_S, LONGEST_WALK_S, WALK_MM_S = 1.2, 3.0, 1500.0
MOST_TURN_MM = 60.0
TURN_MM_S = 12.0
DEEPEST_MM = 2.0
"""A screw cannot be driven deeper over the floor than this."""


class Steered:
    """The mover; see the module for what it hears.

    Parameters
    ----------
    site : Site
        The floor and the markers' screws, which stand where the tool has named them.
    seed : int
        Of how exactly the foot is put on a mark.
    """

    def __init__(self, site: Site, seed: int) -> None:
        self._site = site
        self._rng = random.Random(f"steered {seed}")
        x, y = site.middle
        self._here = Spot(None, x, y, site.floor_mm(x, y))
        self._motion: Motion = Rest(self._here)
        self._due_s = math.inf  # when a turn ends, or a walk
        self._lifted: tuple[float, Spot] | None = None
        self._presses = 0
        self._setting = False
        self._called: str | None = None
        self.spot: Spot | None = None
        self.stand = ""
        self.notices: list[str] = []

    def next_time(self) -> float:
        return self._due_s

    def advance(self, time_s: float) -> None:
        if self._due_s > time_s:
            return
        if isinstance(self._motion, Turning):
            self._let_go(self._due_s)
        elif isinstance(self._motion, Carried):
            self._put_down(self._due_s)
        else:
            self._due_s = math.inf

    def pose(self, time_s: float) -> Pose:
        return self._motion.pose(time_s)

    def take_presses(self) -> int:
        presses, self._presses = self._presses, 0
        return presses

    def event(self, told: Mapping[str, Any], time_s: float) -> None:
        """Hear an event of the tool, or what the hands do."""
        match told:
            case {"do": "carry", "x": int() | float() as x, "y": int() | float() as y}:
                self._carry(float(x), float(y), time_s)
            case {"do": "stand", "x": int() | float() as x, "y": int() | float() as y}:
                self._stand(float(x), float(y), time_s)
            case {"do": "turn", "by": int() | float() as by_mm}:
                self._turn(float(by_mm), time_s)
            case {"do": "press"}:
                self._presses += 1
                self._due_s = min(self._due_s, time_s)  # wakes the world
            case {"event": str(name)}:
                self._note(name, told)

    def _note(self, name: str, told: Mapping[str, Any]) -> None:
        """Remember where the tool wants the rod, and which marks there are."""
        label = told.get("label") or told.get("marker")
        if name == "done":
            self._setting = False
        if label is None or name not in ("next", "armed", "check", "prompt"):
            return
        self._setting |= "marker" in told or name == "check"
        self._called = str(label)
        x, y = told.get("x_mm"), told.get("y_mm")
        if isinstance(x, int | float) and isinstance(y, int | float):
            if "marker" in told:
                self._site.marker(str(label), float(x), float(y))
            else:
                self._site.places[str(label)] = (float(x), float(y))

    def _carry(self, x: float, y: float, now: float) -> None:
        self._let_go(now)
        self._lift(now)
        end = self._on_floor(None, x, y)
        self._motion = Carried(self._here, end, now, now + STEP_S, swings=False)
        self._here = end

    def _stand(self, x: float, y: float, now: float) -> None:
        """Put the rod down, no sooner than a person has walked there."""
        self._let_go(now)
        lifted_s, start = self._lift(now)
        end = self._mark_at(x, y)
        way = math.hypot(end.x_mm - start.x_mm, end.y_mm - start.y_mm)
        there_s = max(now, lifted_s + min(LONGEST_WALK_S, SHORTEST_WALK_S + way / WALK_MM_S))
        self._motion = Carried(self._here, end, now, there_s + 1e-6, swings=False)
        self._here, self._due_s = end, there_s

    def _put_down(self, now: float) -> None:
        self._due_s, self._lifted = math.inf, None
        self.spot = self._here
        rng = self._rng
        self.stand = f"{rng.random()}"
        self._motion = Standing(self._here, now, rng.uniform(3.0, 8.0), rng.uniform(-4.0, 4.0))

    def _lift(self, now: float) -> tuple[float, Spot]:
        """When the rod was lifted for this walk, and where from."""
        if self._lifted is None:
            self._lifted = (now, self._here)
        return self._lifted

    def _mark_at(self, x: float, y: float) -> Spot:
        """The screw or the named place under the foot, else the bare floor there."""
        marks: list[tuple[float, Spot]] = []
        if self._setting:
            marks += [
                (
                    math.hypot(m.x_mm - x, m.y_mm - y),
                    Spot(m.label, m.x_mm, m.y_mm, m.top_mm, m.label),
                )
                for m in self._site.markers.values()
            ]
        for label, (px, py) in self._site.places.items():
            rng = self._rng
            spot = self._on_floor(label, rng.gauss(px, PLACEMENT_MM), rng.gauss(py, PLACEMENT_MM))
            marks.append((math.hypot(px - x, py - y), spot))
        near = min(marks, key=lambda mark: mark[0], default=(math.inf, self._here))
        return near[1] if near[0] <= REACH_MM else self._on_floor(None, x, y)

    def _on_floor(self, label: str | None, x: float, y: float) -> Spot:
        floor = self._site.floor
        x, y = min(max(x, 0.0), floor.width_mm), min(max(y, 0.0), floor.length_mm)
        return Spot(label, x, y, self._site.floor_mm(x, y))

    def _turn(self, by_mm: float, now: float) -> None:
        self._let_go(now)
        spot = self._here
        if spot.marker is None or not isinstance(self._motion, Standing):
            return
        by_mm = min(max(by_mm, -MOST_TURN_MM), MOST_TURN_MM)
        floor_mm = self._site.floor_mm(spot.x_mm, spot.y_mm)
        top = max(spot.foot_mm + by_mm, floor_mm + DEEPEST_MM)
        self._due_s = now + 0.2 + abs(by_mm) / TURN_MM_S
        self._motion = Turning(spot, now, self._due_s, top)

    def _let_go(self, now: float) -> None:
        """Leave a screw that is being turned where it has got to."""
        self._due_s = math.inf
        if not isinstance(self._motion, Turning):
            return
        top, spot = self._motion.pose(now).foot_mm, self._motion.spot
        assert spot.marker is not None
        self._site.markers[spot.marker].top_mm = top
        self._here = self.spot = Spot(spot.label, spot.x_mm, spot.y_mm, top, spot.marker)
        self._motion = Standing(self._here, now, bounce_mm=0.3, lean_deg=0.5)
