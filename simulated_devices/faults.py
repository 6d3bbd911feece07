"""What can go wrong with a rod: one table of faults, and the small functions that do them.

Some change the rod itself, some its samples, some the bytes of a message, some the link, and some
the computer's own Bluetooth. Counts are of messages, seconds are simulated and begin when somebody
listens.
"""

import random
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from simulated_devices import Refused
from simulated_devices.rod import Rod, Sample


@dataclass(frozen=True)
class Fault:
    """A fault's text, and its values: for each a name, the default and the least allowed."""

    text: str
    values: tuple[tuple[str, float, float], ...] = ()
    over: tuple[str, ...] = ("serial", "ble")  # links that it can befall
    shown: str = ""  # values with which a walk of half a minute meets it

    @property
    def shape(self) -> str:
        """How its values are written after `=`."""
        return ":".join(name for name, _, _ in self.values)

    @property
    def default(self) -> str:
        return ":".join(f"{value:g}" for _, value, _ in self.values)


BLE = ("ble",)

FAULTS: Mapping[str, Fault] = {
    "drop": Fault(
        "the link closes after so many messages, for so long, so many times",
        (("MESSAGES", 200, 1), ("SECONDS", 2, 0), ("TIMES", 1, 1)),
        shown="150:10",
    ),
    "lose": Fault("every Nth message is not sent; its number is missing", (("N", 10, 2),)),
    "corrupt": Fault("every Nth message has a wrong character in it", (("N", 10, 1),)),
    "noise": Fault("binary garbage before every Nth message", (("N", 7, 1),)),
    "noend": Fault(
        "no line ends for so long, from a time on",
        (("SECONDS", 5, 0), ("FROM_S", 10, 0)),
        over=("serial",),
    ),
    "flicker": Fault("this share of readings is without beam", (("SHARE", 0.05, 0),)),
    "coarse": Fault("the display has steps of so many mm", (("MM", 1.5875, 0.001),)),
    "noisy": Fault("readings scatter by so many mm (sd)", (("MM", 1.5, 0),)),
    "stick": Fault(
        "the display freezes for so long, every so often",
        (("SECONDS", 3, 0), ("EVERY_S", 20, 0.1)),
        shown="7:27",
    ),
    "jump": Fault(
        "readings jump by so many mm at a time: the clamp slipped",
        (("MM", 6, float("-inf")), ("AT_S", 30, 0)),
        shown="60:12",
    ),
    "battery": Fault("the battery is low from a time on", (("FROM_S", 0, 0),)),
    "duplicate": Fault("every Nth message is sent twice", (("N", 10, 1),)),
    "double": Fault("every message comes twice"),
    "reorder": Fault("every Nth message comes after the next one", (("N", 10, 2),)),
    "beam": Fault("no beam for so long, from a time on", (("SECONDS", 6, 0), ("FROM_S", 10, 0))),
    "drift": Fault(
        "readings creep by so many mm a minute from a time on",
        (("MM", 3, float("-inf")), ("FROM_S", 0, 0)),
        shown="20",
    ),
    "jolt": Fault(
        "the tripod is kicked after so many shots: the line jumps by so many mm",
        (("MM", 4, float("-inf")), ("SHOTS", 4, 1)),
    ),
    "clock": Fault("the rod starts its clock and its count anew at a time", (("AT_S", 10, 0),)),
    "wrap": Fault("the count begins so many before its end, then goes on from 0", (("N", 50, 1),)),
    "unit": Fault(
        "readings are 25.4 times too small from a time on: the wrong unit",
        (("FROM_S", 20, 0),),
        shown="12",
    ),
    "held": Fault("a client that crashed still holds the rod, so it does not advertise", over=BLE),
    "twin": Fault("another rod in reach has the same name", over=BLE),
    "uuids": Fault("the rod has other UUIDs than its profile says", over=BLE),
    "off": Fault(
        "Bluetooth is switched off for so long, from a time on",
        (("SECONDS", 2, 0), ("FROM_S", 10, 0)),
        over=BLE,
        shown="15:8",
    ),
    "unplugged": Fault(
        "the Bluetooth adapter is gone for so long, from a time on",
        (("SECONDS", 2, 0), ("FROM_S", 10, 0)),
        over=BLE,
        shown="15:8",
    ),
    "service": Fault(
        "the Bluetooth service dies for so long, at a time, without a word",
        (("SECONDS", 2, 0), ("FROM_S", 10, 0)),
        over=BLE,
        shown="15:8",
    ),
}

