"""Turns a device's bytes into readings, as its profile says.

Whatever comes, nothing is raised and nothing is lost: what cannot be used becomes a reading with
status ``bad``, its message kept and its problem named. It does no input or output and has no
clock, so stored messages replay along the same path.
"""

from math import isfinite, nan
from struct import Struct

from rig.devices.checksum import has_crc16, is_sentence
from rig.devices.framing import LONGEST_MESSAGE, LineFramer, PacketFramer
from rig.devices.modbus import ModbusFramer, registers_of
from rig.devices.pattern import LinePattern
from rig.devices.profile import MM_PER_UNIT, Profile
from rig.devices.reading import Reading, Status
from rig.errors import BadInput
from rig.language import say

DUPLICATE = "duplicate"
OUT_OF_ORDER = say("out of order")

# The first bytes this soon after opening may be the end of a line that was under way.
JOINING_S = 0.1
# A packet's bytes follow each other; after such a pause the rest of one will not come.
PACKET_PAUSE_S = 0.05
# A count that went back by less is a late message; by more, the device began anew.
LATE_COUNTS = 1000
# So many late messages that follow each other: not late, the device began anew.
LATE_RUN = 3

_NO_NUMBER = (say("no value"), say("value is not a number"))
_KINDS: tuple[Status, ...] = ("valid", "no_beam", "button", "low_battery")


LARGEST_COUNT = 2**32 - 1


