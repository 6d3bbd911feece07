"""No input breaks or holds up a parser; what once did is kept in `finds`."""

from pathlib import Path
from typing import Any

import pytest

from tools.endurance.fuzz import Family, fuzz, one
from tools.endurance.parsers import FAMILIES

FINDS = sorted((Path(__file__).parent / "finds").iterdir())


@pytest.mark.parametrize("name", FAMILIES)
def test_no_input_breaks_a_parser(name: Any) -> None:
    family = FAMILIES[name]
    result = fuzz(family, 4000 // family.cost, number=1)
    assert result.inputs >= 4000 // family.cost
    assert result.finds == []
    if name not in ("framing", "messages"):
        assert 0 < result.refused < result.inputs


@pytest.mark.parametrize("path", FINDS, ids=lambda path: path.name)
def test_what_broke_a_parser_once_does_no_more(path: Any) -> None:
    one(FAMILIES[path.name.partition("-")[0]], path.read_bytes())


def test_the_fuzzer_would_find_a_crash_and_cut_it_down() -> None:
    def brittle(data: bytes) -> None:
        if b"7" in data and len(data) > 3:
            raise KeyError("seven")

    (find, *_) = fuzz(Family("brittle", brittle, (b"1234567",)), 2000, number=1).finds
    assert find.error == "KeyError: 'seven'"
    assert len(find.data) <= 5


def test_the_fuzzer_would_find_a_hang(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tools.endurance.fuzz.LONGEST_S", 0.05)

    def slow(data: bytes) -> None:
        while data.startswith(b"12"):
            pass

    assert fuzz(Family("slow", slow, (b"12",)), 20, number=1).finds[0].error == "it hangs"
