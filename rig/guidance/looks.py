"""Tells whether the marker under the rod was seen out of height, so that it is not its twin.

A stand of the rod ends with a break of the beam or a step that no screw makes. Out of height for a
whole dwell, on a stand that a walk led to, is remembered of the marker, however often the rod is
lifted to turn the screw. A moment's rest, where a hand turns at once, counts for that stand alone;
so does a dwell on a stand that began too soon for a walk, which may be beside the marker just set.
"""

import math
from collections import deque

from rig.survey.stillness import GAP_S, StillWindow

REST_S = 0.25
"""A hand takes longer than this from hearing a word to turning (choice reaction, common
practice, no source)."""
LANDING_S = 0.3
"""A foot that is put down rests after so long (common practice, no source). One that is still over
the marker reads as too high a marker does, and may well pause later on its way down."""
SURE_S = 0.31
"""So long must a marker rest that reads too high: a hand that holds a rod in the air trembles
(common practice, no source)."""
MOST_HIGH_MM = 15.0
"""No quick hand has farther to turn; a rod that is let down has (common practice, no source)."""
STEP_S = 0.1
STROKE_S = 0.15
"""Nobody lifts a rod over from one place to another in so short a time (common practice, no
source)."""
FASTEST_MM_S = 20.0
"""Of a screw under the rod (common practice, no source); a rod lifted or put down is faster."""


class Looks:
    """What was seen of the current marker.

    Parameters
    ----------
    tolerance_mm, still_mm, resolution_mm, foot_mm : float
        As the setting has them.
    """

    def __init__(
        self, tolerance_mm: float, still_mm: float, resolution_mm: float, foot_mm: float
    ) -> None:
        self._tolerance_mm = tolerance_mm
        self._window = StillWindow(REST_S, still_mm, resolution_mm, foot_mm)
        self._steps: deque[tuple[float, float]] = deque()
        self._since_s = 0.0
        self._rests_since_s: float | None = None
        self._came = True  # to this stand by a walk, and it was not at height from the start
        self._out_here = self._out = False

    def learn(self, spread_mm: float) -> None:
        """Learn how much the readings of a resting rod spread."""
        self._window.learn(spread_mm)

    @property
    def out(self) -> bool:
        """Whether the marker was seen out of height."""
        return self._out or self._out_here

    def forget(self) -> None:
        """Begin with another marker, while the rod stands on the one before it."""
        self._came = self._out = self._out_here = False

    def rested_out(self) -> None:
        """Take note that the rod rested for a whole dwell, out of height."""
        self._out_here = True
        if self._came and self._window.state() == "still":  # and is not just being lifted
            self._out = True

    def lift(self, armed: bool) -> None:
        """Take note that the rod may have been lifted: another stand, after a walk if armed."""
        self._came, self._out_here = armed, False
        self._window.clear()
        self._steps.clear()

    def see(self, time_s: float, value_mm: float, target_mm: float | None) -> None:
        """Take a reading; without a target it only tells one stand from the next."""
        steps = self._steps
        while len(steps) > 1 and steps[1][0] <= time_s - STEP_S:
            steps.popleft()
        if not steps or time_s - steps[-1][0] > GAP_S or self._too_fast(time_s, value_mm):
            if self._at_a_stroke(time_s, value_mm, target_mm):
                steps.clear()
            else:
                self.lift(target_mm is not None)
                self._since_s = time_s
        steps.append((time_s, value_mm))
        self._window.add(time_s, value_mm)
        if self._window.state() != "still":
            self._rests_since_s = None
            return
        if self._rests_since_s is None:
            self._rests_since_s = time_s - self._window.span_s
        if target_mm is not None and self._came:
            self._judge(time_s, target_mm, self._rests_since_s)

    def _judge(self, time_s: float, target_mm: float, rests_since_s: float) -> None:
        """Take note of how high the marker rests, on a stand that a walk led to."""
        mean_mm, stderr_mm, _ = self._window.value()
        high_mm = target_mm - mean_mm
        clear_mm = self._tolerance_mm + math.hypot(3.0 * stderr_mm, self._window.limit_mm)
        landed = rests_since_s - self._since_s <= LANDING_S
        rests = self._window.spread_mm <= 0.5 * self._window.limit_mm
        sure = landed and rests and time_s - rests_since_s >= SURE_S - 1e-9
        if high_mm < -clear_mm or (clear_mm < high_mm <= MOST_HIGH_MM and sure):
            self._out_here = True
        elif abs(high_mm) <= self._tolerance_mm and not self.out:
            self._came = False

    def _too_fast(self, time_s: float, value_mm: float) -> bool:
        """Say whether the foot moved as no screw moves it."""
        since_s, from_mm = self._steps[0]
        most_mm = FASTEST_MM_S * (time_s - since_s) + self._window.limit_mm
        return abs(value_mm - from_mm) > most_mm

    def _at_a_stroke(self, time_s: float, value_mm: float, target_mm: float | None) -> bool:
        """Say whether the marker came from rest to height from one reading to the next."""
        if target_mm is None or self._rests_since_s is None or not self._steps:
            return False
        at_height = abs(target_mm - value_mm) <= self._tolerance_mm
        return at_height and time_s - self._steps[-1][0] <= STROKE_S
