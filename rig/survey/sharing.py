"""Who takes which point of a walk that several rods share: no I/O, and time comes with the news.

A rod is sent to the nearest point that nobody has shot or is on the way to; a rod that is alone
goes along the walk, as it would on a cable. What one rod has no other gets, until it is shot,
passed over or given up, or its rod was out of reach for long.
"""

import math
from collections.abc import Iterable, Mapping

FREED_S = 60.0
"""A point is free again once its rod has been out of reach for so long."""

Spot = tuple[float, float]


class Sharing:
    """The points of one walk, and which rod has which.

    Parameters
    ----------
    places : mapping of str to (x_mm, y_mm)
        Points or markers that are still to do, by label, in the order of the walk.
    known : mapping of str to (x_mm, y_mm)
        Others, done before: a rod may be sent there by hand.
    """

    def __init__(self, places: Mapping[str, Spot], known: Mapping[str, Spot] | None = None) -> None:
        self._places = {**(known or {}), **places}
        self._order = list(self._places)
        self._open = dict.fromkeys(places)
        self._passed: set[str] = set()
        self._has: dict[str, str] = {}  # rod -> label
        self._at: dict[str, str] = {}  # where each rod shot last
        self._rods: set[str] = set()
        self._gone_s: dict[str, float] = {}

    @property
    def is_done(self) -> bool:
        """Whether nothing is left, and nobody is on the way."""
        return not self._open and not self._has

    @property
    def left(self) -> tuple[str, ...]:
        """What is neither done nor passed over."""
        return tuple(self._open)

    @property
    def claims(self) -> dict[str, str]:
        """Which rod has which point."""
        return dict(self._has)

    def holder(self, label: str) -> str | None:
        """Return the rod that has a point, if any does."""
        return next((rod for rod, had in self._has.items() if had == label), None)

    def find(self, label: str) -> str | None:
        """Return a point's label as it is written here, or None where there is none."""
        wanted = label.strip().upper()
        return next((one for one in self._places if one.upper() == wanted), None)

    def ask(self, rod: str) -> str | None:
        """Give a rod the point it has, else the nearest free one; None where there is none."""
        if rod in self._has:
            return self._has[rod]
        if rod in self._gone_s:
            return None
        self._rods.add(rod)
        taken = set(self._has.values())
        free = [label for label in self._order if label in self._open and label not in taken]
        if not free:
            return None
        here = self._at.get(rod)
        if here is None:  # all begin where the walk begins
            label = free[0]
        elif len(self._rods) == 1:
            at = self._order.index(here)
            label = min(free, key=lambda one: (self._order.index(one) - at) % len(self._order))
        else:
            label = min(free, key=lambda one: math.dist(self._places[here], self._places[one]))
        self._has[rod] = label
        return label

    def take(self, rod: str, label: str) -> bool:
        """Give a rod a point that it went to by hand; False where another rod has it."""
        holder = self.holder(label)
        if holder not in (None, rod):
            return False
        self._has[rod] = label
        self._passed.discard(label)
        self._open.setdefault(label)
        return True

    def done(self, rod: str, label: str) -> None:
        """Hear that a rod has shot a point: it stands there now."""
        self._open.pop(label, None)
        self._passed.discard(label)
        self._leave(rod, label)

    def passed(self, rod: str, label: str) -> None:
        """Hear that a rod passes a point over: nobody is sent there again."""
        self._open.pop(label, None)
        self._passed.add(label)
        self._leave(rod, label)

    def undone(self, rod: str, label: str) -> None:
        """Hear that a rod has taken back a shot or a skip, and goes there."""
        if label in self._places:
            self.take(rod, label)

    def again(self, labels: Iterable[str]) -> None:
        """Hear that points are to be shot again."""
        for label in labels:
            if label in self._places:
                self._open.setdefault(label)

    def not_again(self, labels: Iterable[str]) -> None:
        """Hear that points stand after all."""
        for label in labels:
            self._open.pop(label, None)

    def gone(self, rod: str, time_s: float) -> None:
        """Hear that a rod is out of reach."""
        self._gone_s.setdefault(rod, time_s)

    def back(self, rod: str) -> None:
        """Hear that a rod is there again."""
        self._gone_s.pop(rod, None)

    def drop(self, rod: str) -> None:
        """Hear that a rod takes part no more."""
        self._has.pop(rod, None)
        self._rods.discard(rod)

    def tick(self, time_s: float) -> tuple[str, ...]:
        """Free what belongs to rods that are long out of reach; return those rods."""
        freed = tuple(
            rod
            for rod, since_s in self._gone_s.items()
            if rod in self._has and time_s - since_s >= FREED_S
        )
        for rod in freed:
            del self._has[rod]
        return freed

    def _leave(self, rod: str, label: str) -> None:
        if label in self._places:
            self._at[rod] = label
        for one in [one for one, had in self._has.items() if had == label]:
            del self._has[one]
