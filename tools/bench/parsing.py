"""Framing, checksum and parsing of `sentence` lines, against pynmea2 parsing the same length."""

import time
from functools import reduce

import pynmea2

from rig.devices.decoder import Decoder
from rig.devices.profile import load_profile

COUNT = 20_000
ROUNDS = 5


def run() -> list[dict[str, object]]:
    ours = [_sentence(f"U0HGT,{n % 65536},{1200 + n % 977 / 10:.1f},mm,V") for n in range(COUNT)]
    theirs = [_heading(n, len(line)) for n, line in enumerate(ours)]
    mean = sum(map(len, ours)) / COUNT
    stream = b"".join(line.encode() + b"\r\n" for line in ours)
    rates = []
    for _ in range(ROUNDS):
        rates.append((_our_rate(stream), _their_rate(theirs)))
    best_ours = max(rate for rate, _ in rates)
    best_theirs = max(rate for _, rate in rates)
    return [
        {
            "what": f"sentence lines a second ({mean:.0f} characters)",
            "value": round(best_ours),
            "against": f"pynmea2 {best_theirs:.0f}, ratio {best_ours / best_theirs:.2f}; "
            "aim 1 or more",
        }
    ]


def _our_rate(stream: bytes) -> float:
    decoder = Decoder(load_profile("sentence"))
    chunks = [stream[start : start + 64] for start in range(0, len(stream), 64)]
    begun = time.perf_counter()
    readings = [decoder.feed(chunk, 0.0, 0.0) for chunk in chunks]
    rate = COUNT / (time.perf_counter() - begun)
    assert sum(r.status == "valid" for some in readings for r in some) == COUNT
    return rate


def _their_rate(lines: list[str]) -> float:
    begun = time.perf_counter()
    for line in lines:
        pynmea2.parse(line, check=True)
    return COUNT / (time.perf_counter() - begun)


def _heading(n: int, length: int) -> str:
    """A standard sentence of five fields, its numbers written as long as it takes."""
    body = f"GPHDG,{n % 3600 / 10:.1f},0.0,E,{n % 99 / 10:.1f},W"
    spare = length - len(_sentence(body))
    return _sentence(body.replace("0.0,E", "0." + "0" * (1 + spare) + ",E"))


def _sentence(body: str) -> str:
    return f"${body}*{reduce(lambda x, c: x ^ ord(c), body, 0):02X}"
