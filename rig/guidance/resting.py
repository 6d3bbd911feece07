"""The rest of a rod on a marker: its height by all readings of the stand, and how sure that is.

A window of a second that slides is a fresh try with every reading, and slow noise makes each look
surer than it is. Here all readings since the screw rested count together, their error is that of
the noise's memory, and each rest that begins anew on the same marker without its height having
surely changed is allowed a smaller part of the chance of a wrong word.
"""

import math
from collections import deque
from collections.abc import Callable
from itertools import pairwise
from statistics import median

from rig.events import Trouble
from rig.guidance.line_check import Steady
from rig.guidance.tolerance import Tolerance
from rig.language import say
from rig.survey.memory import Belief, NoiseMemory
from rig.survey.stillness import StillWindow
from rig.units import Units
from rig.words.markers import wanders

WRONG_FIRST, WRONG_AGAIN = 0.02, 0.005
"""Chance of a wrong "set", each side: of the first try on a marker, and of all others together."""
LOOKS = 1.15
"""Wider by so much: a rest is looked at with each reading (tried out: tests.guidance.set_rates)."""
TOLD = 1.5
"""The error that is told is so much more: a marker is taken when its height, which wanders, comes
within the tolerance, so that it is told too near (tried out likewise)."""
ANOTHER, SURELY_ANOTHER = 3.0, 6.0
"""Standard errors between two heights that are not one, and that cannot be one."""
FAR, NEAR = 5.0, 3.0
"""Standard deviations of a reading: within the second it is of the rest, beyond the first not."""
UNREST_S = 0.5
LONG_S, WANDERS_S = 2.0, 10.0
MOST_PENDING = 2000
JOLT, ASKED_JOLT, STEPS_KNOWN, STEPS_KEPT = 5.0, 3.0, 10, 99
"""Robust standard deviations of a step between the two halves of a window at which the screw was
turned, of one that was asked for, by how many steps of this session that is told, and how many are
remembered (ours, no source)."""
THIRD_TO_SD = 2.32
"""Of a normal distribution: its sd over what a third of its absolute values lie under. A hand that
creeps makes up to two steps of three."""


