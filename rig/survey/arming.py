"""Tells a walk to the next point from a body in the beam, a flicker, or a rod left standing.

A point is armed once the rod has been away from the last shot's height, or without beam, for the
walk's time in total; a quiet run near that height in between starts the count afresh.
"""

from rig.survey.stillness import GAP_S

QUIET_S = 0.3
"""A run near the last height this long is a stand, a shorter one is the rod passing through."""


class Arming:
    """Whether the next steady reading belongs to the next point.

    Parameters
    ----------
    walk_s : float
        How long the rod must have been away in total.

    Attributes
    ----------
    armed : bool
    reference_mm : float or None
        The height the rod has to leave; None in a fresh walk.
    reference_label : str or None
        The point whose shot that height is, where it is one.
    disturbed : bool
        Something happened since, though maybe too short for a walk.
    gave_shot : bool
        This stand already gave a shot, and nothing has happened since.
    asked : bool
        The person has been asked whether this is the next point.
    """

    def __init__(self, walk_s: float) -> None:
        self.walk_s = walk_s
        self.reference_mm: float | None = None
        self.reference_label: str | None = None
        self.armed = True
        self.disturbed = self.gave_shot = self.asked = False
        self._band_mm = self._sag_mm = 0.0
        self._last: tuple[float, bool] | None = None
        self._away_s = 0.0
        self._near_since_s: float | None = None
        self._left_s: float | None = None

    def leave(
        self,
        reference_mm: float,
        band_mm: float,
        *,
        sag_mm: float = 0.0,
        label: str | None = None,
        time_s: float | None = None,
    ) -> None:
        """Wait until the rod has left this height.

        Parameters
        ----------
        reference_mm, band_mm : float
            The height, and how far from it still counts as there.
        sag_mm : float
            How much more a rod that is waved about plumb reads at its most tilted.
        label : str, optional
            The point whose shot this was; without it nothing was shot here.
        time_s : float, optional
            When the rod was last there.
        """
        self.reference_mm, self.reference_label = reference_mm, label
        self._band_mm, self._sag_mm = band_mm, sag_mm
        self.armed = self.disturbed = self.asked = False
        self.gave_shot = label is not None and time_s is not None
        self._last = None if time_s is None else (time_s, False)
        self._away_s = 0.0
        self._near_since_s = self._left_s = None

    def near(self, value_mm: float) -> bool:
        """Say whether a height is the one to leave, within the noise."""
        return self.reference_mm is not None and (
            abs(value_mm - self.reference_mm) <= self._band_mm
        )

    @property
    def away(self) -> bool:
        """Say whether the last reading was away from the height to leave."""
        return self._last is not None and self._last[1]

    def arm(self) -> None:
        """Arm the next point."""
        self.armed = True
        self.disturbed = self.gave_shot = self.asked = False

    def interrupt(self) -> None:
        """Count no time while the link is broken: what happens meanwhile is not known."""
        self._last = None
        self._near_since_s = self._left_s = None
        if not self.armed:
            self._disturb()

    def see(self, time_s: float, value_mm: float | None) -> bool:
        """Take a reading (None: no beam); return whether the rod has just left its height."""
        if self.armed:
            return False
        away = value_mm is None or not self._there(value_mm)
        if self._last is not None and time_s - self._last[0] > GAP_S:
            self.interrupt()
        last = self._last
        self._last = (time_s, away)
        if not away:
            self._stay(time_s)
            return False
        self._near_since_s = None
        if last is not None and last[1]:
            # Both ends away: at one reading a second a single miss is no walk.
            self._away_s += time_s - last[0]
            if self._away_s >= self.walk_s - 1e-9:
                self.arm()
            return False
        self._left_s = time_s if last is None else last[0]
        return True

    def _there(self, value_mm: float) -> bool:
        assert self.reference_mm is not None
        above = value_mm - self.reference_mm
        return -self._band_mm <= above <= self._band_mm + self._sag_mm

    def _stay(self, time_s: float) -> None:
        if self._left_s is not None:
            if time_s - self._left_s >= QUIET_S:
                self._disturb()
            self._left_s = None
        if self._near_since_s is None:
            self._near_since_s = time_s
        if time_s - self._near_since_s >= QUIET_S:
            self._away_s = 0.0

    def _disturb(self) -> None:
        self.disturbed = True
        self.gave_shot = False
