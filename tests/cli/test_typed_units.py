"""Readings typed by hand: their unit is settled once, and never guessed where two explain them."""

import json
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Run


@pytest.fixture
def inches(run: Run) -> Run:
    assert run("new", "--room", "12ft,15ft", "--units", "in").code == 0
    assert run("grid").code == 0
    return run


def kept() -> object:
    with sqlite3.connect("job.sqlite") as database:
        return json.loads(database.execute("SELECT other FROM job").fetchone()[0]).get("typed_unit")


def shots(events: list[dict[str, object]]) -> list[object]:
    return [event["reading_mm"] for event in events if event["event"] == "shot"]


def unit_asks(events: list[dict[str, object]]) -> list[object]:
    return [e["choices"] for e in events if e["event"] == "ask" and e["what"] == "unit"]


def test_a_first_reading_that_two_units_explain_is_asked_about(inches: Run) -> None:
    told = inches("survey", "--typed", "--json", typed="4.05\nft\n4.11\nq\n")
    assert told.code == 0, told.err
    (asked,) = (e for e in told.events if e["event"] == "ask" and e["what"] == "unit")
    assert asked["choices"] == ["in", "ft"]
    assert "4 1/16" in asked["text"]
    assert "48 19/32" in asked["text"]
    assert shots(told.events) == pytest.approx([4.05 * 304.8, 4.11 * 304.8])
    assert kept() == "ft"
    again = inches("survey", "--typed", "--json", typed="4.08\nq\n")
    assert unit_asks(again.events) == []
    assert shots(again.events) == pytest.approx([4.08 * 304.8])


@pytest.mark.parametrize("typed", ["4.05\n", "4.05\n4.11\nft\n", "4.05\nq\n", "4.05\nmm\n"])
def test_a_unit_that_nobody_says_is_refused_and_no_shot_kept(inches: Run, typed: str) -> None:
    refused = inches("survey", "--typed", "--json", typed=typed)
    assert refused.code == 2
    assert "--unit ft" in refused.err
    assert shots(refused.events) == []
    with sqlite3.connect("job.sqlite") as database:
        assert database.execute("SELECT count(*) FROM shot").fetchone() == (0,)
    assert kept() is None


@pytest.mark.parametrize(
    ("unit", "typed", "reading_mm"),
    [("ft", "4.05", 1234.44), ("in", "4.05", 102.87), ("cm", "122.5", 1225), ("m", "1.222", 1222)],
)
def test_the_option_says_the_unit_and_the_job_keeps_it(
    inches: Run, unit: str, typed: str, reading_mm: float
) -> None:
    told = inches("survey", "--typed", "--unit", unit, "--json", typed=f"{typed}\nq\n")
    assert unit_asks(told.events) == []
    assert shots(told.events) == pytest.approx([reading_mm])
    assert kept() == unit


def test_a_fraction_settles_inches(inches: Run) -> None:
    told = inches("survey", "--typed", "--json", typed="48 3/16\n48.5\nq\n")
    assert unit_asks(told.events) == []
    assert shots(told.events) == pytest.approx([48.1875 * 25.4, 48.5 * 25.4])
    assert kept() == "in"


def test_a_later_reading_that_only_another_unit_explains_is_not_taken(inches: Run) -> None:
    told = inches("survey", "--typed", "--json", typed="48 1/4\n1220\n48.5\n1220\nmm\n4.05\nq\n")
    assert told.code == 0
    assert unit_asks(told.events) == [["mm", "in"], ["mm", "in"], ["ft", "in"]]
    assert shots(told.events) == pytest.approx([48.25 * 25.4, 48.5 * 25.4, 1220.0])
    assert not [e for e in told.events if e["event"] == "trouble"]


def test_what_no_unit_explains_is_not_taken_whatever_is_answered(inches: Run) -> None:
    typed = "4.05\nft\n1240\nft\n48 1/2\nin\n4.1\nq\n"
    told = inches("survey", "--typed", "--json", typed=typed)
    assert unit_asks(told.events) == [["in", "ft"], ["mm", "ft"], ["in", "ft"]]
    assert shots(told.events) == pytest.approx([4.05 * 304.8, 48.5 * 25.4, 4.1 * 304.8])
    assert "1240 ft is no reading under a line" in told.err


def test_metres_in_a_millimetre_job_are_asked_about(run: Run) -> None:
    run("new", "--room", "3m,4m", "--units", "mm")
    run("grid")
    told = run("survey", "--typed", "--json", typed="1220\n1.222\nm\n1221\nq\n")
    assert unit_asks(told.events) == [["m", "mm"]]
    assert shots(told.events) == pytest.approx([1220, 1222, 1221])


