"""The session of several rods of a site: one machine a rod, one log, one sharing.

It is the loop of `rig.session.run`, which never waits for a disk; what comes of a rod goes to that
rod's machine, what a machine says bears the rod's name, and who rests is sent on.
"""

import asyncio
import contextlib
from collections import deque
from collections.abc import AsyncIterator, Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from rig.devices.clock import Clock
from rig.devices.reading import AWAKE, Battery, Lost, Reading
from rig.errors import BadInput, JobHeld
from rig.events import (
    Claim,
    Event,
    Jolted,
    Noticed,
    Rest,
    SetDone,
    SetUp,
    SurveyDone,
    Trouble,
)
from rig.language import say
from rig.session.hub import Hub
from rig.session.items import Act, Clocked, End, FromRod, Item, Late, Log, Missing
from rig.session.rods_log import RodsLog
from rig.session.rods_work import Leg, Work, follow
from rig.session.run import (
    TICK_S,
    Machine,
    Run,
    Sink,
    Stream,
    announcements,
    doubts,
    run,
    step,
)
from rig.survey.setups import stand_of
from rig.survey.shared_walk import CLAIM
from rig.words.rods import done_at_the_rod, is_anothers, nobody_yet

if TYPE_CHECKING:
    from rig.devices.profile import Profile
    from rig.devices.site import Account

