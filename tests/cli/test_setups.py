"""Several set-ups through the command line: tied, contradicting, in the way, or not at all."""

from typing import Any

import pytest

from tests.cli.conftest import Run, Table

HEAD = "label,x,y,reading,stderr,setup,kind\n"
PLACES = [(200, 200), (2800, 200), (1500, 2000), (200, 3800), (2800, 3800), (700, 1100)]


def floor(setups: Any, shift: Any) -> Any:
    rows = ""
    for n, (x, y) in enumerate(PLACES):
        setup = setups[n % len(setups)]
        rows += f"P{n},{x},{y},{1200 + n + shift[setup]},0.3,{setup},floor\n"
    return rows


def marks(shift: Any, wrong: Any = None) -> Any:
    heights = {"BM1": 1000, "BM2": 1040, "BM3": 930}
    return "".join(
        f"{b},,,{z + up + (8 if (setup, b) == wrong else 0)},0.3,{setup},benchmark\n"
        for setup, up in shift.items()
        for b, z in heights.items()
    )


SHIFT = {"one": 0, "two": 100, "three": -45}


@pytest.fixture
def room(run: Run) -> Any:
    assert run("new", "--room", "3m,4m", "--units", "mm", "--min-cover", "6mm").code == 0
    return run


def take(run: Run, table: Table, rows: Any) -> Any:
    return run("import", table(HEAD + rows), "--unit", "mm")


@pytest.mark.parametrize("command", ["floor", "plan"])
def test_a_wrong_benchmark_sight_is_named_with_its_amount(
    room: Any, table: Table, command: Any
) -> None:
    take(room, table, marks(SHIFT, wrong=("two", "BM3")) + floor(list(SHIFT), SHIFT))
    told = room(command, "--json").json["warnings"]
    named = [text for text in told if "BM3 from set-up two" in text]
    assert len(named) == 1
    assert "8" in named[0]
    assert "more" in named[0]
    assert any("widened" in text for text in told)


def test_sound_benchmarks_are_silent_and_sure(room: Any, table: Table) -> None:
    take(room, table, marks(SHIFT) + floor(list(SHIFT), SHIFT))
    result = room("floor", "--json").json
    assert not [text for text in result["warnings"] if "set-up" in text]
    lines = {line["setup"]: line for line in result["setups"]}
    assert lines["two"]["line_mm"] == pytest.approx(100.0)
    # By hand: three differences, each of two sights of 0.3 mm, tied further through set-up three;
    # with three benchmarks from all three it is as if three were not there: 0.3·√(2/3).
    assert lines["two"]["stderr_mm"] == pytest.approx(0.3 * (2 / 3) ** 0.5)


def test_residuals_are_shown(room: Any, table: Table) -> None:
    take(room, table, marks(SHIFT, wrong=("two", "BM3")) + floor(list(SHIFT), SHIFT))
    ties = room("floor", "--json").json["ties"]
    assert ties["redundancy"] == 9 - 2 - 3
    worst = max(ties["sights"], key=lambda sight: abs(sight["standardised"]))
    assert (worst["setup"], worst["benchmark"]) == ("two", "BM3")
    # By hand: of 8 mm in one of nine sights (3 by 3) 4/9 shows in its own residual.
    assert worst["residual_mm"] == pytest.approx(8.0 * 4 / 9)
    text = room("floor", "--why").out
    assert "Set-up two: its line stands 10" in text
    assert "farthest off is BM3 from set-up two, by +3.6 mm" in text


def test_residuals_of_a_job_in_inches_are_shown_in_inches(run: Run, table: Table) -> None:
    assert run("new", "--room", "3m,4m", "--units", "in", "--min-cover", "6mm").code == 0
    take(run, table, marks(SHIFT, wrong=("two", "BM3")) + floor(list(SHIFT), SHIFT))
    text = run("floor", "--why").out
    assert "farthest off is BM3 from set-up two, by +1/8 in" in text  # 3.56 mm: 4.5/32
    assert " mm" not in text


def test_a_tie_without_a_spare_sight_says_so(room: Any, table: Table) -> None:
    take(room, table, "BM,,,1000,0.3,one,benchmark\n"
         + "BM,,,1100,0.3,two,benchmark\n" + floor(["one", "two"], SHIFT))  # fmt: skip
    assert "a wrong one would not show" in room("floor", "--why").out


def test_a_finished_shot_of_an_untied_setup_blocks_no_floor(room: Any, table: Table) -> None:
    take(room, table, floor(["one"], SHIFT) + "P0,200,200,900,0.3,after,finished\n")
    assert room("floor", "--json").code == 0
    assert room("plan", "--json").code == 0


def test_the_first_setup_stays_the_reference_when_its_first_shots_are_shot_again(
    room: Any, table: Table
) -> None:
    take(room, table, marks({"one": 0, "two": 100}) + floor(["one", "two"], SHIFT))
    before = room("floor", "--json").json
    # All of set-up one's benchmarks and its first floor shot are taken anew, later than two's.
    take(room, table, marks({"one": 0}) + "P0,200,200,1300,0.3,two,floor\n")
    after = room("floor", "--json").json
    assert after["setups"][0]["setup"] == before["setups"][0]["setup"] == "one"
    assert after["high"]["z_mm"] == pytest.approx(before["high"]["z_mm"], abs=0.5)