class Decoder:
    """One device's bytes in, readings out.

    Parameters
    ----------
    profile : Profile
        How the device speaks.

    Attributes
    ----------
    bad, missed : int
        Messages that could not be used, and counts that never came.

    Raises
    ------
    BadInput
        The profile needs a clamp height and has none.
    """

    def __init__(self, profile: Profile) -> None:
        if profile.needs_clamp and profile.clamp_mm is None:
            raise BadInput(
                say(
                    "The profile {key} needs the height of the clamp above the rod's foot: "
                    "--clamp LENGTH.",
                    key=profile.key,
                )
            )
        self.profile = profile
        self.bad = 0
        self.missed = 0
        self._offset_mm = profile.zero_offset_mm + (profile.clamp_mm or 0.0)
        self._kinds: dict[str | int | None, Status] = {
            value: kind for kind in _KINDS for value in getattr(profile, kind)
        }
        self._other: Status = "bad" if profile.valid else "valid"
        self._counts = 65536
        self._last_seq: int | None = None
        self._late_after: tuple[int, int] | None = None
        self._late = 0
        self._opened_s: float | None = None
        self._fed_s = 0.0
        self._is_line = profile.pattern is not None
        self._checked = profile.checksum != "none"
        # What answers when it is asked is not joined in the middle of a line.
        self._joins = not self._checked and profile.serial.asking is None
        if profile.pattern is not None:
            self._expect_lines(profile.pattern)
        else:
            assert profile.layout is not None
            self._expect_packets(profile.layout)

    def _expect_lines(self, pattern: LinePattern) -> None:
        sign = self.profile.sign
        own = sign * MM_PER_UNIT[self.profile.unit]
        self._lines = LineFramer(end=self.profile.serial.line_end)
        self._fields = pattern.fields
        self._factors: dict[str | None, float] = {None: own}
        if "unit" in pattern.names:
            self._factors[""] = own
            for unit, mm in MM_PER_UNIT.items():
                self._factors[unit] = self._factors[unit.upper()] = sign * mm
        self._kinds.setdefault("", "valid")
        self._kinds[None] = "valid"

    def _expect_packets(self, layout: Struct) -> None:
        self._layout = layout
        self._size = layout.size + (2 if self._checked else 0)
        self._packets: PacketFramer | ModbusFramer
        if self.profile.registers is None:
            self._packets = PacketFramer(self._size, self._is_packet)
        else:
            self._packets = ModbusFramer(self.profile.registers)
        self._at = {name: i for i, name in enumerate(self.profile.fields) if name != "_"}
        self._factor = self.profile.sign * self.profile.scale_mm
        if "seq" in self._at:
            most = layout.unpack(b"\xff" * layout.size)[self._at["seq"]]
            self._counts = most + 1

    def feed(self, data: bytes, time_s: float, utc_s: float) -> list[Reading]:
        """Take the next bytes of the stream, which came at that time; return what they complete."""
        if not self._is_line:
            pieces = self._packets.flush() if time_s - self._fed_s > PACKET_PAUSE_S else []
            self._fed_s = time_s
            pieces += self._packets.feed(data)
            return [self._packet(piece, time_s, utc_s) for piece in pieces]
        if self._opened_s is not None:
            if self._joins and time_s - self._opened_s < JOINING_S:
                self._lines.skip_to_line_end()
            self._opened_s = None
        return [self._line(line, time_s, utc_s) for line in self._lines.feed(data)]

    def message(self, data: bytes, time_s: float, utc_s: float) -> Reading:
        """Return the reading of one whole message: a line without its end, or a packet."""
        if self._is_line:
            return self._line(data, time_s, utc_s)
        return self._packet(data, time_s, utc_s)

    def ends_line(self, data: bytes) -> bool:
        """Whether a line ends in these bytes, be it an empty one."""
        return self._is_line and self._lines.ends_in(data)

    def decode_raw(self, raw: str, time_s: float, utc_s: float) -> Reading:
        """Return the reading of a stored message, given as `Reading.raw`."""
        try:
            data = raw.encode("latin-1") if self._is_line else bytes.fromhex(raw)
        except ValueError:
            return self._bad(raw, time_s, utc_s, say("not a message of this profile"))
        return self.message(data, time_s, utc_s)

    def reset(self, opened_s: float | None = None) -> None:
        """Forget half a message and the last count: what comes next is from another link.

        Parameters
        ----------
        opened_s : float, optional
            When the link was opened. A device that sends all the time is then joined in the middle
            of a line, and where no checksum tells, the end of a number would pass for a number:
            what comes at once is dropped up to the first line end.
        """
        self._opened_s = opened_s
        self._last_seq = None
        self._late_after = None
        if self._is_line:
            self._lines.reset()
        else:
            self._packets.reset()

    def _line(self, line: bytes, time_s: float, utc_s: float) -> Reading:
        raw = line.decode("latin-1")
        if self._checked:
            found = self._fields(raw[:-3]) if is_sentence(line) else None
        else:
            found = self._fields(raw) if len(line) < LONGEST_MESSAGE else None
        if found is None:
            return self._no_match(line, raw, time_s, utc_s)
        value_text, unit, status, seq_text = found

        seq, missed, problem = self._count(seq_text) if seq_text else (None, 0, None)
        if problem is not None:
            return self._bad(raw, time_s, utc_s, problem, seq)
        kind = self._kinds.get(status, self._other)
        if kind != "valid":
            if kind == "bad":
                return self._bad(
                    raw,
                    time_s,
                    utc_s,
                    say("status {status} is not known", status=status),
                    seq,
                    missed,
                )
            if kind == "no_beam" or not value_text:
                return Reading(time_s, utc_s, raw, kind, None, seq, missed)
        factor = self._factors.get(unit)
        if factor is None:
            return self._bad(
                raw, time_s, utc_s, say("unit {unit} is not known", unit=unit), seq, missed
            )
        try:
            value_mm = float(value_text or nan) * factor + self._offset_mm
        except ValueError:
            value_mm = nan
        if not isfinite(value_mm):
            return self._bad(raw, time_s, utc_s, _NO_NUMBER[bool(value_text)], seq, missed)
        return Reading(time_s, utc_s, raw, kind, value_mm, seq, missed)

    def _no_match(self, line: bytes, raw: str, time_s: float, utc_s: float) -> Reading:
        if len(line) >= LONGEST_MESSAGE:
            return self._bad(raw[:LONGEST_MESSAGE], time_s, utc_s, say("too long"))
        if not self._checked or is_sentence(line):
            return self._bad(raw, time_s, utc_s, say("not understood"))
        # Noise, or half a sentence whose end was lost, may stand before a whole one.
        start = line.rfind(b"$")
        if start > 0 and is_sentence(line[start:]):
            return self._line(line[start:], time_s, utc_s)._replace(raw=raw)
        with_checksum = start >= 0 and line[-3:-2] == b"*"
        return self._bad(raw, time_s, utc_s, "checksum" if with_checksum else say("no checksum"))

    def _packet(self, packet: bytes, time_s: float, utc_s: float) -> Reading:
        raw = packet.hex()
        packet, problem = self._payload(packet)
        if problem is not None:
            return self._bad(raw, time_s, utc_s, problem)
        items = self._layout.unpack_from(packet)
        seq: int | None = None
        missed = 0
        if "seq" in self._at:
            seq = int(items[self._at["seq"]])
            missed, problem = self._follow(seq)
            if problem is not None:
                return self._bad(raw, time_s, utc_s, problem, seq)
        kind: Status = "valid"
        if "status" in self._at:
            status = items[self._at["status"]]
            kind = self._kinds.get(status, self._other)
            if kind == "bad":
                return self._bad(
                    raw,
                    time_s,
                    utc_s,
                    say("status {status} is not known", status=status),
                    seq,
                    missed,
                )
        if kind == "no_beam":
            return Reading(time_s, utc_s, raw, kind, None, seq, missed)
        # Rounded so that 50300 µm are the very number that the text 50.3 is: what sits on a limit
        # must not depend on the link.
        value_mm = round(items[self._at["value"]] * self._factor, 9) + self._offset_mm
        if not isfinite(value_mm):
            return self._bad(raw, time_s, utc_s, _NO_NUMBER[True], seq, missed)
        return Reading(time_s, utc_s, raw, kind, value_mm, seq, missed)

    def _payload(self, packet: bytes) -> tuple[bytes, str | None]:
        """Return what the layout describes of a packet, and its problem."""
        if self.profile.registers is not None:
            return registers_of(packet, self.profile.registers)
        if len(packet) != self._size:
            return packet, say(
                "{packet} bytes where {size} make a packet", packet=len(packet), size=self._size
            )
        if self._checked and not has_crc16(packet):
            return packet, "checksum"
        return packet, None

    def _is_packet(self, packet: bytes) -> bool:
        """Whether these bytes can be a packet, to find packets in a stream without pauses."""
        if self._checked:
            return has_crc16(packet)
        if "status" not in self._at or self._other == "valid":
            return True
        return self._layout.unpack_from(packet)[self._at["status"]] in self._kinds

    def _count(self, text: str) -> tuple[int, int, str | None]:
        """Take the next count as it is written; return it and what `_follow` says of it."""
        try:
            seq = int(text)
        except ValueError:
            seq = -1
        if seq > LARGEST_COUNT:
            seq = -1  # no device counts so far
        if seq - 1 == self._last_seq and seq < self._counts:
            self._last_seq = seq
            return seq, 0, None
        return seq, *self._follow(seq)

    def _follow(self, seq: int) -> tuple[int, str | None]:
        """Take the next count; return how many are missing before it, and its problem."""
        if not 0 <= seq < self._counts:
            return 0, say("seq is not a count from 0 to {counts}", counts=self._counts - 1)
        last = self._last_seq
        if last is None:
            self._last_seq = seq
            return 0, None
        step = (seq - last) % self._counts
        if step == 0:
            return 0, DUPLICATE
        near = min(LATE_COUNTS, self._counts // 4)
        late = self._counts - step < near
        if late:
            follows = self._late_after == (last, seq - 1)
            self._late_after = (last, seq)
            self._late = self._late + 1 if follows else 1
            if self._late < LATE_RUN:
                return 0, OUT_OF_ORDER
        self._last_seq = seq
        if late or (seq < last and step >= near):
            return 0, None
        self.missed += step - 1
        return step - 1, None

    def _bad(
        self,
        raw: str,
        time_s: float,
        utc_s: float,
        problem: str,
        seq: int | None = None,
        missed: int = 0,
    ) -> Reading:
        self.bad += 1
        return Reading(time_s, utc_s, raw, "bad", None, seq, missed, problem)
