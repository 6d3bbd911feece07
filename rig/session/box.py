"""The box at a rod: sends on what the rod says, shows what the session tells, and counts.

It decides nothing. What it cannot send it counts all the same, so that the session sees the gap.
"""

import asyncio
import json
import secrets
from collections import deque
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass

from rig.devices.clock import Clock
from rig.devices.profile import Profile
from rig.devices.reading import Battery, Lost, Notice, Reading
from rig.devices.site import NOBODY, Account, Link, Message, Will
from rig.errors import DeviceUnavailable
from rig.events import Event, LinkBack, LinkLost, Noticed, event_from
from rig.session.items import PORT, Act, Item
from rig.session.run import Sink, Stream

HELD_S = 1.0
"""What is not older than this when the link comes back is sent after all."""
SAID_S, TOLD_S = 10, 5
"""Seconds after which a message that did not arrive is of no use any more."""
NO_LINK = "no link"


@dataclass(frozen=True)
class _Held:
    """A message on its way to the session."""

    at_s: float
    payload: bytes
    said: dict[str, str]


class Box:
    """One box, from the first link to the last.

    Parameters
    ----------
    account : Account
    name : str
        Of the rod.
    profile : Profile
        How it speaks; the session reads what it says by that.
    clock : Clock
        The box's steady clock.
    sinks : sequence of Sink
        Screens at the box.
    """

    def __init__(
        self, account: Account, name: str, profile: Profile, clock: Clock, sinks: Sequence[Sink]
    ) -> None:
        self._account, self._name, self._profile = account, name, profile
        self._clock, self._sinks = clock, sinks
        self._boot = secrets.token_hex(4)
        self._n = 0
        self._job = NOBODY
        self._claims: dict[str, str] = {}  # of each job, the session that has it
        self._called: dict[str, str] = {}  # of each job, the session that calls this rod
        self._held: deque[_Held] = deque()
        self._battery: int | None = None
        self._gone_s: float | None = None
        self._moved = asyncio.Event()
        self._link = self._linked()

    async def run(self, rod: Stream, keys: AsyncIterator[Item] | None = None) -> None:
        """Work until the rod's stream ends or the task is cancelled.

        Raises
        ------
        DeviceUnavailable
            Where rod or site cannot be reached at the start.
        """
        tasks = []
        try:
            await self._link.open()
            tasks = [asyncio.create_task(self._follow()), asyncio.create_task(self._beat())]
            if keys is not None:
                tasks.append(asyncio.create_task(self._heed(keys, rod)))
            async for item in rod:
                self._take(item)
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            self._tell_link("gone")
            await self._link.close()

    # --- the rod ----------------------------------------------------------------------------

    def _take(self, item: Item) -> None:
        match item:
            case Reading():
                self._send(item)
            case Lost():
                self._n += 1  # what comes next does not go with what came before
                self._show(LinkLost(time_s=item.time_s, reason=item.reason))
            case Battery():
                self._battery = item.percent
                self._tell_link("here")
            case Notice():
                self._show(Noticed(time_s=item.time_s, text=item.text, port=item.offers))

    def _send(self, reading: Reading) -> None:
        self._n += 1
        is_line = self._profile.framing == "line"
        payload = reading.raw.encode("latin-1") if is_line else bytes.fromhex(reading.raw)
        said = {"n": str(self._n), "t": f"{reading.time_s:.6f}", "b": self._boot}
        self._held.append(_Held(self._clock.now()[0], payload, said))
        self._flush()

    def _flush(self) -> None:
        """Send what waits, but nothing old."""
        since_s = self._clock.now()[0] - HELD_S
        while self._held and self._held[0].at_s < since_s:
            self._held.popleft()
        while self._held and self._link.is_up:
            one = self._held.popleft()
            self._link.tell(self._of("said"), one.payload, said=one.said, expires_s=SAID_S)

    # --- the site ---------------------------------------------------------------------------

    def _of(self, what: str) -> str:
        return f"{self._job}/rod/{self._name}/{what}"

    def _linked(self) -> Link:
        gone = json.dumps({"link": "gone", "boot": self._boot}).encode()
        link = Link(
            self._account,
            self._hear,
            will=Will(topic=self._of("link"), payload=gone),
            came=self._came,
            went=self._went,
        )
        mine = [f"+/rod/{self._name}/{what}" for what in ("now", "told", "ask")]
        link.subscribe("+/session", *mine)
        return link

    def _tell_link(self, state: str) -> None:
        told: dict[str, str | float] = {
            "link": state,
            "boot": self._boot,
            "profile": self._profile.text_toml,
        }
        if self._profile.clamp_mm is not None:
            told |= {"clamp_mm": self._profile.clamp_mm}
        if self._battery is not None:
            told |= {"battery_percent": self._battery}
        self._link.tell(self._of("link"), json.dumps(told).encode(), retained=True)

    def _came(self) -> None:
        self._tell_link("here")
        if self._gone_s is not None:
            now_s = self._clock.now()[0]
            self._show(LinkBack(time_s=now_s, gap_s=now_s - self._gone_s))
            self._gone_s = None
        self._flush()

    def _went(self) -> None:
        self._gone_s = self._clock.now()[0]
        self._show(LinkLost(time_s=self._gone_s, reason=NO_LINK))

    async def _follow(self) -> None:
        """Go over to a job whose session calls, under a will of that job's."""
        while True:
            await self._moved.wait()
            self._moved.clear()
            job = self._wanted()
            if job == self._job or not self._link.is_up:
                continue
            self._link.tell(self._of("link"), b"", retained=True)
            await self._link.close()
            self._job = job
            self._link = self._linked()
            while not self._link.is_up:
                try:
                    await self._link.open()
                except DeviceUnavailable:  # the broker went meanwhile
                    await asyncio.sleep(HELD_S)

    def _wanted(self) -> str:
        """The job to work for: the one there is, while it has a session; else one that calls."""
        if self._claims.get(self._job):
            return self._job
        calling = [job for job, one in self._called.items() if one and self._claims.get(job) == one]
        return calling[0] if calling else self._job

    async def _beat(self) -> None:
        while True:
            await asyncio.sleep(0.1)
            self._flush()
            for sink in self._sinks:
                sink.tick()

    def _hear(self, message: Message) -> None:
        job, *rest = message.topic
        if rest == ["session"]:
            self._claims[job] = _text(message.payload, "session")
            self._moved.set()
            return
        what = rest[-1]
        if what == "ask":
            self._answer(message)
            return
        if what == "now":
            self._called[job] = message.said.get("s", "")
            self._moved.set()
        from_session = message.said.get("s", "")
        if job == self._job and from_session == self._claims.get(job):
            event = event_from(message.payload)
            if event is not None and (what == "told" or message.retained):
                self._show(event)

    def _answer(self, message: Message) -> None:
        if message.answer_to:
            told = {"t": self._clock.now()[0], "boot": self._boot, "rod": self._name}
            answer = json.dumps(told).encode()
            self._link.tell(message.answer_to, answer, qos=0, ticket=message.ticket)

    async def _heed(self, keys: AsyncIterator[Item], rod: Stream) -> None:
        """Send on what is done at the box."""
        async for act in keys:
            if not isinstance(act, Act):
                continue
            if act.name == PORT:
                rod.take_offer()
                continue
            told = {"act": act.name, "argument": act.argument, "id": secrets.token_hex(8)}
            if not self._link.tell(self._of("act"), json.dumps(told).encode(), expires_s=TOLD_S):
                self._show(LinkLost(time_s=act.time_s, reason=NO_LINK))

    def _show(self, event: Event) -> None:
        for sink in self._sinks:
            sink.hear(event)


def _text(payload: bytes, key: str) -> str:
    try:
        told = json.loads(payload)
        return str(told[key])
    except (ValueError, KeyError, TypeError):
        return ""
