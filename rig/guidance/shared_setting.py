"""The setting of one of several rods: it goes where it is sent, and rests where nothing is left."""

from collections.abc import Sequence
from typing import Any

from rig.events import Event, Trouble
from rig.guidance.line_check import UNCHECKED
from rig.guidance.marker_round import MarkerRound, MarkerTarget
from rig.guidance.setting import Setting
from rig.survey.shared_walk import CLAIM


class _SentRound(MarkerRound):
    """A round whose next marker is said from outside, one at a time."""

    def following(self, after: MarkerTarget | None = None) -> MarkerTarget | None:
        """Return nothing: who goes where is said from outside."""
        return None


class SharedSetting(Setting):
    """A setting as `Setting` is, of all markers that its rod may be sent to."""

    def __init__(self, markers: Sequence[MarkerTarget], **given: Any) -> None:
        super().__init__(markers, **given)
        self._round = _SentRound(markers, given.get("already_set", ()), None)

    @property
    def rests(self) -> bool:
        """Whether it waits to be sent somewhere."""
        return not self.finished and self.line.wanted is None and self._round.current is None

    def start(self, time_s: float) -> list[Event]:
        """Ask for the check sight; else wait to be sent somewhere."""
        self._now_s = self._seen_s = time_s
        if self.line.wanted is None:
            return [Trouble(text=UNCHECKED, reason="unchecked")]
        self._patience.armed_s = time_s
        return [self.line.ask()]

    def act(self, name: str, time_s: float, argument: str | None = None) -> list[Event]:
        """Do what is asked for; to be sent somewhere is one more act."""
        if name != CLAIM:
            return super().act(name, time_s, argument)
        events = self._until(time_s) + self._settle_presses()
        if self.finished:
            return events
        if argument is None:
            self._stay()
            return events
        marker = self._round[argument]
        if self.line.wanted is not None:
            self._round.go(marker)  # where to begin after the check
            return events
        return events + self._go(marker)

    def _go(self, marker: MarkerTarget | None) -> list[Event]:
        if marker is None:
            self._stay()
            return []
        return super()._go(marker)

    def _stay(self) -> None:
        self._round.current = None
        self._break()
        self._patience.interrupt()
        self._patience.armed_s = None
        self._prompter.forget()
        self._asked = None

    def _read(self, value_mm: float) -> list[Event]:
        if self._round.current is not None:
            return super()._read(value_mm)
        self._arrive(value_mm)
        self._window.add(self._now_s, value_mm)
        return self._stands()

    def _act(self, name: str, argument: str | None, stand: Any) -> list[Event]:
        if self.rests and name in ("accept", "skip"):
            return []
        return super()._act(name, argument, stand)
