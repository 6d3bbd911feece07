"""Notices that an armed point gets no shot, and whether for want of beam or of stillness."""

from collections.abc import Callable
from typing import Literal

from rig.language import say
from rig.survey.rocking import MIN_SWINGS, RockWindow
from rig.survey.stillness import GAP_S, StillWindow

PATIENCE_S = 8.0
_BEAM_RETURNS_S = 0.5
_BEAM_GONE_S = 2.0

Want = Literal["beam", "stillness"]


class Patience:
    """Two clocks: the one runs while the beam is there, the other while it is not.

    A loss shorter than two seconds does not stop the first (the beam flickers), a glimpse shorter
    than half a second does not stop the second.
    """

    def __init__(self) -> None:
        self.armed_s: float | None = None
        self.breaks = 0
        self.interrupt()

    def arm(self, time_s: float) -> None:
        """Take note that a shot is wanted, since now unless it was wanted before."""
        if self.armed_s is None:
            self.armed_s = time_s

    def interrupt(self) -> None:
        """Start both clocks afresh with the next reading."""
        self._lit_since: float | None = None
        self._dark_since: float | None = None
        self._run: tuple[float, bool] | None = None
        self._last_s = 0.0
        self.breaks = 0

    def see(self, time_s: float, beam: bool) -> None:
        """Take a reading, with or without beam."""
        if self._run is None or self._run[1] != beam:
            if self._run is not None and not beam:
                self.breaks += 1
            self._run = (time_s, beam)
        self._last_s = time_s
        running = time_s - self._run[0]
        if beam:
            if self._lit_since is None:
                self._lit_since, self.breaks = time_s, 0
            if running >= _BEAM_RETURNS_S:
                self._dark_since = None
        elif running >= _BEAM_GONE_S:
            self._lit_since = None
            if self._dark_since is None:
                self._dark_since = self._run[0]

    def deadline(self) -> tuple[float, Want] | None:
        """When patience ends and what is wanted, or None while nothing is due."""
        if self.armed_s is None:
            return None
        due: list[tuple[float, Want]] = []
        if self._dark_since is not None:
            due.append((max(self._dark_since, self.armed_s) + PATIENCE_S, "beam"))
        if self._lit_since is not None:
            due.append((max(self._lit_since, self.armed_s) + PATIENCE_S, "stillness"))
        return min(due) if due else None

    def end(self, want: Want, deadline_s: float) -> bool:
        """Stop that clock; return False where readings had ceased, so that nothing is known."""
        if want == "beam":
            self._dark_since = None
        else:
            self._lit_since = None
        return self._last_s >= deadline_s - GAP_S

    def complaint(
        self, want: Want, window: StillWindow | RockWindow, show: Callable[[float], str]
    ) -> tuple[str, str] | None:
        """Return the reason and a sentence that says what to do, or None where all is well."""
        state = window.state()
        spread, limit = show(window.spread_mm), show(window.limit_mm)
        if want == "beam":
            return "no_beam", say("no beam: turn the receiver to the laser")
        if self.breaks >= 3 or (state == "not enough" and self.breaks):
            return "flicker", (
                say(
                    "the beam flickers: turn the receiver to the laser, or clear what stands "
                    "between"
                )
            )
        if isinstance(window, RockWindow):
            if window.swings < MIN_SWINGS:
                return "rocking", (
                    say(
                        "{swings} of {min_swings} swings seen: wave the rod slowly through plumb",
                        swings=window.swings,
                        min_swings=MIN_SWINGS,
                    )
                )
            return "rocking", (
                say(
                    "the swings do not agree: they spread {spread}, the limit is {limit} "
                    "(--still); keep the foot on its spot",
                    spread=spread,
                    limit=limit,
                )
            )
        if state in ("moving", "noisy"):
            return state, (
                say(
                    "the rod moves or is too noisy to settle: readings spread {spread}, the "
                    "limit is {limit} (--still)",
                    spread=spread,
                    limit=limit,
                )
            )
        if state == "trending":
            return state, say("the rod sinks or rises slowly: hold it still")
        if state == "not enough":
            return "seldom", say("readings come too seldom to tell whether the rod is still")
        return None
