"""Brings the steady time of a rod's box to the session's: no clock and no link in here.

The offset is that of the round trip that was shortest of the last few, as network time has it
(Mills, RFC 5905, the clock filter): the shorter the trip, the less can be wrong with its middle.
"""

import math
from collections import deque
from dataclasses import dataclass

TRIPS = 12
"""So many round trips are remembered."""
SLEW = 500e-6
"""The time that is given out is bent by no more than this share."""
WANDER = 50e-6
"""A box's clock may go wrong by this share since a trip was measured (common quartz)."""
WORST_S = 1.0
"""How long a message may take where nobody has answered for the box's clock yet."""
STEP_S = 0.5
"""A clock that is found off by more is not bent: what came before belongs to another time."""


@dataclass(frozen=True, slots=True)
class _Trip:
    """A question and its answer: when it came back, how long both took, and what follows."""

    back_s: float
    took_s: float
    offset_s: float

    def doubt_s(self, now_s: float) -> float:
        """How far the offset may be off by now."""
        return self.took_s / 2.0 + WANDER * max(0.0, now_s - self.back_s)


class BoxTime:
    """The clock of one start of a box, as the session sees it; all times in seconds.

    Until a round trip is known, messages are placed as if the first had taken `WORST_S`, so that
    their spacing is the box's own however late they come.
    """

    def __init__(self) -> None:
        self._trips: deque[_Trip] = deque(maxlen=TRIPS)
        self._offset_s: float | None = None
        self._bent_s: float | None = None  # the box's time up to which the offset was bent
        self._given_s = -math.inf

    @property
    def is_known(self) -> bool:
        """Whether the box has answered for its clock."""
        return bool(self._trips)

    @property
    def offset_s(self) -> float | None:
        """What is added to the box's time now; None before anything came."""
        return self._offset_s

    def doubt_s(self, now_s: float) -> float:
        """How far the session's time of a message may be off."""
        return min((trip.doubt_s(now_s) for trip in self._trips), default=WORST_S)

    def answered(self, asked_s: float, box_s: float, back_s: float) -> bool:
        """Take a round trip: asked and answered in the session's time, between them the box's.

        Returns
        -------
        bool
            False where the clock turns out to be another than it was taken for: readings from
            before do not belong with those that come now.
        """
        self._trips.append(_Trip(back_s, back_s - asked_s, (asked_s + back_s) / 2.0 - box_s))
        best = self._best(back_s)
        if self._given_s == -math.inf or len(self._trips) == 1:
            stood = self._offset_s
            self._offset_s, self._bent_s = best.offset_s, None
            return stood is None or abs(stood - best.offset_s) <= WORST_S
        stands_s = self._offset_s or 0.0
        if abs(best.offset_s - stands_s) > STEP_S + best.doubt_s(back_s):
            self._offset_s, self._bent_s = best.offset_s, None
            return False
        return True

    def session_s(self, box_s: float, arrived_s: float) -> float:
        """Return when a message was sent, in the session's time.

        Never before what was returned last, never after its arrival.
        """
        if self._offset_s is None:
            self._offset_s = arrived_s - box_s - WORST_S
        elif self._trips:
            self._bend(box_s, arrived_s)
        at_s = min(box_s + self._offset_s, arrived_s)
        self._given_s = max(at_s, self._given_s)
        return self._given_s

    def _best(self, now_s: float) -> _Trip:
        return min(self._trips, key=lambda trip: trip.doubt_s(now_s))

    def _bend(self, box_s: float, now_s: float) -> None:
        """Bring the offset nearer to what the best trip says, by as much as may be."""
        assert self._offset_s is not None
        since_s = box_s if self._bent_s is None else self._bent_s
        most_s = SLEW * max(0.0, box_s - since_s)
        off_s = self._best(now_s).offset_s - self._offset_s
        self._offset_s += max(-most_s, min(most_s, off_s))
        self._bent_s = max(box_s, since_s)
