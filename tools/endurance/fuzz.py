"""Throw made-up input at every parser: it may refuse with a `RigError`, never crash and never hang.

Part of the inputs are hypothesis's, which also cuts down what it finds; the larger part are sound
inputs bent by hand: bits flipped, pieces cut, doubled, swapped for telling words. The families are
in `parsers.py`.
"""

import functools
import gc
import hashlib
import random
import re
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from rig.errors import RigError

LONGEST_S = 1.0
"""Of processor time: the machine may be busy with other things."""
HYPOTHESIS_SHARE = 20  # one input in so many
MOST_BY_HYPOTHESIS = 5_000  # each costs as much as some thirty others
_LONGEST = 4096
_NUMBERS = [
    b"0",
    b"-1",
    b"1e308",
    b"9" * 20,
    b"nan",
    b"inf",
    b"-0",
    b".",
    b"1/0",
    b"1e-320",
    b"0x1f",
]
_ODD = [b"\x00", b"\xff", b"\xc3\x28", "é½″′⁄²\u2028\u202e\ufeff".encode(), b"\r\n", b"\n"]
_ODD += [
    b'"',
    b"'",
    b"\\",
    b"%s",
    b"{}",
    b"../",
    b"\t",
    b"\x1b[2J",
    b"\x85",
    b"\x0b",
    b"\x1c",
    b"\r",
]


class Hang(BaseException):
    """An input took too long."""


@dataclass(frozen=True)
class Family:
    """Parsers of one kind of input.

    Attributes
    ----------
    parse : callable
        Takes the bytes; returns, or raises `RigError`. Anything else is a find.
    seeds : tuple of bytes
        Sound inputs.
    words : tuple of bytes
        What means something in them.
    cost : int
        How many times as long as a usual one an input takes: the tests make so many times fewer.
    in_place : bool
        Bytes are changed where they are; moved, all behind them would be refused alike.
    """

    name: str
    parse: Callable[[bytes], Any]
    seeds: tuple[bytes, ...]
    words: tuple[bytes, ...] = ()
    cost: int = 1
    in_place: bool = False


@dataclass
class Find:
    """An input that a parser did not stand."""

    family: str
    error: str
    data: bytes


@dataclass
class Result:
    """How one family did."""

    family: str
    inputs: int = 0
    refused: int = 0
    slowest_s: float = 0.0
    seconds: float = 0.0
    finds: list[Find] = field(default_factory=list)