NOBODY_S = 3.0
"""After so long without a rod that is said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteWish:
    """Which site, which of its rods, and whether another session is ended for this one."""

    account: "Account"
    rods: tuple[str, ...] = ()
    take_over: bool = False
    usual: "Profile | None" = None


class _Together:
    """All machines as one, for the loop: it begins with nothing and ends when told."""

    def __init__(self) -> None:
        self.finished = False

    def start(self, time_s: float) -> tuple[()]:
        """Nothing comes first: each rod begins once it is heard."""
        return ()

    def reading(self, reading: object) -> tuple[()]:
        """Never asked."""
        return ()

    def typed(self, value_mm: float, stderr_mm: float, time_s: float) -> tuple[()]:
        """Never asked."""
        return ()

    def act(self, name: str, time_s: float, argument: str | None = None) -> tuple[()]:
        """Never asked: acts go to the rods."""
        return ()

    lost = back = tick = start


@dataclass
class _Rod:
    """One rod in the session."""

    name: str
    leg: Leg | None = None
    waiting: deque[FromRod] = field(default_factory=deque)
    rests: bool = False
    leaves: bool = False  # by hand
    closing: bool = False  # for nothing is left
    done: bool = False


class RodsRun(Run):
    """One session of several rods while it runs."""

    def __init__(
        self,
        work: Work,
        wish: SiteWish,
        streams: Sequence[Stream],
        sinks: Sequence[Sink],
        clock: Clock,
        on_hub: Callable[[Hub], Iterable[Sink]] = lambda hub: (),
    ) -> None:
        self._work, self._wish, self._rods_log = work, wish, RodsLog(work)
        self._together = _Together()
        self._steady = clock
        job = work.job.uid
        self._hub = Hub(wish.account, job, clock, wish.rods, wish.usual, self._push)
        everybody = [*sinks, self._hub, *on_hub(self._hub)]
        first = Stream(self._watch_the_claim())
        super().__init__(self._together, [first, *streams], self._rods_log, everybody, clock, None)
        self._rods: dict[str, _Rod] = {}
        self._overrun: dict[str, int] = {}  # of each rod, messages that nobody had time for
        self._ticked_s = 0.0
        self._nobody_told = False
        self._quits = False

    @property
    def shots(self) -> int:
        """How many shots were taken."""
        return self._rods_log.shots

    async def go(self) -> None:
        """Run it.

        Raises
        ------
        DeviceUnavailable
            Where there is no site, or it does not let us in.
        JobHeld
            Where another session has the job, or took it over.
        """
        try:
            await self._hub.open(self._wish.take_over)
            await super().go()
        finally:
            await self._hub.close()

    # --- what comes in ----------------------------------------------------------------------

    def _push(self, item: FromRod) -> None:
        try:
            if item.rod in self._overrun:
                missing = Missing(item.time_s, self._steady.now()[1], self._overrun[item.rod])
                self._queue.put_nowait(FromRod(item.rod, missing))
                del self._overrun[item.rod]
            self._queue.put_nowait(item)
        except asyncio.QueueFull:
            self._overrun[item.rod] = self._overrun.get(item.rod, 0) + 1

    async def _watch_the_claim(self) -> AsyncIterator[Item]:
        """End the session once another has taken it over; nothing else comes by here."""
        await self._hub.taken_over.wait()
        raise JobHeld(say("Another session has taken this job over; what was shot here is kept."))
        yield End(0.0)

    def _work_off(self, item: Item) -> Sequence[Event]:
        if not isinstance(item, FromRod):
            return self._for_all(item)
        rod = self._rods.setdefault(item.rod, _Rod(item.rod))
        if rod.leg is None:
            if not rod.done and not isinstance(item.item, Lost | Late):
                rod.waiting.append(item)
            return ()
        if isinstance(item.item, Act) and not self._may(rod, item.item):
            return ()
        return self._from_rod(rod, item)

    def _from_rod(self, rod: _Rod, item: FromRod) -> Sequence[Event]:
        leg = rod.leg
        assert leg is not None
        self._end_s = item.time_s
        self._writer.item(item)
        self._tell(announcements(item))
        if isinstance(item.item, Lost):
            self._work.sharing.gone(rod.name, item.time_s)
        elif not isinstance(item.item, Clocked | Battery):
            self._work.sharing.back(rod.name)
        found = doubts(leg.guard, item) if leg.guard is not None else ()
        came = step(leg.machine, item)
        self._take(rod, leg, [*found, *came], item)
        return came

    def _take(self, rod: _Rod, leg: Leg, events: Sequence[Event], item: Item | None) -> None:
        """Tell what came of a rod, let the sharing know, and send the rod on where it rests."""
        told: list[Event] = []
        for event in events:
            follow(self._work.sharing, rod.name, event)
            if isinstance(event, SurveyDone | SetDone):
                if leg.ties:
                    continue  # the walk comes after it
                if leg.guard is not None:
                    event = leg.guard.counts.told(event)
            told.append(replace(event, rod=rod.name))
            if isinstance(event, SetUp):
                self._work.stand = stand_of(event.name)
        if told or item is not None:
            self._hear(told, item)
        if any(isinstance(event, Jolted | SetUp) for event in events):
            self._warn_others(rod)
        self._send_on(rod)

    def _with_doubts(self, events: Iterable[Event]) -> Iterator[Event]:
        """Yield events, each with what its rod's guard says to it behind it."""
        for event in events:
            yield event
            rod = self._rods.get(event.rod or "")
            guard = rod.leg.guard if rod is not None and rod.leg is not None else None
            if guard is not None and not isinstance(event, Claim | Rest):
                found = guard.event(event)
                yield from self._with_doubts(replace(one, rod=event.rod) for one in found)

    def _warn_others(self, rod: _Rod) -> None:
        """Have the other rods look at the benchmark: the laser that all go by has moved."""
        for other in self._rods.values():
            if other is not rod and other.leg is not None and not other.leg.machine.finished:
                self._from_rod(other, self._act(other, AWAKE))

    def _act(self, rod: _Rod, name: str, argument: str | None = None) -> FromRod:
        """Return an act at the time up to which the rod is known."""
        ear = self._hub.ears[rod.name]
        return FromRod(rod.name, Act(ear.line_s, self._steady.now()[1], name, argument))

    # --- who goes where ---------------------------------------------------------------------

    def _send_on(self, rod: _Rod) -> None:
        leg, sharing = rod.leg, self._work.sharing
        if leg is None or leg.machine.finished:
            self._look_whether_done(rod)
            return
        if not leg.rests or rod.leaves or (rod.closing and sharing.is_done):
            return
        rod.closing = False
        if self._several and not leg.tied and not sharing.is_done:
            rod.leg = None  # another rod came: this one is tied to it first
            return
        label = sharing.ask(rod.name)
        if label is not None:
            self._claim(rod, label)
        elif not rod.rests:
            rod.rests = True
            self._hear([Rest(rod=rod.name)])
        if sharing.is_done:
            self._end_all()

    def _claim(self, rod: _Rod, label: str) -> None:
        rod.rests = False
        self._hear([Claim(rod=rod.name, label=label)])
        self._from_rod(rod, self._act(rod, CLAIM, label))

    @property
    def _several(self) -> bool:
        return len(self._rods) > 1 or len(self._hub.ears) > 1

    def _look_whether_done(self, rod: _Rod) -> None:
        leg = rod.leg
        if leg is not None and leg.machine.finished:
            if leg.ties and not rod.leaves:
                rod.leg = None  # its walk begins
                return
            rod.done = True
            self._work.sharing.drop(rod.name)
        working = [one for one in self._rods.values() if not one.done]
        self._together.finished = not working

    def _end_all(self) -> None:
        """Nothing is left: each rod ends, with a last sight where its line is checked."""
        for rod in list(self._rods.values()):
            if rod.leg is not None and rod.leg.rests and not (rod.closing or rod.leaves):
                rod.closing = True
                self._from_rod(rod, self._act(rod, "quit"))

    def _may(self, rod: _Rod, act: Act) -> bool:
        """Whether an act of a rod may be done; where it goes elsewhere by hand, it has that."""
        if act.name == CLAIM:
            return False
        if act.name == "quit":
            rod.leaves = True
            return True
        if act.name != "goto":
            return True
        sharing = self._work.sharing
        label = sharing.find(act.argument or "")
        if label is None or sharing.take(rod.name, label):
            rod.rests = False
            return True
        holder = sharing.holder(label)
        text = is_anothers(str(holder), label)
        self._hear([Trouble(rod=rod.name, text=text, reason="goto")])
        return False

    def _for_all(self, item: Item) -> Sequence[Event]:
        """Take what is no rod's own: of keys, a page, or the clock."""
        if not isinstance(item, Act):
            return ()
        working = [rod for rod in self._rods.values() if rod.leg is not None and not rod.done]
        if item.name == "quit":
            if self._quits or not working:
                self._stopped = True
                return ()
            self._quits = True
            for rod in working:
                rod.leaves = True
                self._from_rod(rod, self._act(rod, "quit"))
            return ()
        if item.name == AWAKE or len(working) == 1:
            for rod in working:
                own = self._act(rod, item.name, item.argument)
                assert isinstance(own.item, Act)
                if self._may(rod, own.item):
                    self._from_rod(rod, own)
        elif len(working) > 1:
            self._tell([Noticed(time_s=item.time_s, text=done_at_the_rod())])
        return ()

    # --- time -------------------------------------------------------------------------------

    async def _let_time_go_by(self) -> None:
        await self._begin_once_reached()
        for sink in self._sinks:
            sink.tick()

    async def _heed_the_disk(self) -> None:
        await super()._heed_the_disk()
        now_s = self._steady.now()[0]
        if now_s - self._ticked_s >= TICK_S:
            self._ticked_s = now_s
            self._time_goes_by(now_s)
        for rod in list(self._rods.values()):
            if rod.leg is None and not rod.done and rod.waiting:
                await self._begin_leg(rod)

    def _time_goes_by(self, now_s: float) -> None:
        self._hub.tick()
        for name in self._work.sharing.tick(now_s):
            freed = self._rods.get(name)
            if freed is not None and freed.leg is not None:
                self._give_up(freed)
        for rod in list(self._rods.values()):
            leg = rod.leg
            if leg is not None and not leg.machine.finished:
                until_s = self._hub.ears[rod.name].ticks_to_s(now_s)
                self._take(rod, leg, leg.machine.tick(until_s), None)
        if not self._nobody_told and now_s > NOBODY_S and not self._rods:
            self._nobody_told = True
            self._tell([Noticed(time_s=now_s, text=nobody_yet())])

    def _give_up(self, rod: _Rod) -> None:
        """Have a rod that is long out of reach rest until it is back; others go where it was."""
        leg = rod.leg
        assert leg is not None
        rod.rests = True
        act = self._act(rod, CLAIM)
        self._writer.item(act)
        self._hear([replace(one, rod=rod.name) for one in step(leg.machine, act)], act)

    async def _begin_leg(self, rod: _Rod) -> None:
        """Begin a rod's next session; the job is nobody else's meanwhile."""
        self._writer.hand_over(flushes=True)
        await self._settle()
        if self._work.sharing.is_done:
            rod.done = True
            self._look_whether_done(rod)
            return
        ear = self._hub.ears[rod.name]
        leg = self._work.begin(rod.name, ear.profile, self._several)
        self._rods_log.begin_leg(rod.name, leg)
        rod.leg, rod.rests = leg, False
        start_s = rod.waiting[0].time_s
        self._take(rod, leg, leg.machine.start(start_s), None)
        while rod.waiting and rod.leg is leg:
            self._work_off_waiting(rod)

    def _work_off_waiting(self, rod: _Rod) -> None:
        item = rod.waiting.popleft()
        if not isinstance(item.item, Act) or self._may(rod, item.item):
            self._from_rod(rod, item)

    def _end(self) -> None:
        """Have every machine end as it is."""
        from rig.devices.reading import AT_ONCE

        self._end_s = self._steady.now()[0]
        for rod in list(self._rods.values()):
            leg = rod.leg
            if leg is None:
                continue
            rod.leaves = True
            self._from_rod(rod, FromRod(rod.name, End(self._hub.ears[rod.name].line_s)))
            if not leg.machine.finished:
                ended = leg.machine.act("quit", self._end_s, AT_ONCE)
                self._take(rod, leg, ended, None)


