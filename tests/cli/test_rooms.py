"""Several rooms in one job, through the command line."""

import math
from pathlib import Path
from typing import Any

import pytest

from rig import study
from rig.errors import BadInput
from tests.cli.conftest import Run

HALL = ("--room", "1.5m,4m", "--at", "3.1m,0m", "--doorway", "3.1m,1m,0.8m")
BATH = ("--room", "2m,1.5m", "--at", "3.1m,4.1m", "--doorway", "3.5m,4.1m,0.8m")


@pytest.fixture
def house(run: Run) -> Run:
    new = ("--room", "3m,4m", "--door", "1m,0m,0.9m", "--units", "mm", "--min-cover", "4mm")
    assert run("new", *new, "--waste", "5%").code == 0
    assert run("room", "rename", "room 1", "kitchen").code == 0
    assert run("room", "add", "hall", *HALL).code == 0
    assert run("room", "add", "bath", *BATH).code == 0
    return run


def shoot(run: Run, drop_mm: dict[str, float]) -> None:
    """Readings of a floor that lies so much lower in each room, and a threshold in the doorway."""
    rows = ["label,x,y,reading,kind", "T1,3050,600,1188,threshold"]
    for name, drop in drop_mm.items():
        for p in run("grid", "--room", name, "--spacing", "1m", "--json").json["points"]:
            wave = 2 * math.sin(p["x_mm"] / 800) + math.cos(p["y_mm"] / 600)
            rows.append(f"{p['label']},{p['x_mm']},{p['y_mm']},{1200 + drop + wave:.2f},floor")
    Path("h.csv").write_text("\n".join(rows) + "\n")
    assert run("import", "h.csv", "--unit", "mm").code == 0


def by_name(rooms: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    return {room["name"]: room for room in rooms}


def test_rooms_share_one_plan(house: Run) -> None:
    rooms = by_name(house("room", "list", "--json").json["rooms"])
    assert {name: one["area_m2"] for name, one in rooms.items()} == {
        "kitchen": pytest.approx(12), "hall": pytest.approx(6), "bath": pytest.approx(3),
    }  # fmt: skip
    assert rooms["hall"]["joins"] == ["kitchen", "bath"]
    points = house("grid", "--json").json["points"]
    assert len({p["label"] for p in points}) == len(points)
    assert [p["order"] for p in points] == list(range(1, len(points) + 1))
    again = house("grid", "--room", "hall", "--spacing", "1m", "--json").json["points"]
    assert all(3100 <= p["x_mm"] <= 4600 and p["y_mm"] <= 4000 for p in again)
    others = {p["label"] for p in points if not (p["x_mm"] > 3100 and p["y_mm"] < 4000)}
    assert others.isdisjoint(p["label"] for p in again)
    assert "hall, " in house("grid").out
    house("room", "rename", "hall", "corridor")
    house("room", "drop", "bath")
    assert set(by_name(house("room", "list", "--json").json["rooms"])) == {"kitchen", "corridor"}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("add", "x", "--room", "2m,2m", "--at", "1m,1m"), "would overlap kitchen"),
        (("add", "x", "--room", "2m,2m"), "--at X,Y"),
        (("add", "hall", "--room", "2m,2m", "--at", "9m,0m"), "already"),
        (("add", "x", "--room", "2m,2m", "--at", "9m,0m", "--doorway", "9m,1.5m,0.8m"),
         "joins x to no other room"),
        (("add", "x", "--room", "2m,2m", "--at", "9m,0m", "--doorway", "5m,0m,0.8m"),
         "not on a wall"),
        (("add", "x", "--at", "9m,0m"), "Give the room"),
        (("drop", "kitchen"), "began with"),
        (("drop", "cellar"), "There is no room"),
        (("edit", "hall", "--room", "3m,4m", "--at", "2m,0m", "--door", "2m,1m,0.8m"), "overlap"),
        (("rename", "hall", "bath"), "already"),
    ],
)  # fmt: skip
def test_rooms_that_cannot_be_are_refused_and_nothing_is_changed(
    house: Run, words: tuple[str, ...], told: str
) -> None:
    before = house("room", "list", "--json").out
    said = house("room", *words)
    assert said.code == 2
    assert told in said.err
    assert len(said.err.splitlines()) == 1
    assert house("room", "list", "--json").out == before


