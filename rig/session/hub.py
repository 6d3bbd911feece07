"""The session's side of a site: the claim of its job, what rods say, what they are told."""

import asyncio
import json
import secrets
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rig.devices.clock import Clock
from rig.devices.profile import Profile
from rig.devices.site import NOBODY, Account, Link, Message, Will
from rig.errors import JobHeld
from rig.events import (
    Armed,
    Ask,
    AskMarker,
    Check,
    Event,
    Heard,
    Next,
    NextBatch,
    NextMarker,
    Picture,
    Prompt,
    Rest,
    Standing,
)
from rig.language import say
from rig.session.ear import Ear
from rig.session.items import FromRod
from rig.session.run import Sink

if TYPE_CHECKING:
    from rig.session.scene import Scene

RETAINED_S = 0.3
READ_BACK_S = 0.5
ASK_S, ASK_FIRST_S = 2.0, 0.1
"""How often a box is asked for its clock, and how often at first."""
FIRST_ASKED = 6
TOLD_S = 5
STANDS_AT = (Next, NextMarker, NextBatch, Armed, Prompt, Check, Rest, Ask, AskMarker)
"""What a rod stands at: a box that comes late is told the last of these."""
NOT_TOLD = (Heard, Standing, Picture)
"""What a box does not need: it reads its rod itself."""


@dataclass
class _Rod:
    """A rod as it was seen on the site."""

    job: str = ""
    is_here: bool = False
    asked: int = 0
    asked_s: float = -1e9


