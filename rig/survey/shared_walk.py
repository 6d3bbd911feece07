"""The walk of one of several rods: it goes where it is sent, and rests where nothing is left."""

from collections.abc import Collection, Iterable, Sequence
from typing import Any

from rig.survey.capture import Capture
from rig.survey.round import Round
from rig.survey.stand import HeldReading, Stand

CLAIM = "claim"
"""The act that sends a rod to the point of its argument; without one it is to rest."""


class _SentRound(Round):
    """A round whose next stand is said from outside, one at a time."""

    def send(self, label: str | None) -> bool:
        """Ask for this stand and no other; return whether there is one."""
        self._open.clear()
        at = None if label is None else self._find(label)
        if at is None:
            return False
        self._open.add(at)
        return super().go_to(self._stands[at].label)

    def go_to(self, label: str) -> bool:
        """Ask for a stand by its label; return whether there is one."""
        return self._find(label) is not None and self.send(label)

    def undo(self) -> tuple[str, str] | None:
        """Take back the last shot or skip, and go there; return which it was and the label."""
        undone = super().undo()
        if undone is not None:
            self.send(undone[1])
        return undone

    def reopen(self, labels: Collection[str], back: Iterable[str] = ()) -> None:
        """Forget the shots of these labels; who shoots them again is said from outside."""
        asked = set(self._open)
        super().reopen(labels)
        self._open &= asked


class SharedWalk(Capture):
    """A survey as `Capture` is, of all that its rod may be sent to."""

    def __init__(self, stands: Sequence[Stand], **given: Any) -> None:
        begun = given.get("begun")
        super().__init__(stands, **given)
        done = [stand.label for stand in stands]
        self._round = _SentRound(stands, done, begun is None or begun.undoes_skips)

    @property
    def rests(self) -> bool:
        """Whether it waits to be sent somewhere."""
        asked = self._round.is_open or self._line.pending is not None
        return not (self.finished or asked or self._quitting)

    def act(self, name: str, time_s: float, argument: str | None = None) -> list[Any]:
        """Do what is asked for; to be sent somewhere is one more act."""
        if name != CLAIM:
            return super().act(name, time_s, argument)
        if self._begin(time_s) and self._settle_presses():
            self._send(argument)
        return self._told()

    def _send(self, label: str | None) -> None:
        assert isinstance(self._round, _SentRound)
        if self._round.send(label):
            self._go_on(self._now_s)

    def _go_on(self, time_s: float) -> None:
        if self._quitting or self._round.is_open:
            super()._go_on(time_s)
        else:
            self._patience.interrupt()
            self._patience.armed_s = None

    def _judge(self, time_s: float) -> None:
        if not self.rests:
            super()._judge(time_s)

    def _shoot(self, height: HeldReading, sure: bool = False) -> None:
        if not self.rests:
            super()._shoot(height, sure)

    def _tell_armed(self, time_s: float) -> None:
        if not self.rests:
            super()._tell_armed(time_s)
