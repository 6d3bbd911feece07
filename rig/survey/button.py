"""Counts presses of the rod's one button: what it means is known a second after the last."""

PRESS_GAP_S = 1.0


class Button:
    """Presses that are still being counted."""

    def __init__(self) -> None:
        self.count = 0
        self._last_s = 0.0

    def press(self, time_s: float) -> None:
        """Count a press."""
        self.count += 1
        self._last_s = time_s

    @property
    def deadline_s(self) -> float | None:
        """When the count is final, or None where nothing was pressed."""
        return self._last_s + PRESS_GAP_S if self.count else None

    def take(self) -> int:
        """Return the count and start afresh."""
        count, self.count = self.count, 0
        return count