def test_a_replay_reads_the_units_that_were_typed(inches: Run) -> None:
    inches("survey", "--typed", "--unit", "ft", typed="4.05\n4.11\nq\n")
    inches("new", "--room", "12ft,15ft", "--units", "in", "--job", "two.sqlite")
    inches("grid", "--job", "two.sqlite")
    told = inches("survey", "--job", "two.sqlite", "--replay", "job.sqlite", "--json")
    assert shots(told.events) == [4.05 * 304.8, 4.11 * 304.8]


def test_unit_goes_with_typed_readings_only(inches: Run) -> None:
    refused = inches("survey", "--replay", "nothing.trace", "--unit", "ft")
    assert refused.code == 2


def test_the_first_survey_of_a_job_says_once_which_way_a_tape_reads(inches: Run) -> None:
    first = inches("survey", "--typed", "--json", typed="48 1/4\nq\n").events
    (sense,) = (e for e in first if e["event"] == "ask" and e["what"] == "sense")
    assert "a lower floor" in sense["text"]
    assert len(shots(first)) == 1
    again = inches("survey", "--typed", "--json", typed="48 1/4\nq\n").events
    assert not [e for e in again if e["event"] == "ask" and e["what"] == "sense"]


def test_who_types_is_told_of_the_tape_and_not_of_a_rod(inches: Run) -> None:
    told = inches("survey", "--typed", typed="y\n48 1/4\n0 1/64\nq\n")
    assert "Read the tape at " in told.out
    assert "a tape reads" in told.out
    for word in ("stand the rod", "hold still", "profile"):
        assert word not in told.out


def test_figures_of_a_floor_hardly_shot_are_not_shown(run: Run) -> None:
    run("new", "--room", "3.6m,4.5m", "--units", "mm", "--min-cover", "6mm")
    points = run("grid", "--json").json["points"]
    typed = [f"{1200 + p['y_mm'] / 300:.0f}\n" for p in points]
    first = run("survey", "--typed", typed="".join(typed[:7]) + "q\n").out
    assert "a level floor takes" not in first
    assert "too few shots to say what it takes" in first
    assert "a level floor takes" in run("survey", "--typed", typed="".join(typed[7:])).out


def test_who_sets_markers_with_a_tape_is_told_of_the_tape_only(surveyed: Run) -> None:
    assert surveyed("plan").code == 0
    first = surveyed("markers", "--json").json["markers"][0]["target_reading_mm"]
    check = surveyed("set", "--typed", "--json", typed="q\n").events[0]
    assert check["text"].startswith("read the tape at ")
    # Accepts without a reading, a check that is far off and is looked at again, one at height.
    typed = f"y\n{check['expected_mm'] + 40}\n{check['expected_mm']}\ny\n{first}\nq\n"
    for words in ([], ["--json"]):
        told = surveyed("set", "--typed", *words, typed=typed)
        assert "read the tape at " in told.out + told.err
        for word in ("the rod", "hold still", "clamp", "profile"):
            assert word not in told.out + told.err


def test_decimal_commas_are_understood_in_a_metric_job_where_nothing_is_ambiguous(run: Run) -> None:
    made = run("new", "--room", "3,5m,4,25m", "--units", "mm", "--min-cover", "6,5mm", "--json")
    assert made.json["area_m2"] == pytest.approx(3.5 * 4.25)
    run("grid")
    told = run("survey", "--typed", "--json", typed="1220,5\n1,222\nm\n122,3 cm\n1,219mm\nq\n")
    assert unit_asks(told.events) == [["m", "mm"]]
    assert shots(told.events) == pytest.approx([1220.5, 1222, 1223])
    assert "comma" in told.err  # 1,219mm may be 1219 mm
    for words in (["1,220mm,4m"], ["3,5ft,4ft"], ["3,5m"]):
        assert run("new", "--room", *words, "--job", "two.sqlite").code == 2


def test_a_comma_in_an_inch_job_is_ambiguous(inches: Run) -> None:
    told = inches("survey", "--typed", "--json", typed="48 1/4\n48,5\nq\n")
    assert len(shots(told.events)) == 1
    assert "comma" in told.err
    assert "57mm" not in told.err  # nor do the hints of an inch job name millimetres


