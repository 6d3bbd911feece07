"""A scripted installer: hears what the tool says, moves the rod, turns screws, errs now and then.

A state machine on simulated time. What the rod does is a motion; timers end it or make something
happen in it; whatever the installer hears comes to him a moment later than it was said.
"""

import heapq
import math
import random
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from simulated_devices.motion import Carried, Motion, Rest, Sliding, Spot, Standing, Turning
from simulated_devices.rod import Pose
from simulated_devices.site import PLACEMENT_MM, Site

REACTION_S = (0.25, 0.45)
SETTLED_S = 1.2  # after this the installer himself takes the rod to be still
LOOK_S = 1.8  # a prompt is trusted only when the rod has stood so long
PATIENCE_S = 10.0
OVER_LINE_MM = 10.0  # a screw of which nothing is heard was turned up beyond the line: back by this
MISTAKE_SHARE = 0.04

Kind = Literal["point", "check", "marker"]


@dataclass
class Goal:
    """Where the tool wants the rod; `done` once it has what it wanted there."""

    kind: Kind
    label: str
    x_mm: float
    y_mm: float
    done: bool = False


class Walker:
    """The installer.

    Parameters
    ----------
    site : Site
        The floor and the markers' screws, which he turns.
    seed : int
        Of his errors. Each walk draws from a generator of its own, named by where it goes and how
        often he has gone there, so that a link which is a little later changes no later walk.
    mistakes : float
        Share of his walks on which he does the wrong thing; 0 for a perfect one.
    """

    def __init__(self, site: Site, seed: int, *, mistakes: float = MISTAKE_SHARE) -> None:
        self._site = site
        self._seed = seed
        self._rng = random.Random(f"walker {seed}")
        self._reactions = random.Random(f"reactions {seed}")
        self._walks: Counter[str] = Counter()
        self._mistakes = mistakes
        self._timers: list[tuple[float, int, int | None, Callable[[float], None]]] = []
        self._count = 0
        self._motion_number = 0
        self._heard_s = 0.0
        self._presses = 0
        x, y = site.middle
        self._motion: Motion = Rest(Spot(None, x, y, site.floor_mm(x, y)))
        self.spot: Spot | None = None  # where the foot last stood
        self.stand = ""  # names this stand of the rod, another for every one
        self._goal: Goal | None = None
        self._last_marker: Goal | None = None
        self._setting = False
        self._wrong = False  # stands on a wrong spot and has not noticed
        self._stood_right = False  # has stood where the goal is
        self._correcting = False  # has pressed twice and waits for the tool to say so
        self._pending: Goal | None = None
        self._pressed_s = -math.inf
        self._pressed_here = 0
        self._prompted: tuple[float, str] = (-math.inf, "")
        self.mistakes_made: list[str] = []
        self.notices: list[str] = []  # for people: what he could not do

    # --- what the world asks

    def next_time(self) -> float:
        """When something will next happen by itself."""
        return self._timers[0][0] if self._timers else math.inf

    def advance(self, time_s: float) -> None:
        """Let happen what is due up to a time."""
        while self._timers and self._timers[0][0] <= time_s:
            due, _, motion, act = heapq.heappop(self._timers)
            if motion is None or motion == self._motion_number:
                act(due)

    def pose(self, time_s: float) -> Pose:
        """How the rod is held."""
        return self._motion.pose(time_s)

    def take_presses(self) -> int:
        """Presses of the button since the last call."""
        presses, self._presses = self._presses, 0
        return presses

    def event(self, told: Mapping[str, Any], time_s: float) -> None:
        """Hear one event of the tool; it is acted on after a moment, in the order said."""
        self._note_screw(time_s)
        react = HEARD.get(str(told.get("event")))
        if react is not None:
            self._heard_s = max(self._heard_s, time_s + self._reactions.uniform(*REACTION_S))
            self._at(self._heard_s, lambda now: react(self, told, now), always=True)

    # --- what he makes of an event

    def _on_call(self, told: Mapping[str, Any], now: float) -> None:
        goal = self._goal_of(told)
        if goal is None:
            return
        if self._goal is not None and not self._goal.done and self._is_goal(goal):
            return
        if self._correcting:
            self._pending = goal
        else:
            self._go(goal, now)

    def _on_prompt(self, told: Mapping[str, Any], now: float) -> None:
        goal = self._goal_of(told)
        if goal is None:
            return
        current = self._goal
        if current is None or not self._is_goal(goal):
            self._go(goal, now)
            return
        if not isinstance(self._motion, Standing):
            return
        if self._wrong:
            self._go(current, now, careful=True)
            return
        move = str(told.get("move"))
        self._prompted = (now, move)
        by_mm = told.get("by_mm")
        ready = now - self._motion.since_s >= LOOK_S and not current.done
        if ready and move in ("raise", "lower") and isinstance(by_mm, int | float):
            self._turn(by_mm if move == "raise" else -by_mm, now)

    def _on_ask(self, told: Mapping[str, Any], now: float) -> None:
        goal, motion = self._goal, self._motion
        label = told.get("label") or told.get("marker") or (goal and goal.label)
        if goal is None or goal.done or label != goal.label or not isinstance(motion, Standing):
            return
        if self._wrong:
            self._go(goal, now, careful=True)
        elif now - self._pressed_s > 2.0:
            self._press_at(max(now + 0.2, motion.since_s + SETTLED_S))

    def _on_taken(self, told: Mapping[str, Any], now: float) -> None:
        goal = self._goal
        label = told.get("label") or told.get("marker")
        if goal is None or (label is not None and label != goal.label):
            return
        goal.done = True
        if goal.kind == "marker":
            if self._stood_right:
                self._last_marker = goal
            if isinstance(self._motion, Turning):
                self._stop_turning(now)
        if not self._stood_right and told["event"] in ("shot", "set"):
            # He hears what was taken, and knows where the rod has stood.
            self._correcting = True
            first = now + self._rng.uniform(0.3, 0.6)
            self._press_at(first, always=True)
            self._press_at(first + 0.3, always=True)
            self._at(first + 6.0, self._give_up_correcting, always=True)

    def _on_undone(self, told: Mapping[str, Any], now: float) -> None:
        goal = self._goal
        label = told.get("label") or told.get("marker")
        self._correcting, self._pending = False, None
        if goal is not None and label in (None, goal.label):
            goal.done = False
            self._go(goal, now, careful=True)
        else:
            again = self._goal_of(told)
            if again is not None:
                self._go(again, now, careful=True)

    def _on_slide(self, told: Mapping[str, Any], now: float) -> None:
        """Slide the foot to where the tool wants it, and lift it there."""
        goal, here = self._goal_of(told), self.spot
        if goal is None or here is None:
            return
        self._goal, self._stood_right = goal, True
        self._begin_walk(goal)
        rng, spot = self._rng, self._spot_for(goal)
        distance = math.hypot(spot.x_mm - here.x_mm, spot.y_mm - here.y_mm)
        end = now + max(3.0, distance / rng.uniform(100.0, 200.0))
        self._move(
            Sliding(
                here,
                spot,
                self._site.floor_mm,
                now,
                end,
                uneven=min(0.2, max(-0.2, rng.gauss(0.0, 0.05))),
                lean_deg=abs(rng.gauss(0.0, 2.0)),
                phase=rng.uniform(0.0, 2.0 * math.pi),
            )
        )
        self.spot = spot

        def lift(due: float) -> None:
            self._move(Carried(spot, spot, due, due + 2.0, swings=False))
            self._at(due + 2.0, lambda later: self._move(Rest(spot)))

        self._at(end + rng.uniform(0.2, 0.6), lift)

    def _on_done(self, told: Mapping[str, Any], now: float) -> None:
        self._note_screw(now)
        self._goal, self._setting, self._correcting, self._pending = None, False, False, None
        self._move(Rest(self._spot_now()))

    def _goal_of(self, told: Mapping[str, Any]) -> Goal | None:
        label = told.get("label") or told.get("marker")
        if label is None:
            return None
        if told["event"] == "prompt" or "marker" in told:
            self._setting = True
        kind: Kind = "check" if told["event"] == "check" else "marker" if self._setting else "point"
        key = f"marker {label}" if kind == "marker" else str(label)
        x, y = told.get("x_mm"), told.get("y_mm")
        if isinstance(x, int | float) and isinstance(y, int | float):
            self._site.places[key] = (float(x), float(y))
        place = self._site.places.get(key) or self._site.places.get(str(label))
        if place is None and kind == "marker":
            self.notices.append(f"told to go to {label}, but never where that is")
            return None
        if place is None:
            place = self._site.benchmark(str(label))
            self.notices.append(f"not told where {label} is; it is taken to be by the wall")
        return Goal(kind, str(label), *place)

    def _is_goal(self, other: Goal) -> bool:
        goal = self._goal
        return goal is not None and (goal.kind, goal.label) == (other.kind, other.label)

    # --- what he does

    def _go(self, goal: Goal, now: float, *, careful: bool = False) -> None:
        """Lift the rod, walk, stand it; `careful` on the walk after a mistake."""
        self._note_screw(now)
        goal = Goal(goal.kind, goal.label, goal.x_mm, goal.y_mm)
        self._goal, self._stood_right = goal, False
        self._begin_walk(goal)
        mistake = "" if careful else self._choose_mistake(goal)
        spot = self._spot_for(goal)
        if mistake == "wrong point":
            spot = self._wrong_point(goal)
        elif mistake == "last marker" and self._last_marker is not None:
            spot = self._spot_for(self._last_marker)
        here = self._spot_now()
        distance = math.hypot(spot.x_mm - here.x_mm, spot.y_mm - here.y_mm)
        self._carry(here, spot, min(3.0, 1.2 + distance / 1500.0), now, mistake)

    def _begin_walk(self, goal: Goal) -> None:
        walk = f"{goal.kind} {goal.label}"
        self._walks[walk] += 1
        self._rng = random.Random(f"walker {self._seed} {walk} {self._walks[walk]}")

    def _carry(self, here: Spot, spot: Spot, seconds: float, now: float, mistake: str = "") -> None:
        swings, phase = self._rng.random() < 0.5, self._rng.uniform(0, 2 * math.pi)
        self._move(Carried(here, spot, now, now + seconds, swings, phase))
        self._at(now + seconds, lambda due: self._stand(spot, due, mistake))

    def _stand(self, spot: Spot, now: float, mistake: str = "") -> None:
        rng = self._rng
        self.stand = f"{rng.random()}"
        blocked = None
        if mistake == "body in the beam":
            start = now + rng.uniform(0.5, 0.9)
            blocked = (start, start + 0.5)
        standing = Standing(
            spot,
            now,
            bounce_mm=rng.uniform(3.0, 8.0),
            lean_deg=rng.uniform(-4.0, 4.0),
            sway_deg=abs(rng.gauss(0.0, 0.2)),
            blocked=blocked,
        )
        self._move(standing)
        self.spot = spot
        self._wrong = mistake in ("wrong point", "last marker")
        self._stood_right |= not self._wrong
        self._pressed_here = 0
        if mistake:
            self.mistakes_made.append(mistake)
        if mistake == "lifted too early":
            self._at(now + rng.uniform(0.4, 0.8), self._stand_again)
        elif mistake == "last marker":
            self._at(now + rng.uniform(2.5, 4.0), self._notice)
        self._at(now + PATIENCE_S, self._lose_patience)

    def _turn(self, up_mm: float, now: float) -> None:
        """Turn the screw by the told amount, as well as a hand does, and stand on it again."""
        goal, rng = self._goal, self._rng
        assert goal is not None
        screw = self._site.marker(goal.label, goal.x_mm, goal.y_mm)
        amount = abs(up_mm) * rng.gauss(1.0, 0.12) + rng.gauss(0.0, 0.3)
        if rng.random() < 0.05:
            amount *= 1.5
            self.mistakes_made.append("overshot")
        top = screw.top_mm + math.copysign(max(0.05, amount), up_mm)
        seconds = min(4.0, 0.8 + abs(amount) / 10.0)
        here = self._spot_for(goal)
        end = now + seconds

        if rng.random() < 0.6:
            self._move(Turning(here, now, end, top))
            self._at(end, self._stop_turning)
            return

        def turn_freely(due: float) -> None:
            if not goal.done:  # he may have heard "set" while he took the rod away
                screw.top_mm = top
            self._carry(here, self._spot_for(goal), seconds + 0.5, due)

        self._move(Carried(here, here, now, now + 0.5, swings=False))
        self._at(now + 0.5, turn_freely)

    def _stop_turning(self, now: float) -> None:
        """Let go of the screw where it is; the rod is still on it."""
        goal = self._goal
        assert goal is not None
        self._note_screw(now)
        self.spot = self._spot_for(goal)
        self._move(Standing(self.spot, now, bounce_mm=0.3, lean_deg=0.5))
        self._at(now + PATIENCE_S, self._lose_patience)

    def _note_screw(self, now: float) -> None:
        """Give a screw that is being turned the height that it has got to."""
        if isinstance(self._motion, Turning) and self._motion.spot.marker is not None:
            self._site.markers[self._motion.spot.marker].top_mm = self._motion.pose(now).foot_mm

    def _stand_again(self, now: float) -> None:
        if self._goal is not None and not self._goal.done:
            self._begin_walk(self._goal)
            spot = self._spot_for(self._goal)
            self._carry(self._spot_now(), spot, self._rng.uniform(1.2, 1.8), now)

    def _notice(self, now: float) -> None:
        if self._goal is not None and self._wrong and not self._correcting:
            self._go(self._goal, now, careful=True)

    def _lose_patience(self, now: float) -> None:
        """Nothing has happened for long: press, and the next time stand the rod anew."""
        goal = self._goal
        if goal is None or goal.done or self._correcting:
            return
        prompt_s, move = self._prompted
        if self._wrong:
            self._notice(now)
        elif goal.kind == "marker" and move != "hold" and now - prompt_s < 3.0:
            self._at(now + PATIENCE_S, self._lose_patience)
        elif self._pressed_here == 0:
            self._press_at(now)
            self._at(now + PATIENCE_S, self._lose_patience)
        elif goal.kind == "marker" and self._nothing_heard(prompt_s):
            self._turn(-OVER_LINE_MM, now)
        else:
            self._stand_again(now)

    def _nothing_heard(self, prompt_s: float) -> bool:
        """Tell whether the rod has stood here for long without any prompt."""
        return isinstance(self._motion, Standing) and prompt_s < self._motion.since_s

    def _give_up_correcting(self, now: float) -> None:
        if self._correcting:
            self._correcting = False
            if self._pending is not None:
                self._go(self._pending, now)
                self._pending = None

    def _press_at(self, time_s: float, *, always: bool = False) -> None:
        self._pressed_s = time_s
        self._pressed_here += 1

        def press(now: float) -> None:
            self._presses += 1

        self._at(time_s, press, always=always)

    # --- how it is done

    def _choose_mistake(self, goal: Goal) -> str:
        if self._rng.random() >= self._mistakes:
            return ""
        if goal.kind == "marker":
            return self._rng.choice(["last marker", "body in the beam"])
        if goal.kind == "check" or goal.label in self._site.marks:
            return "body in the beam"
        return self._rng.choice(["lifted too early", "body in the beam", "wrong point"])

    def _spot_for(self, goal: Goal) -> Spot:
        if goal.kind == "marker":
            screw = self._site.marker(goal.label, goal.x_mm, goal.y_mm)
            return Spot(goal.label, screw.x_mm, screw.y_mm, screw.top_mm, marker=goal.label)
        x, y = goal.x_mm, goal.y_mm
        if goal.label not in self._site.marks:
            x, y = self._rng.gauss(x, PLACEMENT_MM), self._rng.gauss(y, PLACEMENT_MM)
        return Spot(goal.label, x, y, self._site.floor_mm(x, y))

    def _wrong_point(self, goal: Goal) -> Spot:
        """Find a point as far off as a neighbour on a grid is, towards the room's middle."""
        middle = self._site.middle
        bearing = math.atan2(middle[1] - goal.y_mm, middle[0] - goal.x_mm)
        bearing += self._rng.uniform(-0.5, 0.5)
        x = goal.x_mm + 800.0 * math.cos(bearing)
        y = goal.y_mm + 800.0 * math.sin(bearing)
        return Spot(goal.label, x, y, self._site.floor_mm(x, y))

    def _spot_now(self) -> Spot:
        motion = self._motion
        return motion.end if isinstance(motion, Carried) else motion.spot

    def _move(self, motion: Motion) -> None:
        """Begin a motion; timers of the one before it are void."""
        self._motion = motion
        self._motion_number += 1
        self._wrong = False

    def _at(self, time_s: float, act: Callable[[float], None], *, always: bool = False) -> None:
        self._count += 1
        motion = None if always else self._motion_number
        heapq.heappush(self._timers, (time_s, self._count, motion, act))


HEARD: Mapping[str, Callable[[Walker, Mapping[str, Any], float], None]] = {
    "next": Walker._on_call,
    "armed": Walker._on_call,
    "check": Walker._on_call,
    "prompt": Walker._on_prompt,
    "ask": Walker._on_ask,
    "shot": Walker._on_taken,
    "set": Walker._on_taken,
    "slide": Walker._on_slide,
    "skipped": Walker._on_taken,
    "checked": Walker._on_taken,
    "undone": Walker._on_undone,
    "unset": Walker._on_undone,
    "done": Walker._on_done,
}