Chosen = Mapping[str, tuple[float, ...]]


def parse_faults(texts: Iterable[str], over: str = "serial") -> Chosen:
    """Turn `NAME` or `NAME=VALUE[:VALUE…]` into values; what is left out has its default.

    `over` is the link; what cannot befall it is refused.
    """
    chosen = {}
    for text in texts:
        name, _, given = text.partition("=")
        if name not in FAULTS:
            raise Refused(f"There is no fault '{name}'; there are {', '.join(FAULTS)}.")
        fault = FAULTS[name]
        if over not in fault.over:
            raise Refused(f"The fault '{name}' is one of Bluetooth rods.")
        words = given.split(":") if given else []
        if len(words) > len(fault.values):
            raise Refused(f"The fault '{name}' takes {fault.shape or 'no value'}, not '{given}'.")
        values = []
        for n, (what, default, least) in enumerate(fault.values):
            try:
                value = float(words[n]) if n < len(words) and words[n] else default
            except ValueError:
                raise Refused(f"In --fault {text} the {what} '{words[n]}' is no number.") from None
            if not least <= value < float("inf"):
                raise Refused(f"In --fault {text} the {what} must be at least {least:g}.")
            values.append(value)
        chosen[name] = tuple(values)
    return chosen


def apply_to_rod(rod: Rod, chosen: Chosen) -> None:
    """Do the faults that are the rod's own make."""
    if "coarse" in chosen:
        rod.resolution_mm = chosen["coarse"][0]
    if "noisy" in chosen:
        rod.noise_mm = chosen["noisy"][0]
    if "wrap" in chosen:
        rod.seq = 65536 - int(chosen["wrap"][0]) % 65536


def is_nth(count: int, every: float) -> bool:
    """Tell whether the count-th message, from 1, is one of every `every`."""
    return count % int(every) == 0


def flickered(sample: Sample, share: float, draw: float) -> Sample:
    """Lose the beam where `draw` (0 to 1) falls below `share`; a press still comes through."""
    if draw >= share or sample.status == "B":
        return sample
    return replace(sample, value_mm=None, status="N")


def jumped(sample: Sample, step_mm: float, at_s: float) -> Sample:
    """Shift the reading from a time on."""
    if sample.value_mm is None or sample.time_s < at_s:
        return sample
    return replace(sample, value_mm=sample.value_mm + step_mm)


def crept(sample: Sample, mm_a_minute: float, from_s: float) -> Sample:
    """Shift the reading more and more from a time on."""
    if sample.value_mm is None or sample.time_s < from_s:
        return sample
    return replace(sample, value_mm=sample.value_mm + mm_a_minute * (sample.time_s - from_s) / 60)


def without_beam(sample: Sample, seconds: float, from_s: float) -> Sample:
    """Lose the beam for a while; a press still comes through."""
    if sample.status == "B" or not from_s <= sample.time_s < from_s + seconds:
        return sample
    return replace(sample, value_mm=None, status="N")


def in_inches(sample: Sample, from_s: float) -> Sample:
    """Show inches as if they were millimetres from a time on."""
    if sample.value_mm is None or sample.time_s < from_s:
        return sample
    return replace(sample, value_mm=sample.value_mm / 25.4)


def battery_low(sample: Sample, from_s: float) -> Sample:
    """Say that the battery is low wherever the message says no more than that it is valid."""
    low = sample.status == "V" and sample.time_s >= from_s
    return replace(sample, status="L") if low else sample


def stuck(sample: Sample, held: Sample | None, seconds: float, every_s: float) -> Sample:
    """Show the last number, and its status, again during the last `seconds` of each `every_s`."""
    if held is None or sample.status == "B" or sample.time_s % every_s < every_s - seconds:
        return sample
    return replace(sample, value_mm=held.value_mm, status=held.status)


def cut_short(packet: bytes) -> bytes:
    """Leave the last byte of a packet out; nothing else would give a wrong one away."""
    return packet[:-1]