def test_one_order_covers_all_rooms(house: Run) -> None:
    shoot(house, {"kitchen": 0.0, "hall": 6.0, "bath": 6.0})
    plan = house("plan", "--json").json
    rooms = by_name(plan["rooms"])
    assert plan["plane"] is None
    assert rooms["kitchen"]["plane"]["a"] - rooms["hall"]["plane"]["a"] == pytest.approx(6, abs=2)
    total = sum(room["volume_l"]["mean"] for room in plan["rooms"])
    assert plan["volume_l"]["mean"] == pytest.approx(total)
    assert plan["bags"]["p95"] <= sum(room["bags"]["p95"] for room in plan["rooms"])
    assert plan["bags_apart"]["p95"] == sum(room["bags"]["p95"] for room in plan["rooms"])
    assert plan["volume_l"]["p95"] < sum(room["volume_l"]["p95"] for room in plan["rooms"])
    primer = next(one for one in plan["materials"] if one["item"] == "primer")
    assert primer["amount"] == pytest.approx(21 * 0.15 / 4)
    steps = {tuple(one["between"]): one for one in plan["doorways"]}
    step = steps[("hall", "kitchen")]
    assert step["step_mm"] == pytest.approx(6, abs=2)
    assert step["threshold"] == "T1"
    assert abs(steps[("bath", "hall")]["step_mm"]) < 2

    held = house("plan", "--hold", "T1", "--json").json
    at = {name: one["plane"]["a"] for name, one in by_name(held["rooms"]).items()}
    assert at["kitchen"] == at["hall"] == pytest.approx(-1188)
    assert at["bath"] != at["hall"]
    one = house("plan", "--together", "--json").json
    assert {room["plane"]["a"] for room in one["rooms"]} == {one["plane"]["a"]}
    assert one["volume_l"]["mean"] > plan["volume_l"]["mean"]

    markers = house("markers", "--json").json["markers"]
    assert len({m["label"] for m in markers}) == len(markers)
    mine = house("markers", "--room", "hall", "--json").json["markers"]
    assert {m["label"] for m in mine} < {m["label"] for m in markers}
    more = house("markers", "--room", "kitchen", "--add", "1.2m,2.3m", "--json").json["markers"]
    assert {m["label"] for m in more}.isdisjoint(m["label"] for m in mine)
    with study.open_job("job.sqlite") as job, pytest.raises(BadInput, match="say which"):
        study.floor(job)
    with study.open_job("job.sqlite", room="hall") as job:
        assert {m.label for m in study.markers(job).markers} == {m["label"] for m in mine}
        assert all(3100 <= m.x_mm <= 4600 for m in job.markers())


def test_the_pour_walls_nobody_in(house: Run) -> None:
    """The crew leaves by the kitchen's door: bath, then hall, then kitchen."""
    shoot(house, {"kitchen": 0.0, "hall": 2.0, "bath": 4.0})
    assert house("plan").code == 0
    crew = ("--mixers", "1", "--crew", "3", "--mix-time", "2min", "--working-time", "20min")
    told = house("pour", "plan", *crew, "--runs", "100", "--json").json
    assert told["order"] == ["bath", "hall", "kitchen"]
    exits = {room["name"]: room["exit"] for room in told["rooms"]}
    assert exits["kitchen"] == {"x_mm": pytest.approx(1450), "y_mm": pytest.approx(0)}
    assert exits["bath"] == {"x_mm": pytest.approx(3900), "y_mm": pytest.approx(4100)}
    assert "say which" in house("pour", "run", typed="").err
    done = house("pour", "run", "--room", "bath", typed="batch\nfront 1\nstop\n")
    assert "1 batch" in done.out
    assert house("pour", "run", "--room", "hall", typed="batch\nstop\n").code == 0
    (hall,) = house("plan", "--room", "hall", "--json").json["rooms"]
    assert (hall["name"], hall["plane"]["b"]) == ("hall", 0.0)
    for words in (("flatness", "--rule"), ("plan", "--patch")):
        assert "--room 'kitchen'" in house(*words, "a108-small").err
    assert "rig room edit" in house("edit", "--door", "1m,0m,0.9m").err
    assert house("report", "--out", "all").code == 0
    page = Path("all/report.html").read_text()
    assert all(f"{name}: Finished plane" in page for name in ("kitchen", "hall", "bath"))
    assert "for all rooms" in page
    assert house("report", "--check", "all/report.html").code == 0
    # One customer's page for all rooms, one list, which says when a room was planned anew.
    assert house("report", "--for", "customer", "--out", "all").code == 0
    assert "To be poured" in Path("all/customer.html").read_text()
    assert "the plan of hall" not in house("report", "--only", "buy", "--out", "all").out
    assert house("plan", "--room", "hall", "--hold", "4500mm,1000mm,-1180mm", "--level").code == 0
    assert "the plan of hall" in house("report", "--only", "buy", "--out", "all").out
    assert len(house("floor", "--json").json["rooms"]) == 3
    kept = house("quote", "--product", "plain example", "--json").json
    assert kept["measured"]
    assert kept["area_m2"] == pytest.approx(21)


def test_a_walk_goes_through_all_rooms_or_one(house: Run) -> None:
    house("grid", "--spacing", "2m")
    tape = "".join(f"{1200 + n % 3}mm\n" for n in range(40)) + "q\n"
    hall = house("survey", "--room", "hall", "--typed", "--json", typed=tape)
    shots = [event["label"] for event in hall.events if event["event"] == "shot"]
    walk = house("grid", "--room", "hall", "--spacing", "2m", "--json").json["points"]
    assert set(shots) == {p["label"] for p in walk}
    rest = house("survey", "--typed", "--json", typed=tape)
    others = [event["label"] for event in rest.events if event["event"] == "shot"]
    assert others
    assert set(others).isdisjoint(shots)
