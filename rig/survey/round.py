"""The stands of a walk: which have their shot, which were skipped, and what was done last."""

from collections.abc import Collection, Iterable, Sequence
from typing import Literal

from rig.survey.stand import Stand

_Step = tuple[Literal["shot", "skip"], int]


class Round:
    """Where a walk has come to.

    Parameters
    ----------
    stands : sequence of Stand
        In the order of the walk; labels differ.
    done : iterable of str
        Labels that have their shot already.
    undoes_skips : bool
        To undo takes back a skip too; the sessions of an older floor-rig went without.
    """

    def __init__(
        self, stands: Sequence[Stand], done: Iterable[str] = (), undoes_skips: bool = True
    ) -> None:
        self._undoes_skips = undoes_skips
        self._stands = list(stands)
        had = set(done)
        self._open = {i for i, stand in enumerate(self._stands) if stand.label not in had}
        self._skipped: list[int] = []
        self._steps: list[_Step] = []
        self._first: list[int] = []  # asked for before the walk goes on
        self._current = -1

    @property
    def here(self) -> Stand:
        """The stand that is asked for."""
        return self._stands[self._current]

    @property
    def is_open(self) -> bool:
        """Whether any stand is left."""
        return bool(self._open)

    @property
    def shots(self) -> int:
        """How many stands were shot."""
        return len({i for what, i in self._steps if what == "shot"})

    @property
    def skipped(self) -> tuple[str, ...]:
        """Labels of the stands that were passed over."""
        return tuple(self._stands[i].label for i in self._skipped)

    def take(self) -> None:
        """Note a shot of the stand that is asked for."""
        self._take(self._current)

    def take_at(self, label: str) -> None:
        """Note a shot of another stand, if it is one of the walk."""
        at = self._find(label)
        if at is not None:
            self._take(at)

    def skip(self) -> str | None:
        """Pass over the stand that is asked for; return its label if that changes anything."""
        i = self._current
        if i not in self._open:
            return None
        self._open.discard(i)
        self._skipped.append(i)
        if self._undoes_skips:
            self._steps.append(("skip", i))
        return self._stands[i].label

    def undo(self) -> tuple[str, str] | None:
        """Take back the last shot or skip, and go there; return which it was and the label."""
        if not self._steps:
            return None
        what, i = self._steps.pop()
        if what == "skip":
            self._skipped.remove(i)
        self._open.add(i)
        self._current = i
        return what, self._stands[i].label

    def go_to(self, label: str) -> bool:
        """Ask for a stand by its label; return whether there is one."""
        at = self._find(label)
        if at is None:
            return False
        if at in self._skipped:
            self._forget_skip(at)
            self._open.add(at)
        self._current = at
        return True

    def go_on(self) -> bool:
        """Ask for the next stand along the walk that has no shot; return whether there is one."""
        self._first = [i for i in self._first if i in self._open]
        if self._first:
            self._current = self._first[0]
            return True
        n = len(self._stands)
        for step in range(1, n + 1):
            i = (self._current + step) % n
            if i in self._open:
                self._current = i
                return True
        return False

    def put_back(self, labels: Iterable[str]) -> None:
        """Take the shots of these labels as made after all, before all that was done since."""
        found = [self._find(label) for label in labels]
        back = [i for i in found if i is not None]
        self._open -= set(back)
        self._steps[:0] = [("shot", i) for i in back]

    def reopen(self, labels: Collection[str], back: Iterable[str] = ()) -> None:
        """Forget the shots of these labels; those of `back` are asked for first, in that order."""
        gone = {i for i, stand in enumerate(self._stands) if stand.label in labels}
        found = [self._find(label) for label in back]
        self._first = [i for i in found if i is not None]
        self._open |= gone
        self._steps = [step for step in self._steps if step[1] not in gone]
        self._skipped = [i for i in self._skipped if i not in gone]

    def _take(self, i: int) -> None:
        if i in self._skipped:
            self._forget_skip(i)
        self._open.discard(i)
        self._steps.append(("shot", i))

    def _forget_skip(self, i: int) -> None:
        self._skipped.remove(i)
        if ("skip", i) in self._steps:
            self._steps.remove(("skip", i))

    def _find(self, label: str) -> int | None:
        wanted = label.strip().upper()
        labels = [stand.label.upper() for stand in self._stands]
        return labels.index(wanted) if wanted in labels else None