class Hub(Sink):
    """A session on a site.

    To be made in the session's event loop. As a sink it tells each rod what is its own.

    Parameters
    ----------
    account : Account
        Of a session.
    job : str
        The job's `uid`.
    clock : Clock
        Of the session.
    rods : sequence of str
        Those that take part; without any, all that are there.
    usual : Profile, optional
        How a rod speaks whose box does not tell.
    push : callable
        Takes each item.
    """

    def __init__(
        self,
        account: Account,
        job: str,
        clock: Clock,
        rods: Iterable[str],
        usual: Profile | None,
        push: Callable[[FromRod], None],
    ) -> None:
        self._account, self._job, self._clock, self._usual = account, job, clock, usual
        self._wanted, self._push = tuple(rods), push
        self.session = secrets.token_hex(8)
        self.ears: dict[str, Ear] = {name: Ear(name, usual) for name in self._wanted}
        self._seen: dict[str, _Rod] = {name: _Rod() for name in self._wanted}
        self._claims: dict[str, str] = {}
        self._asked: dict[bytes, tuple[str, float]] = {}
        self._now: dict[str, Event] = {}
        self._stale: set[str] = set()  # rods whose retained word is not that of now
        self._sections: dict[str, bytes] = {}
        self._has_claim = False
        self.taken_over = asyncio.Event()
        self._link = Link(
            account, self._hear, will=Will(topic=f"{job}/session", payload=b""), came=self._came
        )

    async def open(self, take_over: bool) -> None:
        """Reach the site and claim the job.

        Raises
        ------
        DeviceUnavailable
            Where there is no site, or it does not let us in.
        JobHeld
            Where another session has the job.
        """
        self._link.subscribe("+/session", "+/rod/+/link", f"{self._job}/rod/+/said")
        self._link.subscribe(f"{self._job}/rod/+/act", f"{self._job}/clock/{self.session}")
        await self._link.open()
        await asyncio.sleep(RETAINED_S)
        if self._claims.get(self._job) and not take_over:
            raise JobHeld(
                say(
                    "Another session on this site is at work on the job: end it first, or end it "
                    "from here with --take-over."
                )
            )
        self._has_claim = True
        self._tell_claim()
        await asyncio.sleep(READ_BACK_S)
        if self._claims.get(self._job) != self.session:
            raise JobHeld(
                say("Another session on this site has claimed the job at the same moment.")
            )
        for name in self.ears:
            self._call(name)
        self._tell_sections()

    async def close(self) -> None:
        """Give the job back, take back what was retained, and say goodbye."""
        if self._has_claim and not self.taken_over.is_set():
            for name in self.ears:
                self._link.tell(f"{self._job}/rod/{name}/now", b"", retained=True)
            for name in self._sections:
                self._link.tell(f"{self._job}/now/{name}", b"", retained=True)
            self._link.tell(f"{self._job}/session", b"", retained=True)
        await self._link.close()

    @property
    def is_up(self) -> bool:
        """Whether the site is there."""
        return self._link.is_up

    def tick(self) -> None:
        """Let time go by: silent rods are lost, clocks are asked for."""
        now_s, utc_s = self._clock.now()
        for name in tuple(self._stale):
            self._tell_now(name)
        for name, ear in self.ears.items():
            for item in ear.tick(now_s, utc_s):
                self._push(item)
            seen = self._seen[name]
            every_s = ASK_FIRST_S if seen.asked < FIRST_ASKED else ASK_S
            if seen.is_here and now_s - seen.asked_s >= every_s:
                self._ask(name, seen, now_s)

    # --- what is told -----------------------------------------------------------------------

    def hear(self, event: Event) -> None:
        """Tell a rod what is its own, and all what is everybody's."""
        if isinstance(event, NOT_TOLD):
            return
        payload = json.dumps(event.as_json(), allow_nan=False).encode()
        for name in self.ears if event.rod is None else (event.rod,):
            if isinstance(event, STANDS_AT):
                self._now[name] = event
                if isinstance(event, Prompt):  # for those that come late; told is told at once
                    self._stale.add(name)
                else:
                    self._tell_now(name)
            said = {"s": self.session}
            self._link.tell(f"{self._job}/rod/{name}/told", payload, expires_s=TOLD_S, said=said)

    def show(self, scene: "Scene", changed: Iterable[str], of: str = "") -> None:
        """Tell screens what changed of what a page shows, of one rod or of all."""
        for name, told in scene.sections.told(set(changed)).items():
            topic = f"{of}/{name}" if of else name
            payload = json.dumps(told, allow_nan=False).encode()
            if self._sections.get(topic) != payload:
                self._sections[topic] = payload
                self._link.tell(f"{self._job}/now/{topic}", payload, retained=True)

    def _tell_now(self, name: str) -> None:
        self._stale.discard(name)
        event = self._now.get(name) or Rest(rod=name)
        payload = json.dumps(event.as_json(), allow_nan=False).encode()
        told = {"s": self.session}
        self._link.tell(f"{self._job}/rod/{name}/now", payload, retained=True, said=told)

    def _tell_claim(self) -> None:
        told = {"session": self.session, "since": round(self._clock.now()[1], 3)}
        self._link.tell(f"{self._job}/session", json.dumps(told).encode(), retained=True)

    def _call(self, name: str) -> None:
        """Have a box come to this job."""
        self._tell_now(name)

    def _came(self) -> None:
        """Publish all anew that a broker may have forgotten."""
        if not self._has_claim or self.taken_over.is_set():
            return
        self._tell_claim()
        for name in self.ears:
            self._tell_now(name)
        self._tell_sections()

    def _tell_sections(self) -> None:
        for topic, payload in self._sections.items():
            self._link.tell(f"{self._job}/now/{topic}", payload, retained=True)

    def _ask(self, name: str, seen: _Rod, now_s: float) -> None:
        ticket = secrets.token_bytes(6)
        while len(self._asked) > 200:
            self._asked.pop(next(iter(self._asked)))
        self._asked[ticket] = (name, self._clock.now()[0])
        seen.asked, seen.asked_s = seen.asked + 1, now_s
        answer_to, ask = f"{self._job}/clock/{self.session}", f"{self._job}/rod/{name}/ask"
        self._link.tell(ask, b"", qos=0, answer_to=answer_to, ticket=ticket)

    # --- what comes -------------------------------------------------------------------------

    def _hear(self, message: Message) -> None:
        job, *rest = message.topic
        now_s, utc_s = self._clock.now()
        match rest:
            case ["session"]:
                self._heard_claim(job, message.payload)
            case ["rod", name, "link"]:
                self._heard_link(job, name, message.payload, now_s, utc_s)
            case ["rod", name, "said"]:
                ear = self._ear(name)
                if ear is not None:
                    self._pass_on(ear.said(message.payload, message.said, now_s, utc_s))
            case ["rod", name, "act"] if name in self.ears:
                self._pass_on(self.ears[name].act(message.payload, utc_s))
            case ["clock", _]:
                self._heard_clock(message, now_s, utc_s)

    def _pass_on(self, items: Iterable[FromRod]) -> None:
        for item in items:
            self._push(item)

    def _ear(self, name: str) -> Ear | None:
        """Return what hears a rod, where it takes part."""
        if name not in self.ears and not self._wanted:
            self.ears[name] = Ear(name, self._usual)
            self._seen.setdefault(name, _Rod())
            if self._has_claim:
                self._call(name)
        return self.ears.get(name)

    def _heard_claim(self, job: str, payload: bytes) -> None:
        told = _json(payload).get("session")
        before, self._claims[job] = self._claims.get(job, ""), str(told or "")
        if job != self._job:
            if not self._claims[job]:
                self._look_for_free(job)
            return
        if not self._has_claim or told == self.session:
            return
        if told is None:
            self._tell_claim()  # another's last word, or a broker that forgot
        elif before == self.session:
            self.taken_over.set()

    def _look_for_free(self, job: str) -> None:
        """Take in rods of a job whose session has ended."""
        for name, seen in list(self._seen.items()):
            if seen.job == job and seen.is_here:
                self._ear(name)

    def _heard_link(self, job: str, name: str, payload: bytes, now_s: float, utc_s: float) -> None:
        seen = self._seen.setdefault(name, _Rod())
        if not payload:  # it goes over to another job
            return
        seen.job, seen.is_here = job, _json(payload).get("link") == "here"
        seen.asked, seen.asked_s = 0, -1e9
        is_free = job in (NOBODY, self._job) or not self._claims.get(job)
        ear = self._ear(name) if is_free and seen.is_here else self.ears.get(name)
        if ear is not None and job in (NOBODY, self._job):
            self._pass_on(ear.linked(payload, now_s, utc_s))
            if job == self._job and seen.is_here:
                self._ask(name, seen, now_s)

    def _heard_clock(self, message: Message, now_s: float, utc_s: float) -> None:
        asked = self._asked.pop(message.ticket, None)
        box_s = _json(message.payload).get("t")
        if asked is not None and isinstance(box_s, int | float):
            name, asked_s = asked
            if name in self.ears:
                self._pass_on(self.ears[name].answered(asked_s, float(box_s), now_s, utc_s))


def _json(payload: bytes) -> dict[str, object]:
    try:
        told = json.loads(payload)
    except ValueError:
        return {}
    return told if isinstance(told, dict) else {}