def corrupted(message: bytes) -> bytes:
    """Change one character in the middle and leave the checksum as it was.

    Where there is a checksum a digit becomes another digit, so that nothing but the checksum
    gives it away; a bare number gets a character that is none.
    """
    digits = [n for n, byte in enumerate(message) if 0x30 <= byte <= 0x39]
    star = message.find(b"*")
    if star >= 0:
        digits = [n for n in digits if n < star]
    if not digits:
        return message
    at = digits[len(digits) // 2]
    flipped = message[at] ^ (0x01 if star >= 0 else 0x40)
    return message[:at] + bytes([flipped]) + message[at + 1 :]


def garbage(rng: random.Random) -> bytes:
    """Five to forty random bytes, in half of the cases with a line end after them."""
    return rng.randbytes(rng.randint(5, 40)) + (b"\r\n" if rng.random() < 0.5 else b"")


def without_end(message: bytes, time_s: float, seconds: float, from_s: float) -> bytes:
    """Leave the line end out from a time on, for so long."""
    return message.rstrip(b"\r\n") if from_s <= time_s < from_s + seconds else message


class FaultySamples:
    """The faults of samples, one after another, with what they remember."""

    def __init__(self, chosen: Chosen, seed: int) -> None:
        self._chosen = chosen
        self._rng = random.Random(f"faults {seed}")
        self._count = 0
        self._held: Sample | None = None
        self._late: Sample | None = None
        self._began_anew: int | None = None

    def pass_on(self, sample: Sample) -> list[Sample]:
        """Return what is sent in the place of one sample: nothing, itself changed, or two."""
        chosen = self._chosen
        self._count += 1
        if "jump" in chosen:
            sample = jumped(sample, *chosen["jump"])
        if "drift" in chosen:
            sample = crept(sample, *chosen["drift"])
        if "unit" in chosen:
            sample = in_inches(sample, *chosen["unit"])
        if "clock" in chosen:
            sample = self._anew(sample, *chosen["clock"])
        if "beam" in chosen:
            sample = without_beam(sample, *chosen["beam"])
        if "flicker" in chosen:
            sample = flickered(sample, chosen["flicker"][0], self._rng.random())
        if "battery" in chosen:
            sample = battery_low(sample, *chosen["battery"])
        if "stick" in chosen:
            shown = stuck(sample, self._held, *chosen["stick"])
            if shown is sample and sample.status != "B" and sample.value_mm is not None:
                self._held = sample
            sample = shown
        if "lose" in chosen and is_nth(self._count, *chosen["lose"]):
            return []
        if "reorder" in chosen and self._late is None and is_nth(self._count, *chosen["reorder"]):
            self._late = sample
            return []
        sent = [sample]
        if "duplicate" in chosen and is_nth(self._count, *chosen["duplicate"]):
            sent.append(sample)
        if "double" in chosen:
            sent.append(sample)
        if self._late is not None:
            sent.append(self._late)
            self._late = None
        return sent

    def _anew(self, sample: Sample, at_s: float) -> Sample:
        """Count and time from 0 again, from a moment on."""
        if sample.time_s < at_s:
            return sample
        if self._began_anew is None:
            self._began_anew = sample.seq
        seq = (sample.seq - self._began_anew) % 65536
        return replace(sample, seq=seq, clock_s=sample.time_s - at_s)


class FaultyBytes:
    """The faults of messages, with what they remember."""

    def __init__(self, chosen: Chosen, seed: int, lines: bool = True) -> None:
        self._chosen = chosen
        self._lines = lines
        self._rng = random.Random(f"garbage {seed}")
        self._count = 0

    def pass_on(self, message: bytes, time_s: float) -> bytes:
        """Return the bytes that are sent in the place of a message's."""
        chosen = self._chosen
        self._count += 1
        if "corrupt" in chosen and is_nth(self._count, *chosen["corrupt"]):
            message = corrupted(message) if self._lines else cut_short(message)
        if "noend" in chosen and self._lines:
            message = without_end(message, time_s, *chosen["noend"])
        if "noise" in chosen and is_nth(self._count, *chosen["noise"]):
            message = garbage(self._rng) + message
        return message


class Link:
    """Whether the device is there: the fault `drop`."""

    def __init__(self, chosen: Chosen) -> None:
        self._messages, self._seconds, self._times = chosen.get("drop", (0.0, 0.0, 0.0))
        self._count = 0
        self._back_s = float("-inf")

    def up(self, time_s: float) -> bool:
        return time_s >= self._back_s

    def sent(self, time_s: float) -> None:
        """Count a message that went out; after the last one allowed the link is down."""
        self._count += 1
        if self._times > 0 and self._count >= self._messages:
            self._count, self._times = 0, self._times - 1
            self._back_s = time_s + self._seconds
