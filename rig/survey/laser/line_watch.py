"""Whether the line is still where it was: sights back to a benchmark, drift told from a jolt.

A line that wanders with the temperature changes slowly, so what it changed by is spread over the
time since the last good sight. One that changed more than a laser wanders in that time was knocked,
nobody knows when: what was shot meanwhile is not to be believed. Drift is what a laser does while
it stands and runs: over a break in which nothing was read nothing is spread. No I/O, no clock.
"""

import math
from dataclasses import dataclass
from typing import Literal

from rig.survey.laser.verdict import SIGMAS

EVERY_S = 20 * 60.0
"""So often a walk goes back to its benchmark (common practice, no source)."""
ENOUGH_SHOTS = 4
LONG_S = 10 * 60.0
"""At its end a walk goes back after so many shots since, or so long; not for a spot shot again."""
BREAK_S = 15 * 60.0
"""After so long without a reading the laser may have been set up again (common practice, no
source)."""
FASTEST_DRIFT_MM_PER_H = 3.0
"""A laser that warms up or stands in the sun wanders no faster (common practice, no source)."""
GIVE_UP_S = 90.0
"""Nobody waits longer than this for a rod that does not come."""
GIVE_UP_TYPED_S = 15 * 60.0
"""... and for a tape, of which nothing is heard on the way."""

Word = Literal["held", "drift", "jolt", "set up"]


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a line as a session begins.

    Attributes
    ----------
    label : str
        Of the benchmark.
    x_mm, y_mm : float or None
        Where it is, if that is known; `where` says it in words.
    reading_mm, stderr_mm : float
        What it read when this set-up was new; every shot of the set-up is relative to that.
    offset_mm, offset_stderr_mm : float
        What today's line reads more than that one, where a drift or a jolt was found.
    checked_s : float
        When the line was last seen to be good, in the session's time.
    setup : str
        Name of the laser's position.
    is_fixed : bool
        A benchmark; else the last shot of a set-up that has none.
    """

    label: str
    reading_mm: float
    stderr_mm: float
    offset_mm: float = 0.0
    offset_stderr_mm: float = 0.0
    checked_s: float = 0.0
    x_mm: float | None = None
    y_mm: float | None = None
    where: str = ""
    setup: str = ""
    is_fixed: bool = True


@dataclass(frozen=True, slots=True)
class Found:
    """What a sight says of the line.

    Attributes
    ----------
    word : 'held', 'drift', 'jolt' or 'set up'
        The last is what a change after a break is: the laser stands anew.
    change_mm, stderr_mm : float
        Since the last good sight, and its doubt; larger where the line rose.
    allowed_mm : float
        What noise allows of that: three standard errors, exceeded by chance 3 times in 1000.
    hours : float
        Since the last good sight.
    """

    word: Word
    change_mm: float
    stderr_mm: float
    allowed_mm: float
    hours: float


class LineWatch:
    """The line of one set-up, watched at a benchmark.

    Parameters
    ----------
    known : Known

    Attributes
    ----------
    offset_mm, offset_stderr_mm : float
        What today's line reads more than when the set-up was new: taken off every shot.
    unsettled : bool
        The last sight found a jolt.
    """

    def __init__(self, known: Known) -> None:
        self.known = known
        self.offset_mm, self.offset_stderr_mm = known.offset_mm, known.offset_stderr_mm
        self.unsettled = False
        self._good_s = self._asked_s = known.checked_s

    @property
    def expected_mm(self) -> float:
        """What the benchmark reads if nothing has changed."""
        return self.known.reading_mm + self.offset_mm

    def due(self, now_s: float) -> bool:
        """Say whether a walk should go back to the benchmark before it goes on."""
        return now_s - self._asked_s >= EVERY_S

    def due_at_end(self, now_s: float, shots_since: int) -> bool:
        """Say whether a walk that has come to its end should."""
        if not shots_since or self._asked_s == math.inf:
            return False
        return self.unsettled or shots_since >= ENOUGH_SHOTS or now_s - self._good_s >= LONG_S

    def put_off(self, now_s: float, at_end: bool) -> None:
        """Ask no more for a while; at the end of a walk no more at all."""
        self._asked_s = math.inf if at_end else now_s

    def compare(self, reading_mm: float, stderr_mm: float, now_s: float) -> Found:
        """Say what a sight of the benchmark means; nothing is changed by it."""
        change_mm = reading_mm - self.expected_mm
        noise_mm = math.hypot(self.known.stderr_mm, stderr_mm)
        allowed_mm = SIGMAS * noise_mm
        hours = max(now_s - self._good_s, 0.0) / 3600.0
        word: Word = "held"
        if abs(change_mm) > allowed_mm:
            slow = abs(change_mm) - allowed_mm <= FASTEST_DRIFT_MM_PER_H * hours
            word = "drift" if slow else "jolt"
        return Found(word, change_mm, noise_mm, allowed_mm, hours)

    def spread(
        self, found: Found, reading_mm: float, stderr_mm: float, time_s: float, now_s: float
    ) -> tuple[float, float]:
        """Take a drift's share off a shot made since the last good sight.

        In a straight line over the time; when it truly happened nobody knows. Were it all at one
        moment, any being as likely, the share f of a change c would be wrong by c·√(f(1 − f)).
        """
        span_s = now_s - self._good_s
        f = min(max((time_s - self._good_s) / span_s, 0.0), 1.0) if span_s > 0.0 else 1.0
        unknown_mm = abs(found.change_mm) * math.sqrt(f * (1.0 - f))
        return (
            reading_mm - f * found.change_mm,
            math.sqrt(stderr_mm**2 + unknown_mm**2 + (f * found.stderr_mm) ** 2),
        )

    def follow(self, found: Found, now_s: float) -> None:
        """Go by what a sight found from now on."""
        if found.word in ("drift", "jolt"):
            self.offset_mm += found.change_mm
            self.offset_stderr_mm = found.stderr_mm
        self.unsettled = found.word == "jolt"
        self._good_s = self._asked_s = now_s
