"""A tape held upside down or a rod read from its top is seen where anything can tell."""

from typing import Any

import pytest

from tests.cli.conftest import Run

ROD_MM = 3000.0


def sense(events: list[dict[str, Any]]) -> tuple[int, list[str]]:
    """How often it was asked which way a tape is read, and what was doubted."""
    asked = sum(e["event"] == "ask" and e.get("what") == "sense" for e in events)
    return asked, [e["text"] for e in events if e.get("reason") == "sense"]


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_threshold_under_the_floor_beside_it_is_doubted(run: Run, mirrored: bool) -> None:
    run("new", "--room", "3m,4m", "--units", "mm", "--min-cover", "6mm")
    points = run("grid", "--spacing", "1.4m", "--json").json["points"]

    def typed(*true_mm: float) -> str:
        return "".join(f"{ROD_MM - r if mirrored else r:.0f}\n" for r in true_mm) + "q\n"

    sill = run(
        "survey", "--kind", "threshold", "--label", "T1", "--at", "1.5m,0m", "--typed", "--json",
        typed=typed(1218.0),
    )  # fmt: skip
    assert sense(sill.events) == (0, [])
    floor = [1228.0 + p["y_mm"] / 500 + (p["x_mm"] * 7 % 5) / 3 for p in points]
    told = run("survey", "--typed", "--json", typed=typed(*floor))
    asked, doubted = sense(told.events)
    assert asked == 0  # the threshold tells
    warned = [text for text in run("floor", "--json").json["warnings"] if "upside down" in text]
    assert len(doubted) == len(warned) == mirrored
    if mirrored:
        assert "T1 reads" in warned[0]
        assert "lower than the floor beside it" in warned[0]


@pytest.mark.parametrize("mirrored", [False, True])
def test_two_benchmarks_that_differ_the_other_way_round_are_doubted(
    run: Run, mirrored: bool
) -> None:
    run("new", "--room", "3m,4m", "--units", "mm")
    run("grid")
    doubted: list[str] = []
    for setup, readings in (("A", (1180, 1212)), ("B", (1230, 1262))):
        for label, reading in zip(("BM1", "BM2"), readings, strict=True):
            typed = ROD_MM - reading if mirrored and setup == "B" else reading
            words = ("--kind", "benchmark", "--label", label, "--setup", setup)
            told = run("survey", *words, "--typed", "--json", typed=f"{typed}\nq\n")
            doubted += sense(told.events)[1]
    assert len(doubted) == mirrored
    if mirrored:
        assert "the other way round" in doubted[0]
    walk = run("survey", "--setup", "B", "--typed", "--skip-check", "--json", typed="1240\nq\n")
    assert sense(walk.events)[0] == 0


def test_where_nothing_can_tell_it_is_asked_and_holds_nothing_up(run: Run) -> None:
    run("new", "--room", "3m,4m", "--units", "mm")
    run("grid")
    words = ("--kind", "benchmark", "--label", "BM1")
    assert run("survey", *words, "--typed", typed="1180\nq\n").code == 0
    walk = run("survey", "--typed", "--skip-check", "--json", typed="1240\nq\n")
    assert sense(walk.events)[0] == 1
    assert [e["event"] for e in walk.events].count("shot") == 1
