"""Shots that lie outside the walls since these were mended: named, and used only beside a wall."""

import json
from typing import Any

import pytest

from tests.cli.conftest import Run, Table

HUMP_MM = 60.0


@pytest.fixture
def shot(run: Run, table: Table) -> Any:
    """A room of 5 m by 4 m; its last two columns of shots, from x 4.1 m on, stand on a hump."""
    assert run("new", "--room", "5m,4m", "--units", "mm", "--min-cover", "6mm").code == 0
    rows = [
        f"P{i}{j},{200 + i * 650},{200 + j * 720},"
        f"{1200 + 3 * i - 2 * j + (i * j) % 3 - HUMP_MM * (i > 5)}"
        for i in range(8)
        for j in range(6)
    ]
    path = table("label,x,y,reading\n" + "\n".join(rows) + "\n")
    assert run("import", path, "--unit", "mm").code == 0
    return run


def warned(told: dict[str, Any], word: str) -> list[str]:
    return [text for text in told["warnings"] if word in text]


def test_a_shot_metres_outside_the_walls_sets_no_high_point(shot: Any) -> None:
    before = shot("floor", "--json").json
    assert before["shots"] == 48
    assert not warned(before, "outside the walls")
    edited = shot("edit", "--room", "3m,4m")
    assert "! 18 floor shots lie more than 0.3 m outside the walls" in edited.out
    floor = shot("floor", "--json").json
    assert floor["shots"] == 30
    assert floor["high"]["z_mm"] < before["high"]["z_mm"] - HUMP_MM / 2.0
    (said,) = warned(floor, "outside the walls")
    assert "not used: P50, P51, P52, P53, P54 …" in said
    plan = shot("plan", "--json").json
    assert plan["cover_mm"]["max"] < HUMP_MM
    assert warned(plan, "18 floor shots")
    for words in (["flatness", "--rule", "click-lock"], ["plan", "--patch", "click-lock"]):
        assert warned(shot(*words, "--json").json, "18 floor shots")


def test_the_answer_is_that_of_a_job_without_those_shots(shot: Any, run: Run, table: Table) -> None:
    shot("edit", "--room", "3m,4m")
    files = shot("export", "--format", "csv", "--json").json["files"]
    with open(files[0]) as file:
        head, *rows = file.read().splitlines()
    inside = [row for row in rows if float(row.split(",")[1]) <= 3000.0]
    assert len(inside) == 30
    run("new", "--job", "small.sqlite", "--room", "3m,4m", "--units", "mm", "--min-cover", "6mm")
    path = table("\n".join([head, *inside]) + "\n", "inside.csv")
    assert run("import", "--job", "small.sqlite", path, "--unit", "mm").code == 0
    mended, small = (
        shot("floor", "--json").json,
        run("floor", "--job", "small.sqlite", "--json").json,
    )
    assert mended["high"] == pytest.approx(small["high"])


def test_a_shot_just_outside_a_wall_still_tells_of_the_floor_and_is_named(shot: Any) -> None:
    shot("edit", "--room", "3.3m,4m")
    near = shot("floor", "--json").json
    assert near["shots"] == 36
    (used,) = warned(near, "0.3 m at most")
    assert used.startswith("6 floor shots lie outside the walls")
    assert "used all the same: P50, P51" in used
    assert len(warned(near, "12 floor shots lie more than 0.3 m outside")) == 1


def test_exports_and_report_leave_them_out_and_say_so(shot: Any) -> None:
    shot("edit", "--room", "3m,4m")
    file = shot("export", "--format", "geojson", "--json").json["files"][0]
    with open(file) as text:
        told = json.load(text)
    labels = [str(one["properties"].get("label", "")) for one in told["features"]]
    assert sum(label.startswith("P") for label in labels) == 30
    assert "18 floor shots lie more than 0.3 m outside" in json.dumps(told, ensure_ascii=False)
    report = next(f for f in shot("report", "--json").json["files"] if f.endswith(".html"))
    with open(report) as text:
        assert "18 floor shots lie more than 0.3 m outside" in text.read()


