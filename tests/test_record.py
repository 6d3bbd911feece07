"""What is told becomes JSON in one place, and what was stored becomes a record again."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pytest

from rig.language import Worded, say
from rig.record import OMITTED, Record, from_json, key


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot(Record):
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Told(Record):
    spots: tuple[Spot, ...]
    shares: Mapping[str, float]
    high: Spot | None
    never: None = None
    grind: Spot | None = field(default=None, metadata=OMITTED)
    of: int = field(default=0, metadata=key("in"))


def test_a_record_is_the_json_of_its_fields() -> None:
    told = Told(spots=(Spot(x_mm=1.0, y_mm=2.0),), shares={"surface": 0.5}, high=None)
    assert told.as_json() == {
        "spots": [{"x_mm": 1.0, "y_mm": 2.0}],
        "shares": {"surface": 0.5},
        "high": None,
        "never": None,
        "in": 0,
    }


def test_what_was_told_comes_back_and_what_is_missing_takes_its_default() -> None:
    told = Told(
        spots=(Spot(x_mm=1.0, y_mm=2.0),), shares={}, high=None, grind=Spot(x_mm=0.0, y_mm=0.5)
    )
    assert from_json(Told, told.as_json()) == told
    assert from_json(Told, {"spots": [], "shares": {}, "high": None}).grind is None


def test_json_of_something_else_is_refused() -> None:
    with pytest.raises(ValueError, match="no Told"):
        from_json(Told, {"spots": 3})


def test_numbers_of_numpy_become_plain_ones() -> None:
    told = Spot(x_mm=np.float64(1.5), y_mm=np.float32(2.0)).as_json()  # type: ignore[arg-type]
    assert [type(value) for value in told.values()] == [float, float]


def test_a_sentence_that_is_read_back_is_still_one() -> None:
    @dataclass(frozen=True, kw_only=True)
    class Sentence(Record):
        text: str

    text = say("{count} points", count=3)
    assert isinstance(from_json(Sentence, {"text": text}).text, Worded)
