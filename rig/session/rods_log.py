"""The log of several rods: each rod's session in one job, and one picture of the floor."""

import contextlib
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from rig.errors import RigError
from rig.events import Drifted, Event, PutBack, SetUp, ShotTaken
from rig.session.items import FromRod, Item, Log
from rig.session.rods_work import Leg, Work
from rig.survey.heights import lines_of
from rig.survey.setups import stand_of

if TYPE_CHECKING:
    from rig.session.watcher import Watcher


class RodsLog(Log):
    """The sessions of all rods in one job, with one picture of the floor."""

    def __init__(self, work: Work) -> None:
        self._work = work
        self._legs: dict[str, Leg] = {}
        self._lines: dict[str, float] = {}
        self._watcher: Watcher | None = None
        self._watched = ""  # the set-up whose line the picture goes by
        self._shot_by: dict[str, str] = {}
        self.shots = 0

    def begin_leg(self, rod: str, leg: Leg) -> None:
        """Keep what comes of a rod in another session; nothing may be under way to the old one."""
        self._legs[rod] = leg
        if self._watcher is None and not leg.ties:
            self._watcher, self._watched = self._work.watcher(leg), leg.begun.setup
        self._lines = _lines(self._work)

    def item(self, item: Item) -> None:
        """Keep an item with its rod's session; what is nobody's, with each."""
        if isinstance(item, FromRod):
            if item.rod in self._legs:
                self._legs[item.rod].log.item(item)
        else:
            for leg in self._legs.values():
                leg.log.item(item)

    def holds(self, item: Item | None, events: Iterable[Event]) -> bool:
        """Nobody hears of a shot before it is on the disk."""
        told = list(events)
        return any(leg.log.holds(item, told) for leg in self._legs.values())

    def keep(self, *events: Event) -> None:
        """Commit what the machines decided, all or nothing."""
        with self.together():
            for rod, own in _by_rod(events):
                if rod in self._legs:
                    self._legs[rod].log.keep(*own)
                    for event in own:
                        self._watch(rod, event)

    def _watch(self, rod: str, event: Event) -> None:
        leg = self._legs[rod]
        if isinstance(event, SetUp):
            self._work.job.tell_stand(event.name, stand_of(event.name))
        if isinstance(event, ShotTaken) and not leg.ties:
            self.shots += 1
            self._shot_by[event.label] = rod
        if self._watcher is None or leg.ties or isinstance(event, SetUp):
            return
        # The picture knows one line: a shot is told as that would have read it.
        up_mm = self._lines.get(leg.begun.setup, 0.0) - self._lines.get(self._watched, 0.0)
        if isinstance(event, ShotTaken):
            event = replace(event, reading_mm=event.reading_mm - up_mm)
        elif isinstance(event, Drifted | PutBack):
            shots = (replace(shot, reading_mm=shot.reading_mm - up_mm) for shot in event.shots)
            event = replace(event, shots=tuple(shots))
        self._watcher.hear(event)

    def together(self) -> contextlib.AbstractContextManager[None]:
        """Make one change of all that is kept in the block."""
        return self._work.job.together()

    def news(self, last: bool = False) -> Iterable[Event]:
        """Tell what was found out beside the sessions, each with its rod."""
        for rod, leg in self._legs.items():
            for event in leg.log.news(last):
                yield replace(event, rod=rod)
        if self._watcher is not None:
            for told in self._watcher.news(last):
                label = getattr(told, "label", "")
                yield replace(told, rod=self._shot_by.get(label))

    def flush(self) -> None:
        """Commit what waits, of all sessions."""
        for leg in self._legs.values():
            leg.log.flush()


def _by_rod(events: Iterable[Event]) -> Iterator[tuple[str, list[Event]]]:
    """Yield events in their order, as runs of one rod's."""
    run: list[Event] = []
    for event in events:
        if run and run[-1].rod != event.rod:
            yield run[0].rod or "", run
            run = []
        run.append(event)
    if run:
        yield run[0].rod or "", run


def _lines(work: Work) -> dict[str, float]:
    try:
        job = work.job
        return {one.setup: one.line_mm for one in lines_of(job.shots(), "", job.setups())}
    except RigError:
        return {}
