"""What a session hears of one rod of a site, made into items in the session's time: no I/O.

What is missing by the box's own count ends what came before; what came twice is dropped; what is
late is kept and not used. Times are the box's own, brought to the session's.
"""

import json
from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from rig.devices.box_time import BoxTime
from rig.devices.decoder import Decoder
from rig.devices.profile import Profile, load_profile, parse_profile, with_clamp
from rig.devices.reading import Back, Battery, Lost, Notice, Reading
from rig.errors import RigError
from rig.language import say
from rig.session.items import Act, Clocked, FromRod, Late, Missing
from rig.session.rods_there import Count
from rig.words.rods import box_has_no_link, cannot_be_read, nothing_came

LATE_S = 2.0
"""A message that is older is not made anything of."""
SILENT_S = 3.0
WAIT_FOR_CLOCK_S = 1.0
"""So long messages wait for the box's clock to be known."""
CLOCK_TOLD_S = 60.0
MOST_IDS = 512


@dataclass(frozen=True)
class _Waits:
    """A message as it came."""

    payload: bytes
    arrived_s: float
    utc_s: float
    box_s: float | None


class Ear:
    """One rod, as it is heard.

    Parameters
    ----------
    rod : str
    usual : Profile, optional
        How it speaks where its box does not tell; a `sentence` unless said.

    Attributes
    ----------
    profile : Profile
    is_here : bool
        Something came of it, and since then its link is not known to be gone.
    line_s : float
        The session's time up to which the rod is known: of its last message.
    """

    def __init__(self, rod: str, usual: Profile | None = None) -> None:
        self.rod = rod
        self.profile = usual or load_profile("sentence")
        self.is_here = False
        self.line_s = 0.0
        self.battery: int | None = None
        self._decoder = Decoder(self.profile)
        self._clock, self._count = BoxTime(), Count()
        self._boot = ""
        self._waiting: deque[_Waits] = deque()
        self._heard_s: float | None = None  # when something last arrived
        self._lost = False
        self._late = False
        self._told_s: float | None = None  # when its clock was last told
        self._told_doubt_s = 0.0
        self._acts: deque[str] = deque(maxlen=MOST_IDS)

    @property
    def heard(self) -> bool:
        """Whether any message came."""
        return self._heard_s is not None

    # --- what comes -------------------------------------------------------------------------

    def linked(self, payload: bytes, now_s: float, utc_s: float) -> Iterator[FromRod]:
        """Take what a box, or its will, says of its link."""
        try:
            told = json.loads(payload)
            here, boot = told["link"] == "here", str(told["boot"])
        except (ValueError, KeyError, TypeError):
            self.is_here = self.is_here and bool(payload)
            return
        self.is_here = here
        if not here:
            return
        self._begin_anew(boot)
        text = told.get("profile")
        if isinstance(text, str) and text != self.profile.text_toml:
            try:
                profile = parse_profile(text, say("the profile of {rod}", rod=self.rod))
                if profile.needs_clamp:
                    profile = with_clamp(profile, float(told["clamp_mm"]))
                self._decoder = Decoder(profile)
                self.profile = profile
            except (RigError, KeyError, TypeError, ValueError) as error:
                yield self._item(Notice(now_s, utc_s, cannot_be_read(self.rod, error)))
        percent = told.get("battery_percent")
        if isinstance(percent, int) and percent != self.battery:
            self.battery = percent
            yield self._item(Battery(now_s, utc_s, percent))

    def said(
        self, payload: bytes, said: Mapping[str, str], now_s: float, utc_s: float
    ) -> Iterator[FromRod]:
        """Take a message of the rod."""
        self._begin_anew(said.get("b", self._boot))
        n = said.get("n", "")
        if n.isascii() and n.isdigit() and len(n) < 16:
            missing = self._count.see(int(n), self._boot)
            if missing is None:
                return
            if missing and not self._lost:
                yield from self._release(True, now_s)
                yield self._cut(Missing(self.line_s, utc_s, missing))
        self.is_here = True
        self._heard_s = now_s
        box_s = _number(said.get("t"))
        self._waiting.append(_Waits(payload, now_s, utc_s, box_s))
        yield from self._release(box_s is None, now_s)

    def answered(
        self, asked_s: float, box_s: float, now_s: float, utc_s: float
    ) -> Iterator[FromRod]:
        """Take an answer to the question for the box's clock."""
        if not self._clock.answered(asked_s, box_s, now_s):
            yield self._cut(Missing(self.line_s, utc_s, 0))
        offset_s, doubt_s = self._clock.offset_s, self._clock.doubt_s(now_s)
        due = self._told_s is None or now_s - self._told_s >= CLOCK_TOLD_S
        if offset_s is not None and (due or doubt_s < self._told_doubt_s / 2.0):
            self._told_s, self._told_doubt_s = now_s, doubt_s
            yield self._item(Clocked(now_s, utc_s, offset_s, doubt_s))
        yield from self._release(False, now_s)

    def act(self, payload: bytes, utc_s: float) -> Iterator[FromRod]:
        """Take what somebody does, once."""
        try:
            told = json.loads(payload)
            name, argument = str(told["act"]), told.get("argument")
            one = str(told.get("id", ""))
        except (ValueError, KeyError, TypeError, AttributeError):
            return
        if one and one in self._acts:
            return
        self._acts.append(one)
        argument = None if argument is None else str(argument)[:64]
        yield self._item(Act(self.line_s, utc_s, name[:32], argument))

    def tick(self, now_s: float, utc_s: float) -> Iterator[FromRod]:
        """Let time go by: a rod that is silent for long is lost."""
        yield from self._release(False, now_s)
        if self._heard_s is not None and not self._lost and now_s - self._heard_s > SILENT_S:
            self._lost = True
            reason = nothing_came(SILENT_S) if self.is_here else box_has_no_link()
            self.line_s = max(self.line_s, self._heard_s)
            yield self._cut(Lost(self.line_s, utc_s, reason))

    def ticks_to_s(self, now_s: float) -> float:
        """Up to when deadlines may fire: nothing older comes any more that would count."""
        return max(self.line_s, now_s - LATE_S)

    # --- what becomes of it -----------------------------------------------------------------

    def _begin_anew(self, boot: str) -> None:
        """Know nothing of the clock of another start of the box."""
        if boot != self._boot:
            self._boot, self._clock, self._told_s = boot, BoxTime(), None
            self._decoder.reset()

    def _release(self, at_once: bool, now_s: float) -> Iterator[FromRod]:
        """Give out what waits, once the box's clock is known or has been waited for."""
        while self._waiting:
            first = self._waiting[0]
            waited = now_s - first.arrived_s >= WAIT_FOR_CLOCK_S
            known = self._clock.is_known or self._clock.offset_s is not None
            if not (at_once or known or waited or first.box_s is None):
                return
            yield from self._made(self._waiting.popleft())

    def _made(self, one: _Waits) -> Iterator[FromRod]:
        at_s = one.arrived_s
        if one.box_s is not None:
            at_s = self._clock.session_s(one.box_s, one.arrived_s)
        at_s = round(max(at_s, self.line_s), 6)
        utc_s = round(one.utc_s - (one.arrived_s - at_s), 6)
        raw = self._raw(one.payload)
        if one.arrived_s - at_s > LATE_S:
            if not self._late and not self._lost:
                yield self._cut(Missing(self.line_s, utc_s, 1))
            self._late = True
            yield self._item(Late(at_s, utc_s, raw), one.box_s)
            return
        self._late = False
        if self._lost:
            self._lost = False
            yield self._item(Back(at_s, utc_s, max(0.0, at_s - self.line_s)))
        self.line_s = at_s
        reading = self._decoder.decode_raw(raw, at_s, utc_s)
        yield self._item(reading, one.box_s)

    def _raw(self, payload: bytes) -> str:
        if self.profile.framing == "line":
            return payload.decode("latin-1").rstrip("\r\n")
        return payload.hex()

    def _cut(self, item: Missing | Lost) -> FromRod:
        self._decoder.reset()
        return self._item(item)

    def _item(
        self,
        item: Reading | Act | Lost | Back | Battery | Notice | Missing | Late | Clocked,
        box_s: float | None = None,
    ) -> FromRod:
        return FromRod(self.rod, item, box_s)


def _number(told: str | None) -> float | None:
    try:
        found = float(told) if told is not None else None
    except ValueError:
        return None
    return found if found is not None and abs(found) < 1e12 else None