class Rest:
    """What is known of the height of the marker under the rod.

    Parameters
    ----------
    tolerance : Tolerance
    resolution_mm, foot_mm : float
        One digit of the display, and how well the foot finds the place (one sd).
    units : Units
        How amounts are shown.
    """

    def __init__(
        self, tolerance: Tolerance, resolution_mm: float, foot_mm: float, units: Units
    ) -> None:
        self._tolerance, self._units = tolerance, units
        self._complained = False
        self._memory = NoiseMemory(resolution_mm)
        self._foot_mm = foot_mm
        self._pending: deque[tuple[float, float]] = deque(maxlen=MOST_PENDING)
        self._before: tuple[float, float] | None = None  # height and error of the rest before
        self._tries = 0
        self._beliefs: list[Belief] = []
        self._steps: deque[float] = deque(maxlen=STEPS_KEPT)
        self._since_s = self._stepped_s = -math.inf  # since when it rests; the last step kept
        self._halves: deque[tuple[float, float]] = deque()  # means of late halves, with their time
        self._asked_mm = 0.0  # what the readings should change by, where a turn is asked for

    def another_marker(self) -> None:
        """Begin with another marker."""
        self.interrupt()
        self._before, self._tries, self._asked_mm = None, 0, 0.0

    def interrupt(self) -> None:
        """Take note that what comes next is another stand, or after a gap."""
        self._leave()
        self._pending.clear()
        self._halves.clear()
        self._since_s = -math.inf

    def learn(self) -> None:
        """Learn the noise from the rest that goes on: nobody turned the screw."""
        if self._memory.n:
            self._memory.keep_rest()
        self._pending.clear()

    def see(self, time_s: float, value_mm: float, window: StillWindow) -> None:
        """Take a reading; the window has it already."""
        self._pending.append((time_s, value_mm))
        if window.state() != "still":
            return
        kept = [sample for sample in window.kept() if sample[0] >= self._since_s]
        memory = self._memory
        if memory.n and self._is_jolted(kept, window.resolution_mm):
            self._before = self._height()
            memory.keep_rest(but_last_s=LONG_S / 2.0)
            kept = kept[len(kept) // 2 :]
            self._since_s = kept[0][0]
            self._halves.clear()
        if memory.n:
            mean_mm = math.fsum(seen_mm for _, seen_mm in kept) / len(kept)
            height_mm, error_mm = self._height()
            look_mm = _mixed(self._beliefs, lambda one: one.window_mm)
            apart = ANOTHER * math.hypot(error_mm, look_mm)
            if abs(mean_mm - height_mm) <= max(apart, window.resolution_mm):
                far = FAR * _mixed(self._beliefs, lambda one: one.noise_mm) + window.resolution_mm
                for at_s, seen_mm in self._pending:
                    if abs(seen_mm - height_mm) <= far:
                        memory.see(at_s, seen_mm)
                self._pending.clear()
                self._beliefs = memory.beliefs(len(kept), window.span_s)
                return
            self._leave()
        for at_s, seen_mm in kept:
            memory.see(at_s, seen_mm)
        self._pending.clear()
        self._beliefs = memory.beliefs(len(kept), window.span_s)
        self._count_try()

    def _is_jolted(self, kept: list[tuple[float, float]], digit_mm: float) -> bool:
        """Tell whether the height went up or down within moments as this rod at rest never does.

        Slow noise steps a little all the time; a screw that is turned steps once, far beyond.
        """
        half = len(kept) // 2
        if half < 2:
            return False
        late = kept[-half:]
        mean_mm = math.fsum(seen_mm for _, seen_mm in late) / half
        before = [one for one in self._halves if one[0] < late[0][0]]
        self._halves.append((late[-1][0], mean_mm))
        if not before:
            return False
        while self._halves[0] is not before[-1]:
            self._halves.popleft()
        step = mean_mm - before[-1][1]
        asked, known = step * self._asked_mm > 0, len(self._steps) >= STEPS_KNOWN
        if known:
            usual = THIRD_TO_SD * sorted(self._steps)[len(self._steps) // 3]
        else:  # from one reading to the next, with some of it remembered
            apart = median(abs(b - a) for (_, a), (_, b) in pairwise(kept))
            usual = 2.0 * apart / 0.954 * math.sqrt(2.0 / half)
        jolt = (ASKED_JOLT if asked else JOLT) * max(usual, digit_mm / math.sqrt(12.0))
        if late[0][0] >= self._stepped_s:  # each from readings of its own
            self._steps.append(abs(step))
            self._stepped_s = late[-1][0]
        return abs(step) > jolt and (known or asked)

    def look(
        self, target_mm: float, value_mm: float, window: StillWindow
    ) -> tuple[Steady, float, float | None]:
        """Return the height, its guard, and the height again where that, not a reading, is told.

        Parameters
        ----------
        target_mm, value_mm : float
            What the marker reads at height, and the latest reading.
        window : StillWindow
            The latest readings.
        """
        digit_mm, still = window.resolution_mm, window.state() == "still"
        steady = self.steady(digit_mm)
        if not still and not self.goes_on(window.last_time_s, value_mm):
            return steady, 0.0, None
        wanted_mm = target_mm - steady.mean_mm
        off_mm = abs(wanted_mm)
        sure_mm = self.guard_mm(off_mm - self._tolerance.mm)
        guard_mm = self._tolerance.guard_mm(sure_mm, digit_mm)
        self._asked_mm = wanted_mm if off_mm > self._tolerance.mm - guard_mm else 0.0
        told = self._tolerance.is_open(off_mm, guard_mm) and (not still or window.holds(value_mm))
        return steady, guard_mm, steady.mean_mm if told else None

    def complaint(self, guard_mm: float) -> list[Trouble]:
        """Say once that a long rest leaves a height more open than its tolerance is wide."""
        rested = self._memory.span_s >= WANDERS_S
        if self._complained or guard_mm < self._tolerance.mm or not rested:
            return []
        self._complained = True
        text = wanders(guard_mm, self._tolerance.mm, self._units)
        return [Trouble(text=text, reason=say("slow noise"))]

    def goes_on(self, time_s: float, value_mm: float) -> bool:
        """Tell whether a reading of a window that is restless for a moment is of the rest yet."""
        if not self._memory.n or not self._pending or time_s - self._pending[0][0] > UNREST_S:
            return False
        height_mm, _ = self._height()
        return abs(value_mm - height_mm) <= NEAR * _mixed(self._beliefs, lambda one: one.noise_mm)

    def steady(self, resolution_mm: float) -> Steady:
        """Return the height with its standard error: noise with its memory, digit and foot."""
        height_mm, error_mm = self._height()
        stderr_mm = math.sqrt((TOLD * error_mm) ** 2 + resolution_mm**2 / 12.0 + self._foot_mm**2)
        return Steady(height_mm, stderr_mm, self._memory.n)

    def guard_mm(self, beyond_mm: float) -> float:
        """How far inside the tolerance the height must lie to be sure of it, either side.

        Not more exactly than that it is less than `beyond_mm`, where that says all.
        """
        middle_mm, _ = self._height()
        tries = self._tries
        wrong = WRONG_FIRST if tries < 2 else WRONG_AGAIN / (tries * (tries - 1))
        tails = [
            (
                one.odds,
                abs(one.mean_mm - middle_mm),
                max(math.hypot(LOOKS * one.stderr_mm, self._foot_mm), 1e-9),
            )
            for one in self._beliefs
        ]
        low, high = 0.0, max(off + 6.0 * error for _, off, error in tails)
        if high < beyond_mm:
            return high
        for _ in range(24):
            middle = (low + high) / 2.0
            chance = math.fsum(
                odds * 0.5 * math.erfc((middle - off) / error / math.sqrt(2.0))
                for odds, off, error in tails
            )
            low, high = (middle, high) if chance > wrong else (low, middle)
        return high

    def _leave(self) -> None:
        """End a rest and learn of it, but not of its end: a hand may have begun to turn."""
        memory = self._memory
        if not memory.n:
            return
        self._before = self._height()
        if memory.span_s >= LONG_S:
            memory.keep_rest(but_last_s=LONG_S / 2.0)
        else:
            memory.forget_rest()

    def _count_try(self) -> None:
        height_mm, error_mm = self._height()
        if self._before is not None:
            before_mm, before_error_mm = self._before
            error_mm = math.hypot(math.hypot(error_mm, before_error_mm), self._foot_mm)
            if abs(height_mm - before_mm) > SURELY_ANOTHER * error_mm:
                self._tries = 0
        self._tries += 1

    def _height(self) -> tuple[float, float]:
        beliefs = self._beliefs
        mean = math.fsum(one.odds * one.mean_mm for one in beliefs)
        spread2 = math.fsum(
            one.odds * (one.stderr_mm**2 + (one.mean_mm - mean) ** 2) for one in beliefs
        )
        return mean, math.sqrt(spread2)


def _mixed(beliefs: list[Belief], of: Callable[[Belief], float]) -> float:
    return math.sqrt(math.fsum(one.odds * of(one) ** 2 for one in beliefs))
