"""Sentences read as English wherever they go, and know at the edge of what they were made."""

import gettext
import json
import pickle

import pytest

from rig.language import (
    Tongue,
    Worded,
    again,
    join,
    moment,
    money,
    numeral,
    of_environment,
    put,
    say,
    say_many,
    shown,
    shown_in,
    speaking,
    tongue,
)


class _Catalogue(gettext.NullTranslations):
    def gettext(self, message: str) -> str:
        return {"{label} reads {reading}": "{reading} bei {label}"}.get(message, message)

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return "{count} Sack" if n == 1 else "{count} Säcke"


AT_UTC_S = 1796146800.0  # 2026-12-01 17:40, a Tuesday
GERMAN = Tongue("de", "de", _Catalogue(), ",", "")


def test_a_sentence_is_english_until_it_is_shown() -> None:
    text = say("{label} reads {reading}", label="A1", reading=put("{n} mm", n=numeral(1221.5)))
    assert text == "A1 reads 1221.5 mm"
    assert json.dumps([text]) == '["A1 reads 1221.5 mm"]'
    assert shown(text) == text
    with speaking(GERMAN):
        assert shown(text) == "1221,5 mm bei A1"
        assert shown(ValueError(text)) == "1221,5 mm bei A1"
        assert shown(say("{error}", error=ValueError(text))) == "1221,5 mm bei A1"
        assert shown(join("; ", [text, "A2"])) == "1221,5 mm bei A1; A2"
        assert shown("* " + text + ".") == "* 1221,5 mm bei A1."
        assert shown_in({"a": (text, 1)}) == {"a": ("1221,5 mm bei A1", 1)}
    assert text == "A1 reads 1221.5 mm"


def test_a_count_takes_the_form_that_fits_it() -> None:
    bags = [say_many("{count} bag", "{count} bags", n) for n in (1, 2, 2.5)]
    assert bags == ["1 bag", "2 bags", "2.5 bags"]
    with speaking(GERMAN):
        assert [shown(one) for one in bags] == ["1 Sack", "2 Säcke", "2,5 Säcke"]


def test_what_is_kept_of_a_sentence_makes_it_again() -> None:
    for text in (
        say("{label} reads {reading}", label="A1", reading=numeral(2.5)),
        say_many("{count} bag", "{count} bags", 3),
        join(", ", [say("one"), "two"]),
        money("1234.50", "EUR"),
        moment(AT_UTC_S, "minute", utc=True),
    ):
        assert isinstance(text, Worded)
        for made in (
            again(json.loads(json.dumps(text.as_kept()))),
            pickle.loads(pickle.dumps(text)),
        ):
            assert made == text
            with speaking(GERMAN):
                assert shown(made) == shown(text)


@pytest.mark.parametrize(
    ("key", "sum_of_money", "francs", "at", "on"),
    [
        ("en", "1234.50 EUR", "99.90 Fr.", "2026-12-01 17:40", "Tue 17:40"),
        ("es", "1.234,50 €", "99,90 Fr.", "1 dic 2026, 17:40", "mar, 17:40"),
        ("de", "1.234,50 €", "99,90 Fr.", "01.12.2026, 17:40", "Di., 17:40"),
        ("fr", "1 234,50 €", "99,90 Fr.", "1 déc. 2026, 17:40", "mar. 17:40"),
        ("pl", "1 234,50 €", "99,90 Fr.", "1 gru 2026, 17:40", "wt., 17:40"),
        ("pt", "€ 1.234,50", "99,90 Fr.", "1 de dez. de 2026, 17:40", "ter., 17:40"),
    ],
)
def test_money_and_times_are_written_as_the_language_has_them(
    key: str, sum_of_money: str, francs: str, at: str, on: str
) -> None:
    """As the Unicode CLDR has them; the letters of a currency that it has not follow the number."""
    texts = (
        money("1234.50", "EUR"),
        money("99.90", "Fr."),
        moment(AT_UTC_S, "minute", utc=True),
        moment(AT_UTC_S, "weekday", utc=True),
    )
    with speaking(tongue(key)):
        told = tuple(shown(text).replace("\xa0", " ") for text in texts)
    assert told == (sum_of_money, francs, at, on)
    assert texts[0] == "1234.50 EUR"


@pytest.mark.parametrize(
    "told", [["money", "x1", "EUR"], ["moment", "yesterday", "day"], ["moment", "2026", "week"]]
)
def test_what_a_strange_file_keeps_of_them_is_shown_as_it_is(told: list[str]) -> None:
    with speaking(tongue("de")):
        assert shown(again(told)) == str(told)


@pytest.mark.parametrize(
    ("environment", "key"),
    [
        ({}, "en"),
        ({"LANG": "de_AT.UTF-8"}, "de"),
        ({"LANG": "C.UTF-8"}, "en"),
        ({"LC_ALL": "pt_BR.UTF-8", "LANG": "pl_PL"}, "pt"),
        ({"LANGUAGE": "xx:fr", "LANG": "de_DE"}, "fr"),
    ],
)
def test_the_environment_says_which_language(environment: dict[str, str], key: str) -> None:
    assert of_environment(environment) == key
