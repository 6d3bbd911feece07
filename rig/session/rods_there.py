"""Which rods are at a site: looked at for a moment, from beside."""

import asyncio
import json
import secrets
from dataclasses import dataclass, field

from rig.devices.box_time import BoxTime
from rig.devices.clock import Clock
from rig.devices.site import Account, Link, Message
from rig.record import OMITTED, Record

ASK_S = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class RodThere(Record):
    """A rod as it is seen on the site.

    `offset_s` is what the box's clock is behind this computer's, `doubt_s` how far that may be off.
    """

    rod: str
    link: str
    rate_hz: float
    offset_s: float | None
    doubt_s: float | None
    missed: int
    doubled: int
    job: str | None = None
    battery_percent: int | None = field(default=None, metadata=OMITTED)


class Count:
    """The box's own count: what did not arrive, and what came twice."""

    def __init__(self) -> None:
        self.last: int | None = None
        self.boot = ""
        self.missed = self.doubled = self.messages = 0

    def see(self, n: int, boot: str) -> int | None:
        """Take a count; return how many are missing before it, or None where it came before."""
        if boot != self.boot:
            self.last, self.boot = None, boot
        last, missing = self.last, 0
        if last is not None and n <= last:
            self.doubled += 1
            return None
        if last is not None:
            missing = n - last - 1
        self.missed += missing
        self.messages += 1
        self.last = n
        return missing


def count_of(message: Message) -> int | None:
    """Return a message's count, None where it bears none."""
    told = message.said.get("n", "")
    return int(told) if told.isascii() and told.isdigit() and len(told) < 16 else None


class _Seen:
    def __init__(self) -> None:
        self.link, self.job = "gone", ""
        self.battery: int | None = None
        self.count, self.clock = Count(), BoxTime()


async def rods_there(account: Account, look_s: float) -> list[RodThere]:
    """Look for so long, and tell what was seen.

    Raises
    ------
    DeviceUnavailable
        Where there is no site, or it does not let us in.
    """
    rods: dict[str, _Seen] = {}
    asked: dict[bytes, float] = {}
    steady = Clock()
    own = f"clock/{secrets.token_hex(4)}"

    def hear(message: Message) -> None:
        job, *rest = message.topic
        if rest[:1] == ["clock"]:
            _answered(rods, asked, message, steady.now()[0])
            return
        if rest[:1] != ["rod"]:
            return
        seen = rods.setdefault(rest[1], _Seen())
        if rest[2:] == ["said"]:
            n = count_of(message)
            if n is not None:
                seen.count.see(n, message.said.get("b", ""))
        elif rest[2:] == ["link"] and message.payload:
            told = _json(message.payload)
            seen.link, seen.job = str(told.get("link")), job
            percent = told.get("battery_percent")
            seen.battery = percent if isinstance(percent, int) else None

    link = Link(account, hear)
    link.subscribe("+/rod/+/link", "+/rod/+/said", "+/clock/+")
    try:
        await link.open()
        until_s = steady.now()[0] + look_s
        while (now_s := steady.now()[0]) < until_s:
            for name, seen in rods.items():
                if seen.link == "here":
                    ticket = secrets.token_bytes(6)
                    asked[ticket] = now_s
                    answer_to, ask = f"{seen.job}/{own}", f"{seen.job}/rod/{name}/ask"
                    link.tell(ask, b"", qos=0, answer_to=answer_to, ticket=ticket)
            await asyncio.sleep(ASK_S)
    finally:
        await link.close()
    return [_told(name, seen, look_s, steady.now()[0]) for name, seen in sorted(rods.items())]


def _answered(
    rods: dict[str, _Seen], asked: dict[bytes, float], message: Message, now_s: float
) -> None:
    asked_s, told = asked.pop(message.ticket, None), _json(message.payload)
    box_s, seen = told.get("t"), rods.get(str(told.get("rod")))
    if asked_s is not None and seen is not None and isinstance(box_s, float):
        seen.clock.answered(asked_s, box_s, now_s)


def _told(name: str, seen: _Seen, look_s: float, now_s: float) -> RodThere:
    known = seen.clock.is_known
    return RodThere(
        rod=name,
        link=seen.link,
        rate_hz=round(seen.count.messages / look_s, 2),
        offset_s=seen.clock.offset_s if known else None,
        doubt_s=seen.clock.doubt_s(now_s) if known else None,
        missed=seen.count.missed,
        doubled=seen.count.doubled,
        job=None if seen.job in ("", "-") else seen.job,
        battery_percent=seen.battery,
    )


def _json(payload: bytes) -> dict[str, object]:
    try:
        told = json.loads(payload)
    except ValueError:
        return {}
    return told if isinstance(told, dict) else {}
