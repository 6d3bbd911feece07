"""Framing, checksum and parsing of `sentence` lines, against pynmea2 given as many as long."""

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
    rates = []
    for _ in range(ROUNDS):
        rates.append((_our_rate(ours), _their_rate(theirs)))
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


def _our_rate(lines: list[str]) -> float:
    decoder = Decoder(load_profile("sentence"))
    chunks = [chunk.encode() for chunk in _chunks(lines)]
    begun = time.perf_counter()
    valid = sum(r.status == "valid" for chunk in chunks for r in decoder.feed(chunk, 0.0, 0.0))
    rate = COUNT / (time.perf_counter() - begun)
    assert valid == COUNT
    return rate


def _their_rate(lines: list[str]) -> float:
    reader = pynmea2.NMEAStreamReader()
    chunks = _chunks(lines)
    begun = time.perf_counter()
    valid = sum(m.sentence_type == "HDG" for chunk in chunks for m in reader.next(chunk))
    rate = COUNT / (time.perf_counter() - begun)
    assert valid == COUNT
    return rate


def _chunks(lines: list[str]) -> list[str]:
    """What a port gives: pieces that heed no line end."""
    stream = "".join(f"{line}\r\n" for line in lines)
    return [stream[start : start + 64] for start in range(0, len(stream), 64)]


def _heading(n: int, length: int) -> str:
    """A standard sentence of five fields, its numbers written as long as it takes."""
    body = f"GPHDG,{n % 3600 / 10:.1f},0.0,E,{n % 99 / 10:.1f},W"
    spare = length - len(_sentence(body))
    return _sentence(body.replace("0.0,E", "0." + "0" * (1 + spare) + ",E"))


def _sentence(body: str) -> str:
    return f"${body}*{reduce(lambda x, c: x ^ ord(c), body, 0):02X}"
