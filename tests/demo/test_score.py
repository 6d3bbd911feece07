"""The rows of a practice score, in the units of the job."""

from dataclasses import replace
from typing import Any

import pytest

from rig.demo.score import Round, score_rows
from rig.units import System, Units

ROUND = Round(
    seconds=754.4,
    shots=14,
    wasted=0,
    markers=6,
    markers_of=6,
    markers_worst_mm=0.7,
    tolerance_mm=1.0,
    bags_site=12,
    bags_used=11,
    bags_needed=10.4,
    edge_age_s=540.0,
    working_s=720.0,
    cover_mm=6.1,
    min_cover_mm=6.35,
    verdict="in",
    gap_mm=0.1,
)


@pytest.mark.parametrize(
    ("units", "worst", "cover", "gap"),
    [
        ("in", "1/32 in off", ("1/4 in", "1/4 in"), "less than 1/32 in"),
        ("mm", "0.7 mm off", ("6.1 mm", "6.4 mm"), "0.1 mm"),
    ],
)
def test_a_round_is_told_in_the_units_of_the_job(
    units: System, worst: str, cover: tuple[str, str], gap: str
) -> None:
    rows = {row.what: row for row in score_rows(ROUND, Units(units))}
    assert rows["time"].got == "12 min 34 s"
    assert rows["markers"].got == f"6 of 6 set, worst {worst}"
    assert (rows["least cover"].got, rows["least cover"].aim) == cover
    assert rows["flatness"].got == f"in, worst gap {gap}"
    assert all(row.good is not False for row in rows.values())


@pytest.mark.parametrize(
    ("change", "what", "good"),
    [
        ({"wasted": 1}, "shots", False),
        ({"markers": 5}, "markers", False),
        ({"markers_worst_mm": 1.2}, "markers", False),
        ({"bags_used": 9}, "bags", False),
        ({"edge_age_s": 730.0}, "wet edge", False),
        ({"cover_mm": 5.5}, "least cover", False),
        ({"verdict": "unsure"}, "flatness", None),
        ({"verdict": "out"}, "flatness", False),
    ],
)
def test_what_went_wrong_is_not_called_good(
    change: dict[str, Any], what: str, good: bool | None
) -> None:
    rows = {row.what: row for row in score_rows(replace(ROUND, **change), Units("in"))}
    assert rows[what].good is good