def test_an_opening_that_comes_later_takes_its_shots_out(shot: Any) -> None:
    shot("edit", "--opening", "1.3m,1.4m,0.5m,0.5m")
    duct = shot("floor", "--json").json
    assert duct["shots"] == 48
    assert "used all the same: P22." in warned(duct, "in an opening")[0]
    shot("edit", "--opening", "1m,1m,1.2m,1.2m")
    hall = shot("floor", "--json").json
    assert hall["shots"] == 47
    assert "inside an opening, and is not used: P22." in warned(hall, "not used")[0]


def test_the_line_is_not_checked_on_a_shot_outside(shot: Any) -> None:
    shot("edit", "--room", "3m,4m", "--door", "3m,1m,0.8m")
    assert shot("plan").code == 0
    assert shot("markers").code == 0
    check = shot("set", "--typed", "--json", typed="q\n").events[0]
    assert check["event"] == "check"
    assert check["x_mm"] <= 3000.0


def test_a_job_all_of_whose_shots_lie_outside_says_so(shot: Any, table: Table) -> None:
    far = table("POLYGON ((20 20, 24 20, 24 24, 20 24, 20 20))", "far.wkt")
    assert shot("edit", "--outline", far, "--unit", "m").code == 0
    for words in (["floor"], ["plan"], ["flatness", "--rule", "din18202-3"]):
        refused = shot(*words)
        assert refused.code == 1
        assert "All floor shots (48) lie outside the walls" in refused.err
    assert shot("export", "--format", "dxf").code == 0
    assert shot("report").code == 0


def test_a_benchmark_outside_the_walls_is_sighted_all_the_same(shot: Any) -> None:
    benchmark = ["survey", "--typed", "--kind", "benchmark", "--label", "BM1"]
    assert shot(*benchmark, "--at", "4.8m,3.5m", typed="1000\n").code == 0
    shot("edit", "--room", "3m,4m")
    assert shot("plan").code == 0
    assert shot("markers").code == 0
    setting = shot("set", "--typed", "--json", typed="1000\n")
    assert setting.code == 0, setting.err
    (check,) = [told for told in setting.events if told["event"] == "check"]
    assert "BM1" in check["text"] or check["label"] == "BM1"
    assert "outside the walls, x 4.8 m, y 3.5 m" in check["text"]
    again = shot(*benchmark, "--at", "4.8m,3.5m", "--setup", "2", "--json", typed="1100\n")
    assert again.code == 0, again.err
    assert [told["event"] for told in again.events].count("shot") == 1


def test_floor_that_a_wider_room_adds_is_said_to_be_unshot(shot: Any) -> None:
    assert not warned(shot("floor", "--json").json, "from any shot")
    shot("edit", "--room", "8m,4m")
    for words in (["floor"], ["plan"]):
        (said,) = warned(shot(*words, "--json").json, "from any shot")
        area_m2, _, rest = said.partition(" m² of the floor lies more than ")
        reach_m = float(rest.split(" m ")[0])
        # Shots end at x 4.75 m; the corners of the added strip are a little farther off.
        assert float(area_m2) == pytest.approx((8.0 - 4.75 - reach_m) * 4.0, rel=0.05)


def test_a_shot_room_has_no_unshot_floor(run: Run) -> None:
    for n, room in enumerate(["3.7m,4.6m", "2m,2m", "0.6m,3.6m", "0.8m,0.8m", "9m,2.5m"]):
        job = ["--job", f"r{n}.sqlite"]
        assert run("new", *job, "--room", room, "--units", "mm").code == 0
        points = run("grid", *job, "--json").json["points"]
        typed = "".join(f"{1200 + k % 3}\n" for k in range(len(points)))
        run("survey", *job, "--typed", typed=typed)
        assert not warned(run("floor", *job, "--json").json, "from any shot")
