"""Tells how the machine sees the rod: no beam, settling, moving, unsteady, or still and how far.

The machine judges, screens draw: what is shown as still is what is taken.
"""

from rig.events import RodState, Standing
from rig.survey.rocking import MIN_SWINGS, RockWindow
from rig.survey.stillness import StillWindow

TELL_S = 0.2
"""Between two looks; a shot and a beam that comes or goes do not wait for one."""
_SHARE = 0.05
_WORDS: dict[str, RodState] = {
    "not enough": "settling",
    "moving": "moving",
    "trending": "moving",
    "noisy": "unsteady",
    "still": "still",
}


class Stance:
    """What was told of one rod; time comes in with the data."""

    def __init__(self) -> None:
        self._told: Standing | None = None
        self._looked_s = float("-inf")

    def forget(self) -> None:
        """Tell the next one whatever it is: the link was lost meanwhile."""
        self._told, self._looked_s = None, float("-inf")

    def dark(self, time_s: float, armed: bool) -> list[Standing]:
        """Hear that there is no beam."""
        return self._tell(Standing(time_s=time_s, state="no_beam", armed=armed, still=0.0))

    def see(
        self, time_s: float, window: StillWindow | RockWindow, armed: bool, *, now: bool = False
    ) -> list[Standing]:
        """Look at the readings of a rod; `now` where what they say is about to be gone by."""
        told = self._told
        same = told is not None and told.state != "no_beam" and told.armed == armed
        if same and not now and time_s - self._looked_s < TELL_S:
            return []
        self._looked_s = time_s
        state = _WORDS[window.state()]
        rocks = isinstance(window, RockWindow)
        if state == "still":
            share = 1.0
        else:
            share = min(0.95, window.share, window.limit_mm / max(window.spread_mm, 1e-6))
        return self._tell(
            Standing(
                time_s=time_s,
                state="swinging" if rocks and state == "settling" else state,
                armed=armed,
                still=round(share, 2),
                swings=min(window.swings, MIN_SWINGS) if isinstance(window, RockWindow) else None,
                swings_of=MIN_SWINGS if rocks else None,
            )
        )

    def _tell(self, standing: Standing) -> list[Standing]:
        told = self._told
        if (
            told is not None
            and (told.state, told.armed, told.swings)
            == (standing.state, standing.armed, standing.swings)
            and abs(told.still - standing.still) < _SHARE
        ):
            return []
        self._told = standing
        return [standing]
