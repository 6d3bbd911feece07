"""`rig quote`, before the survey, during it and after, through the command line."""

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from rig.job import Job
from tests.cli.conftest import Run, Table

BOOK = """currency = "EUR"
tax = "19%"
[[line]]
item = "compound"
unit = "bag"
price = "18.50"
[[line]]
item = "labour"
unit = "hour"
price = "52"
"""
PLAIN = ("--product", "plain example", "--prices", "prices.toml")


@pytest.fixture
def priced(run: Run) -> Run:
    Path("prices.toml").write_text(BOOK)
    return run


def width(answer: dict[str, Any]) -> Decimal:
    return Decimal(answer["total"]["high"]) - Decimal(answer["total"]["low"])


def test_a_quote_before_the_survey(priced: Run) -> None:
    """320 ft² at 1/2 in are 13.33 ft³; with 5 % waste at 0.45 ft³ a bag 31.1, so 32 bags."""
    answer = priced("quote", "--area", "320ft2", "--depth", "1/2in", *PLAIN, "--json").json
    compound = answer["lines"][0]
    assert (compound["quantity"], compound["amount"]) == (32, "592.00")
    total = answer["total"]
    assert sum(Decimal(line["amount"]) for line in answer["lines"]) == Decimal(total["likely"])
    assert Decimal(total["low"]) < Decimal(total["likely"]) < Decimal(total["high"])
    assert {one["what"] for one in answer["hangs_on"]} == {"depth", "labour"}
    two = ("--area", "160ft2", "--area", "160ft2", "--depth", "1/2in")
    rooms = priced("quote", *two, *PLAIN, "--json").json
    assert rooms["lines"][0] == compound
    assert width(rooms) < width(answer)  # two guesses err less than one
    assert "9 times in 10" in priced("quote", *two, *PLAIN).out
    told = priced("quote", "--area", "320ft2", "--depth", "1/2in", *PLAIN, "--language", "de").out
    assert "32 Säcke zu 18,50\xa0€: 592,00\xa0€" in told


def test_the_range_shrinks_as_the_survey_goes_on(surveyed: Run, table: Table) -> None:
    run = surveyed
    Path("prices.toml").write_text(BOOK.partition('[[line]]\nitem = "labour"')[0])
    rows = Path("floor.csv").read_text().splitlines()
    few = "\n".join([rows[0], *rows[1::2]]) + "\n"
    new = ("new", "--room", "3m,4m", "--units", "mm", "--min-cover", "6mm", "--job", "few.sqlite")
    assert run(*new).code == 0
    of_job = ("quote", "--job", "few.sqlite", *PLAIN, "--json")
    assert "--depth 1/2in" in run(*of_job).err
    look = [f"{rows[n].split(',')[3]}mm" for n in (1, 6, 15, 25, 30)]
    early = run(*of_job, *(word for one in look for word in ("--reading", one))).json
    assert not early["measured"]
    assert early["area_m2"] == pytest.approx(12.0)
    assert run("import", table(few, "few.csv"), "--unit", "mm", "--job", "few.sqlite").code == 0
    half, whole = run(*of_job).json, run("quote", "--job", "job.sqlite", *PLAIN, "--json").json
    assert half["measured"]
    assert width(early) > width(half) > width(whole)


def test_a_floor_planned_at_even_odds_is_quoted_with_its_doubt(surveyed: Run) -> None:
    run = surveyed
    Path("prices.toml").write_text(BOOK)
    assert run("edit", "--bag-yield", "1l").code == 0  # so small that whole bags hide nothing
    assert run("plan", "--confidence", "50%").code == 0
    bags = run("quote", "--prices", "prices.toml", "--json").json["bags"]
    assert bags["low"] < bags["likely"] < bags["high"]


def test_waste_that_is_given_counts_for_a_floor_that_was_shot_too(surveyed: Run) -> None:
    run = surveyed
    Path("prices.toml").write_text(BOOK)
    assert run("edit", "--bag-yield", "1l").code == 0
    quote = ("quote", "--prices", "prices.toml", "--json")
    own, more = (run(*quote, *waste).json["bags"] for waste in ((), ("--waste", "20%")))
    assert more["likely"] == pytest.approx(own["likely"] * 1.20 / 1.05, abs=1)


def test_what_was_quoted_is_held_against_what_came_true(surveyed: Run) -> None:
    run = surveyed
    Path("prices.toml").write_text(BOOK)
    assert run("quote", "--keep", "--prices", "prices.toml").code == 0
    assert run("quote", "--compare").code == 1
    done = {
        "batches": 9, "bags_used": 9.0, "share": 1.0, "yield_l": 12.0, "interval_s": 60.0,
        "planned_interval_s": 60.0, "unticked": [],
    }  # fmt: skip
    with Job.open("job.sqlite", write=True) as job:
        job.log_event(None, None, 1.0, "pour_done", done)
    told = run("quote", "--compare", "--json").json
    assert told["bags_used"] == 9.0
    bags = told["quoted"]["bags"]
    assert told["within"] == (bags["low"] <= 9 <= bags["high"])
    with Job.open("job.sqlite", write=True) as job:
        job.log_event(None, None, 1.0, "quote", {"product": "Blend"})
    assert "quote cannot be read" in run("quote", "--compare").err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--area", "320ft2", *PLAIN), "--depth 1/2in by eye"),
        (("--area", "320ft2", "--depth", "1/2in"), "Say which compound"),
        (("--area", "320", "--depth", "1/2in", *PLAIN), "unit is missing"),
        (("--area", "30m2", *(["--reading", "1200mm"] * 4), *PLAIN), "takes 5 readings"),
        (("--area", "30m2", "--depth", "1cm", "--depth", "2cm", *PLAIN), "one for each"),
        (("--area", "30m2", "--keep", *PLAIN), "not for both"),
        (("--area", "30m2", "--depth", "1cm", "--product", "X"), "There is no 'X' (compound)"),
    ],
)
def test_what_cannot_be_quoted_is_told(priced: Run, words: tuple[str, ...], told: str) -> None:
    said = priced("quote", *words)
    assert said.code == 2
    assert told in said.err
