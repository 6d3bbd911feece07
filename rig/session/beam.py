"""Whether what a screen shows of the rod is fresh: the beam lost, the rod silent, the link lost.

A prompt that nobody has taken back looks true for as long as it stands there.
"""

import math
from collections import deque
from statistics import median

from rig.events import Event, Heard, LinkBack, LinkLost
from rig.language import say

DARK_S = 0.5
SILENT_BEATS = 3.0
SLOWEST_S = 2.0
"""Readings further apart than this are typed, or as good as typed: silence says nothing."""

NO_BEAM, SILENT, LINK_LOST = say("no beam"), say("no readings"), say("link lost")
STALE = (NO_BEAM, SILENT, LINK_LOST)


class Beam:
    """Hears what the screens hear; says in a word what is wrong, or nothing.

    Parameters
    ----------
    quiet_s : float
        How long nothing may come in any case.
    """

    def __init__(self, quiet_s: float = DARK_S) -> None:
        self._quiet_s = quiet_s
        self._linked = True
        self._dark_since: float | None = None
        self._dark_s = 0.0
        self._heard_s: float | None = None
        self._beats: deque[float] = deque(maxlen=9)

    def hear(self, event: Event, now_s: float) -> None:
        """Take one event, at the screen's own time."""
        match event:
            case LinkLost():
                self._linked = False
            case LinkBack():
                self._linked, self._heard_s = True, None
                self._dark_since = None
                self._beats.clear()
            case Heard():
                if self._heard_s is not None:
                    self._beats.append(now_s - self._heard_s)
                self._heard_s, self._linked = now_s, True
                if event.status == "no_beam":
                    if self._dark_since is None:
                        self._dark_since = event.time_s
                    self._dark_s = event.time_s - self._dark_since
                elif event.value_mm is not None and event.status != "bad":
                    self._dark_since = None

    def state(self, now_s: float) -> str:
        """Return one of `STALE`, or "" while all is well or nothing has come yet."""
        if not self._linked:
            return LINK_LOST
        if self._heard_s is None:
            return ""
        beat_s = median(self._beats) if self._beats else math.inf
        if beat_s <= SLOWEST_S and now_s - self._heard_s > max(
            self._quiet_s, SILENT_BEATS * beat_s
        ):
            return SILENT
        if self._dark_since is not None and self._dark_s > DARK_S:
            return NO_BEAM
        return ""