async def run_beside(
    machine: Machine,
    log: Log,
    job: str,
    wish: SiteWish,
    streams: Sequence[Stream],
    sinks: Sequence[Sink],
    clock: Clock,
) -> None:
    """Run one machine that the rods of a site act on together, as a pour is.

    Every box hears what it says; an act or a press of the button at any of them is done.

    Raises
    ------
    DeviceUnavailable, JobHeld, JobUnusable
    """
    _refuse_others(wish)
    came: asyncio.Queue[FromRod] = asyncio.Queue()
    hub = Hub(wish.account, job, clock, wish.rods, wish.usual, came.put_nowait)

    async def acts() -> AsyncIterator[Item]:
        while not hub.taken_over.is_set():
            with contextlib.suppress(TimeoutError):
                item = (await asyncio.wait_for(came.get(), TICK_S)).item
                if isinstance(item, Act):
                    yield Act(*clock.now(), item.name, item.argument)
                elif isinstance(item, Reading) and item.status == "button":
                    time_s, utc_s = clock.now()
                    yield item._replace(time_s=time_s, utc_s=utc_s)
            hub.tick()
        raise _taken_over()

    try:
        await hub.open(wish.take_over)
        await run(machine, [Stream(acts()), *streams], log, [*sinks, hub], clock)
    finally:
        await hub.close()


def _taken_over() -> JobHeld:
    return JobHeld(say("Another session has taken this job over; what was shot here is kept."))


def _refuse_others(wish: SiteWish) -> None:
    """Refuse an account that is not a session's."""
    if wish.account.role != "session":
        raise BadInput(
            say(
                "{name} is not the account of a session, which needs one of its own: rig site "
                "invite NAME --session.",
                name=wish.account.name,
            )
        )


async def run_rods(
    work: Work,
    wish: SiteWish,
    streams: Sequence[Stream],
    sinks: Sequence[Sink],
    clock: Clock,
    on_hub: Callable[[Hub], Iterable[Sink]] = lambda hub: (),
) -> int:
    """Run a session of several rods until all is done or a signal says stop; return its shots.

    Raises
    ------
    DeviceUnavailable, JobHeld, JobUnusable
    """
    _refuse_others(wish)
    rods = RodsRun(work, wish, streams, sinks, clock, on_hub)
    await rods.go()
    return rods.shots