@pytest.mark.parametrize(
    ("language", "number"),
    [
        ("de", "1.221,5"),
        ("fr", "1\xa0221,5"),
        ("pl", "1 221,5"),
        ("es", "1.221,5"),
        ("pt", "1.221,5 mm"),
    ],
)
def test_typed_readings_are_understood_as_the_jobs_language_writes_them(
    run: Run, language: str, number: str
) -> None:
    run("new", "--room", "3m,4m", "--units", "mm", "--language", language)
    run("grid")
    told = run("survey", "--typed", "--json", typed=f"1221,5\n1.221\n{number}\n1 219\nq\n")
    assert shots(told.events) == [1221.5, 1221.5, 1219.0]
    assert told.err.count("1,221") == 1  # which is what 1.221 could mean, or 1221
    with sqlite3.connect("job.sqlite") as database:  # a log that no language reads otherwise
        raw = [row[0] for row in database.execute("SELECT raw FROM reading ORDER BY id")]
    assert [text.split()[0] for text in raw] == ["1221.5", "1221.5", "1219"]


def test_options_are_read_in_the_language_of_the_job_that_they_are_for(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    room = ("--room", "3,5m;4,25m", "--units", "mm", "--language", "de")
    assert run("new", *room, "--json").json["area_m2"] == pytest.approx(3.5 * 4.25)
    refused = run("edit", "--max-cover", "1.221mm")
    assert (refused.code, "1221" in refused.err) == (2, True)
    assert run("edit", "--max-cover", "1.221mm", "--language", "en").code == 0
    assert run("edit", "--max-cover", "1,221mm").code == 2  # it is the job's, which is English now
    run("edit", "--language", "fr")
    two = ("check", "repeat", "--unit", "mm", "--json")
    told = run(
        *two, "--reading", "1221,5;1\u202f221,3", "--reading", "1221,4mm", "--limit", "0,5mm"
    ).json
    assert told["n"] == 3
    refused = run(*two, "--reading", "1221,5")
    assert (refused.code, ";" in refused.err) == (2, True)
    of_none = ("quote", "--area", "30,5m2", "--depth", "12,5mm", "--product", "plain example")
    monkeypatch.setenv("LANGUAGE", "fr")
    assert "640,00" in run(*of_none).out
    told = run("check", "rod", "--pair", "1221,5,1220,5", "--unit", "mm", "--json")
    assert told.json["zero_offset_mm"] == pytest.approx(1.0)


def test_a_product_is_kept_the_same_in_whichever_language_it_was_typed(run: Run) -> None:
    def added(name: str, *words: str) -> dict[str, Any]:
        answer = run("product", "add", name, *words, "--json")
        assert answer.code == 0, answer.err
        (told,) = answer.json["products"]
        return {key: value for key, value in told.items() if key != "name"}

    english = ("--use", "1.7kg/m2/mm", "--bag-mass", "25kg", "--price", "18.50")
    spanish = ("--use", "1,7kg/m2/mm", "--bag-mass", "25kg", "--price", "18,50")
    assert added("A", *english) == added("B", *spanish, "--language", "es")
    crew = ("--kind", "crew", "--language", "es", "--took", "30,5m2,5,5h", "--people", "2")
    (took,) = added("C", *crew)["took"]
    assert took == {"area_m2": 30.5, "time_s": 5.5 * 3600}
    refused = run("product", "add", "D", "--price", "18.500", "--language", "es")
    assert refused.code == 2


def test_files_are_read_the_same_in_every_language(run: Run) -> None:
    Path("shots.csv").write_text(
        "label,x,y,reading\n" + "".join(f"P{n},{n}.125,1.250,1.22{n}\n" for n in range(5))
    )
    Path("prices.toml").write_text(
        '[[line]]\nitem = "tile"\nunit = "m2"\nprice = "1.250"\n'
        '[[line]]\nitem = "compound"\nunit = "bag"\nprice = "18.500"\n'
    )
    quote = ("quote", "--area", "30m2", "--depth", "12mm", "--product", "plain example")
    kept = []
    for key in ("en", "de", "fr"):
        job = ("--job", f"{key}.sqlite")
        new = ("new", "--room", "6m,4m", "--units", "mm", "--language", key, *job)
        assert run(*new).code == 0
        assert run("import", "shots.csv", "--unit", "m", *job).code == 0
        with sqlite3.connect(f"{key}.sqlite") as database:
            shots = database.execute("SELECT point, reading_mm FROM shot ORDER BY id").fetchall()
        kept.append(
            (shots, run(*quote, "--prices", "prices.toml", "--json", "--language", key).out)
        )
    assert kept[0] == kept[1] == kept[2]
    assert kept[0][0][0] == ("P0", 1220.0)
