"""Numbers are understood as each language writes them, and refused where they could be two."""

from collections.abc import Iterator

import pytest

from rig.errors import BadInput
from rig.language import LANGUAGES, numeral, shown, speaking, tongue
from rig.units import parse_length, parse_use, parted, pointed

COMMAS = ("es", "de", "fr", "pl", "pt")


@pytest.fixture(params=COMMAS)
def comma(request: pytest.FixtureRequest) -> Iterator[str]:
    with speaking(tongue(request.param)):
        yield request.param


@pytest.mark.parametrize("key", LANGUAGES)
@pytest.mark.parametrize("value", ["0.5", "12.75", "221.5", "1221.5", "1221", "12221.125"])
def test_what_a_language_shows_it_takes(key: str, value: str) -> None:
    with speaking(tongue(key)):
        assert pointed(shown(numeral(value))) == value


@pytest.mark.parametrize(
    ("text", "point"),
    [
        ("1221,5", "1221.5"),
        ("1 221,5 mm", "1221.5 mm"),
        ("1\xa0221,5", "1221.5"),
        ("1\u202f221,5", "1221.5"),
        ("1.221,5mm", "1221.5mm"),
        ("12.221.500,5", "12221500.5"),
        ("1,221", "1.221"),
        ("-5,25C", "-5.25C"),
        ("1,7kg/m2/mm", "1.7kg/m2/mm"),
        ("3,5m right 4,2m left", "3.5m right 4.2m left"),
        ("30,5m2,5h", "30.5m2,5h"),
        # What a point can only be the decimal sign of, and what is no decimal at all.
        ("12.5mm", "12.5mm"),
        ("1221.125", "1221.125"),
        ("0.125", "0.125"),
        ("1.221m", "1.221m"),
        ("48 3/16", "48 3/16"),
        ("1 220 3/16in", "1 220 3/16in"),
        ("2.125in", "2.125in"),
        ("48,5in", "48,5in"),
    ],
)
def test_a_decimal_comma_and_parted_thousands(comma: str, text: str, point: str) -> None:
    assert pointed(text) == point


@pytest.mark.parametrize("text", ["1.221", "12.500 mm", "221.125 l", "18.500"])
def test_a_point_before_three_digits_could_part_thousands(comma: str, text: str) -> None:
    with pytest.raises(BadInput, match="could mean"):
        pointed(text)
    with pytest.raises(BadInput):
        parse_length(pointed("1,221.5"), unit="mm")


def test_english_has_them_the_other_way_round() -> None:
    assert pointed("1,221.5mm") == "1221.5mm"
    assert pointed("1.221") == "1.221"
    for text in ("1,221", "1.221,5", "1 221,5"):
        assert pointed(text) == text
        with pytest.raises(BadInput):
            parse_length(text, unit="mm")
    with pytest.raises(BadInput):
        parse_use("1,7kg/m2/mm")


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("3,5m,4,2m", ["3.5m", "4.2m"]),
        ("3,5m; 4,2m", ["3.5m", " 4.2m"]),
        ("3m,4,5m", ["3m", "4.5m"]),
        ("1.221,5mm,2m", ["1221.5mm", "2m"]),
        ("1 221,5mm,2m", ["1221.5mm", "2m"]),
        ("12ft,15ft", ["12ft", "15ft"]),
        ("1221,5,1220,5", ["1221.5", "1220.5"]),
        ("1221,1220", ["1221", "1220"]),
    ],
)
def test_lists_are_parted_at_what_is_no_decimal_comma(
    comma: str, text: str, parts: list[str]
) -> None:
    assert parted(text, 2) == parts