def fuzz(family: Family, inputs: int, number: int) -> Result:
    """Throw so many inputs at a family; `number` is the seed."""
    result = Result(family.name)
    rng = random.Random(f"{family.name} {number}")
    begun = time.perf_counter()
    with _watched():
        for data in family.seeds:
            _try(family, data, result)
        by_hypothesis = min(inputs // HYPOTHESIS_SHARE, MOST_BY_HYPOTHESIS // family.cost)
        _by_hypothesis(family, max(1, by_hypothesis), number, result)
        while result.inputs < inputs and len(result.finds) < 5:
            data = _bent(rng, family)
            error = _try(family, data, result)
            if error is not None:
                result.finds.append(Find(family.name, error, _cut_down(family, data, error)))
    result.seconds = time.perf_counter() - begun
    return result


def one(family: Family, data: bytes) -> None:
    """Parse one input as in a run: raises what is a find."""
    with _watched():
        error = _try(family, data, Result(family.name))
    if error is not None:
        raise AssertionError(error)


def _by_hypothesis(family: Family, inputs: int, number: int, result: Result) -> None:
    @seed(number)
    @settings(
        max_examples=inputs,
        deadline=None,
        database=None,
        phases=[Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
        print_blob=False,
    )
    @given(_strategy(family))
    def run(data: bytes) -> None:
        error = _try(family, data, result)
        if error is not None:
            raise _Found(error, data)

    try:
        run()
    except _Found as found:
        shorter = _cut_down(family, found.data, found.error)
        result.finds.append(Find(family.name, found.error, shorter))


class _Found(Exception):
    def __init__(self, error: str, data: bytes) -> None:
        super().__init__(error)
        self.error, self.data = error, data


def _strategy(family: Family) -> Any:
    pieces = st.one_of(
        st.sampled_from([*family.words, *_NUMBERS, *_ODD]),
        st.text(max_size=8).map(lambda text: text.encode("utf-8", "surrogatepass")),
        st.integers(-(10**12), 10**12).map(lambda n: str(n).encode()),
        st.floats().map(lambda x: repr(x).encode()),
        st.binary(max_size=8),
    )
    free = st.lists(pieces, max_size=16).map(b"".join)
    places = st.tuples(st.floats(0, 1), st.integers(0, 12), pieces)

    def bend(sound: bytes, changes: list[tuple[float, int, bytes]]) -> bytes:
        for where, length, piece in changes:
            at = round(where * len(sound))
            sound = sound[:at] + piece + sound[at + length :]
        return sound

    bent = st.builds(bend, st.sampled_from(family.seeds), st.lists(places, max_size=4))
    return st.one_of(bent, free)


def _bent(rng: random.Random, family: Family) -> bytes:
    sound = rng.choice(family.seeds)
    data = bytearray(sound)
    if family.in_place:
        return _hit(rng, data, family.words, _texts_in(sound))
    for _ in range(1 + int(rng.expovariate(0.7))):
        size = len(data)
        at = rng.randrange(size + 1)
        length = min(1 + int(rng.expovariate(0.2)), size - at)
        match rng.randrange(9):
            case 0 if size:
                data[at % size] ^= 1 << rng.randrange(8)
            case 1 if size:
                data[at % size] = rng.randrange(256)
            case 2:
                del data[at : at + length]
            case 3:
                data[at:at] = rng.choice(_ODD)
            case 4 if family.words:
                data[at : at + rng.choice((0, length))] = rng.choice(family.words)
            case 5:
                data[at:at] = bytes(data[at : at + length]) * rng.choice((1, 2, 40))
            case 6:
                other = rng.choice(family.seeds)
                cut = rng.randrange(len(other) + 1)
                data[at:] = other[cut:]
            case 7:
                numbers = [m.span() for m in re.finditer(rb"[-+]?\d[\d.]*", data[:_LONGEST])]
                if numbers:
                    begin, end = rng.choice(numbers)
                    data[begin:end] = rng.choice(_NUMBERS)
            case _:
                del data[at:]
    return bytes(data)


@functools.cache
def _texts_in(sound: bytes) -> tuple[int, ...]:
    return tuple(found.start() for found in re.finditer(rb"[ -~]{4,}", sound))


def _hit(
    rng: random.Random, data: bytearray, words: tuple[bytes, ...], texts: tuple[int, ...]
) -> bytes:
    for _ in range(1 + int(rng.expovariate(0.4))):
        at = rng.randrange(len(data))
        match rng.randrange(6):
            case 0 | 1:
                data[at] ^= 1 << rng.randrange(8)
            case 2:
                data[at] = rng.choice((0, 1, 127, 128, 255, rng.randrange(256)))
            case 3:
                word = rng.choice((*words, *_NUMBERS, *_ODD))
                data[at : at + len(word)] = word[: len(data) - at]
            case 4:
                sector = at // 512 * 512
                data[sector : sector + 512] = bytes(len(data[sector : sector + 512]))
            case _:
                if texts:  # which SQLite itself does not check
                    data[rng.choice(texts) + rng.randrange(4)] = rng.randrange(256)
    return bytes(data if rng.random() < 0.97 else data[: rng.randrange(len(data))])


def _try(family: Family, data: bytes, result: Result) -> str | None:
    """Parse once; return what was wrong, if anything."""
    result.inputs += 1
    gc.disable()  # the fuzzer's own rubbish is not the parser's time
    signal.setitimer(signal.ITIMER_VIRTUAL, LONGEST_S)
    begun = time.process_time()
    try:
        family.parse(data)
    except RigError as refused:
        result.refused += 1
        if not str(refused).strip():
            return "a refusal without a word"
    except Hang:
        return "it hangs"
    except (Exception, RecursionError) as error:
        return f"{type(error).__name__}: {error}"[:300]
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        took_s = time.process_time() - begun
        result.slowest_s = max(result.slowest_s, took_s)
        gc.enable()
    # Where the bell rang in code that drops exceptions, nobody heard it.
    return "it hangs" if took_s > LONGEST_S else None


def _cut_down(family: Family, data: bytes, error: str) -> bytes:
    """Leave out pieces as long as the same kind of error comes."""
    kind = error.partition(":")[0]
    piece = max(1, len(data) // 2)
    tries = 0
    while piece and tries < 400 and kind != "it hangs":
        for at in range(0, len(data), piece):
            shorter = data[:at] + data[at + piece :]
            tries += 1
            found = _try(family, shorter, Result(family.name))
            if found is not None and found.partition(":")[0] == kind:
                data = shorter
                break
        else:
            piece //= 2
    return data


@contextmanager
def _watched() -> Iterator[None]:
    def ring(*_: Any) -> None:
        raise Hang

    before = signal.signal(signal.SIGVTALRM, ring)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        signal.signal(signal.SIGVTALRM, before)


def name_of(find: Find) -> str:
    """What a find is kept as."""
    return f"{find.family}-{hashlib.sha256(find.data).hexdigest()[:12]}"