def test_a_table_may_not_call_a_benchmark_like_a_grid_point(room: Any, table: Table) -> None:
    assert room("grid", "--json").code == 0
    refused = take(room, table, "A1,,,1000,0.3,one,benchmark\n")
    assert refused.code == 2
    assert "line 2" in refused.err
    assert "BM1" in refused.err
    assert take(room, table, "A1,2000,3000,1000,0.3,one,benchmark\n").code == 2


def test_a_benchmark_and_a_floor_shot_that_share_no_more_than_a_name_tie_nothing(
    room: Any, table: Table
) -> None:
    rows = floor(["one"], SHIFT) + "P0,,,900,0.3,two,benchmark\nQ,1000,1000,1300,0.3,two,floor\n"
    take(room, table, rows)
    refused = room("plan")
    assert refused.code == 1
    assert "set-up two" in refused.err


def test_a_line_tied_at_a_floor_shot_stays_tied(room: Any, table: Table) -> None:
    """`rig set` without a benchmark ties its new line at a shot point; the table keeps that."""
    take(room, table, floor(["one"], SHIFT))
    assert room("plan").code == 0
    assert room("markers").code == 0
    again = room("set", "--typed", "--setup", "two", "--json", typed="1300\nq\n")
    checked = next(event for event in again.events if event["event"] == "checked")
    at = int(checked["label"][1:])
    lines = {s["setup"]: s for s in room("floor", "--json").json["setups"]}
    assert lines["two"]["line_mm"] == pytest.approx(1300 - 1200 - at)
    assert lines["two"]["stderr_mm"] > 0.5  # the spot is found again only so well
    files = room("export", "--format", "csv", "--out", "out", "--json").json["files"]
    room("new", "--job", "copy.sqlite", "--room", "3m,4m", "--units", "mm")
    assert room("import", "--job", "copy.sqlite", files[0], "--unit", "mm").code == 0
    copied = {s["setup"]: s for s in room("floor", "--job", "copy.sqlite", "--json").json["setups"]}
    assert copied["two"] == lines["two"]


def test_a_contradiction_is_told_while_benchmarks_are_shot(room: Any) -> None:
    room("grid")
    for setup, label, reading in (
        ("1", "BM1", 1000),
        ("1", "BM2", 1100),
        ("2", "BM1", 1050),
    ):
        words = ["--typed", "--kind", "benchmark", "--label", label, "--setup", setup, "--json"]
        quiet = room("survey", *words, typed=f"{reading}\n")
        assert not [event for event in quiet.events if event["event"] == "trouble"]
    words = ["--typed", "--kind", "benchmark", "--label", "BM2", "--setup", "2", "--json"]
    told = room("survey", *words, typed="1162\n").events
    named = [e["text"] for e in told if e["event"] == "trouble" and e["reason"] == "ties"]
    assert named
    assert "cannot tell" in named[0]
    assert told[-1]["event"] == "done"


def test_a_walk_taken_up_again_says_that_its_line_is_not_known_to_stand(room: Any) -> None:
    assert room("grid").code == 0
    said = "nobody can tell whether its line still stands"
    first = room("survey", "--typed", typed="1200\n1201\nq\n")
    assert said not in first.err
    again = room("survey", "--typed", typed="1202\nq\n")
    assert said in again.err
    assert (
        room("survey", "--kind", "benchmark", "--label", "BM1", "--typed", typed="900\n").code == 0
    )
    assert said not in room("survey", "--typed", typed="1203\nq\n").err


def test_a_room_without_a_door_says_where_its_walls_are_counted_from(run: Run) -> None:
    bare = run("new", "--room", "3m,4m", "--units", "mm", "--job", "bare.sqlite")
    assert "wall 1 from (0 m, 0 m), wall 2 from (3 m, 0 m)" in bare.out
    doored = run("new", "--room", "3m,4m", "--door", "1m,0m,0.9m", "--job", "doored.sqlite")
    assert "wall 1" not in doored.out


def test_the_grid_says_in_one_line_which_wall_is_which_where_no_door_names_them(run: Run) -> None:
    run("new", "--room", "3m,4m", "--units", "mm", "--job", "bare.sqlite")
    lines = run("grid", "--job", "bare.sqlite").out.splitlines()
    told = [line for line in lines if "wall 1 from (" in line]
    assert len(told) == 1
    assert "wall 1 from (0 m, 0 m), wall 2 from (3 m, 0 m)" in told[0]
    assert "wall" not in run("grid", "--job", "bare.sqlite", "--json").out
    run("new", "--room", "3m,4m", "--door", "1m,0m,0.9m", "--job", "doored.sqlite")
    assert "wall 1" not in run("grid", "--job", "doored.sqlite").out
