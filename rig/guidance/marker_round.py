"""The round from marker to marker: which is current, which are set, which comes next."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rig.errors import BadInput
from rig.language import say


@dataclass(frozen=True, slots=True)
class MarkerTarget:
    """A depth marker: where it stands, and what the rod reads on its top at height (set-up 1)."""

    label: str
    x_mm: float
    y_mm: float
    target_reading_mm: float
    where: str = ""


class MarkerRound:
    """Markers in the order in which they are walked.

    Parameters
    ----------
    markers : sequence of MarkerTarget
        The layout.
    already_set : iterable of str
        Labels that an earlier session has set.
    start : str or None
        Label to begin with, else the first that is not set.

    Raises
    ------
    BadInput
        Without markers, or with a label that is doubled or unknown.
    """

    def __init__(
        self, markers: Sequence[MarkerTarget], already_set: Iterable[str], start: str | None
    ) -> None:
        self._markers = {marker.label.upper(): marker for marker in markers}
        if not self._markers:
            raise BadInput(say("There are no markers to set: lay them out first with rig markers."))
        if len(self._markers) < len(markers):
            raise BadInput(
                say("Two markers have the same label: lay them out again with rig markers.")
            )
        self._order = list(self._markers.values())
        self._done = {self[label].label for label in already_set}
        self._skipped: set[str] = set()
        self._history: list[MarkerTarget] = []
        self.current: MarkerTarget | None = self[start] if start is not None else self.following()

    def __getitem__(self, label: str) -> MarkerTarget:
        try:
            return self._markers[label.upper()]
        except KeyError:
            raise BadInput(
                say(
                    "There is no marker {label!r}; there are {label_2} to {label_3}.",
                    label=label,
                    label_2=self._order[0].label,
                    label_3=self._order[-1].label,
                )
            ) from None

    @property
    def left(self) -> tuple[str, ...]:
        """Labels that are not set."""
        return tuple(m.label for m in self._order if m.label not in self._done)

    @property
    def done(self) -> int:
        """How many are set, earlier sessions' included."""
        return len(self._done)

    @property
    def last_set(self) -> MarkerTarget | None:
        """The latest that this session has set."""
        return self._history[-1] if self._history else None

    def following(self, after: MarkerTarget | None = None) -> MarkerTarget | None:
        """Return the next that is neither set nor skipped, round the end to the start."""
        n = 0 if after is None else self._order.index(after) + 1
        for marker in self._order[n:] + self._order[:n]:
            if marker.label not in self._done and marker.label not in self._skipped:
                return marker
        return None

    def go(self, marker: MarkerTarget) -> None:
        """Make a marker the current one."""
        self._skipped.discard(marker.label)
        self.current = marker

    def set(self, marker: MarkerTarget) -> None:
        """Count a marker as set."""
        self._done.add(marker.label)
        if marker in self._history:
            self._history.remove(marker)  # set again: it can be taken back once
        self._history.append(marker)

    def skip(self, marker: MarkerTarget) -> None:
        """Leave a marker as it is, for now."""
        self._skipped.add(marker.label)

    def undo(self) -> MarkerTarget | None:
        """Take back the latest that this session has set."""
        if not self._history:
            return None
        marker = self._history.pop()
        self._done.discard(marker.label)
        return marker
