"""Sloped planes, thresholds, grinding, materials and prices, on an L-shaped room with a flange."""

import json
import math
import random
from collections.abc import Callable
from typing import Any

import pytest

from tests.cli.conftest import Run, Table

WALLS = "6m left 3m left 2.5m right 2m left 3.5m left 5m"


def height_mm(x: float, y: float) -> float:
    return 2.0 * math.sin(x / 900) + 3.0 * math.cos(y / 1100) - 0.002 * x


@pytest.fixture
def l_shaped(run: Run, table: Table) -> Callable[..., Any]:
    """Surveyed on its own grid; the floor, made up, falls 2 mm/m along x and waves a little."""
    made = run(
        "new", "--walls", WALLS, "--units", "mm", "--opening", "1m,1m,0.3m,0.3m",
        "--door", "1m,0m,0.9m", "--min-cover", "6mm", "--max-cover", "15mm",
        "--bag-yield", "12l", "--bag-mass", "22kg", "--bag-water", "5l", "--waste", "5%",
    )  # fmt: skip
    assert made.code == 0, made.err
    chance = random.Random(1)
    rows = ["label,x,y,reading,stderr,kind"]
    for point in run("grid", "--json").json["points"]:
        x, y = point["x_mm"], point["y_mm"]
        reading = 1250 - height_mm(x, y) + chance.gauss(0, 0.4)
        rows.append(f"{point['label']},{x},{y},{reading},0.4,floor")
    # The floors beyond two doorways, 3 mm/m apart at most.
    rows += ["T1,0,500,1238,0.3,threshold", "T2,6000,1500,1249,0.3,threshold"]
    assert run("import", table("\n".join(rows) + "\n"), "--unit", "mm").code == 0
    return run


def plan(run: Run, *words: str) -> dict[str, Any]:
    done = run("plan", *words, "--json")
    assert done.code == 0, done.err
    result: dict[str, Any] = done.json
    return result


def at(result: dict[str, Any], x: float, y: float) -> float:
    plane = result["plane"]
    return float(plane["a"] + plane["b"] * x + plane["c"] * y)


def test_an_l_shaped_room_with_a_flange_and_two_thresholds_end_to_end(
    l_shaped: Callable[..., Any],
) -> None:
    level = plan(l_shaped)
    assert level["lifts"] == 2
    flat = plan(l_shaped, "--flat", "--max-slope", "3mm/m")
    assert flat["slope"]["ratio"] <= 0.003
    assert flat["chance_min_cover"] >= 0.95
    assert flat["bags"]["p95"] < level["bags"]["p95"]
    assert flat["lifts"] == 1

    held = plan(l_shaped, "--flat", "--max-slope", "3mm/m", "--hold", "T1", "--hold", "T2")
    assert at(held, 0, 500) == pytest.approx(-1238.0, abs=1e-6)
    assert at(held, 6000, 1500) == pytest.approx(-1249.0, abs=1e-6)
    assert held["slope"]["ratio"] <= 0.003
    # The truth, which only the test knows: the cover is kept at every place of the floor.
    for x in range(0, 6001, 100):
        for y in range(0, 5001, 100):
            if y <= 3000 or x <= 3500:
                assert at(held, x, y) - (height_mm(x, y) - 1250) > 5.0
    markers = l_shaped("markers", "--json").json["markers"]
    for marker in markers:
        x, y = marker["x_mm"], marker["y_mm"]
        assert marker["target_reading_mm"] == pytest.approx(-at(held, x, y))
        true = at(held, x, y) - (height_mm(x, y) - 1250)
        assert marker["stick_out_mm"] == pytest.approx(true, abs=2.5)
        assert not (1000 < x < 1300 and 1000 < y < 1300)


def test_wishes_that_fight_are_explained(l_shaped: Callable[..., Any]) -> None:
    steep = l_shaped("plan", "--flat", "--max-slope", "1mm/m", "--hold", "T1", "--hold", "T2")
    assert steep.code == 2
    assert "Threshold T1 and threshold T2 fight" in steep.err
    assert "allow a slope of" in steep.err
    low = l_shaped("plan", "--flat", "--max-slope", "1mm/m", "--hold", "1m,0.2m,-1300mm")
    assert low.code == 2
    assert "minimum cover fight" in low.err
    unknown = l_shaped("plan", "--hold", "T9")
    assert unknown.code == 2
    assert "T1, T2" in unknown.err


def test_a_threshold_holds_a_level_plane(l_shaped: Callable[..., Any]) -> None:
    held = plan(l_shaped, "--hold", "T1", "--confidence", "0.9")
    assert at(held, 3000, 3000) == pytest.approx(-1238.0)
    assert held["holds"][0]["name"] == "threshold T1"


def test_grinding_saves_bags_where_it_is_cheap_and_not_where_it_is_dear(
    l_shaped: Callable[..., Any],
) -> None:
    ground = plan(l_shaped, "--grind", "10", "--fill", "2")
    assert ground["chance_min_cover"] >= 0.95
    spots = ground["grind"]["spots"]
    assert spots
    assert all(spot["depth_mm"] > 0 for spot in spots)
    assert ground["grind"]["saves_bags"] > 0.5
    for spot in spots:
        # What is left of the floor there is the minimum cover under the plane.
        until = 6.0 - at(ground, spot["x_mm"], spot["y_mm"])
        assert spot["until_reading_mm"] == pytest.approx(until)
    assert "until the rod reads" in l_shaped("plan", "--grind", "10", "--fill", "2").out
    laid = l_shaped("markers")
    assert "ground down and shot again" in laid.out
    crew = ["--mixers", "2", "--crew", "4", "--mix-time", "2min", "--working-time", "20min"]
    pour = l_shaped("pour", "plan", *crew, "--runs", "100", "--json").json
    assert any("ground down and shot again" in text for text in pour["warnings"])
    dear = plan(l_shaped, "--grind", "100000", "--fill", "1")
    assert dear["grind"]["spots"] == []
    assert dear["bags"]["p95"] > ground["bags"]["p95"]
    assert l_shaped("plan", "--grind", "10").code == 2


def test_the_stock_for_safety_has_shares_and_prices_decide(l_shaped: Any) -> None:
    result = plan(l_shaped)
    shares = result["safety"]["shares"]
    assert set(shares) == {"surface", "plane", "yield", "waste"}
    assert sum(shares.values()) == pytest.approx(1.0)
    assert result["bags"]["p50"] < result["bags"]["buy"] == result["bags"]["p95"]
    cheap = plan(l_shaped, "--short-cost", "10", "--spare-cost", "10")
    assert cheap["bags"]["buy"] < result["bags"]["buy"]
    assert cheap["purchase"]["chance_short"] == pytest.approx(0.5, abs=0.2)
    assert l_shaped("plan", "--short-cost", "10").code == 2


def test_materials_follow_rules_that_the_user_can_change(l_shaped: Any) -> None:
    items = {m["item"]: m for m in plan(l_shaped)["materials"]}
    assert all(m["source"] for m in items.values())
    # 22 m of wall and 1.2 m round the flange, less a door of 0.9 m.
    assert items["edge strip"]["amount"] == pytest.approx(22.3)
    changed = l_shaped("edit", "--material", "lath=0", "--material", "primer=0.3l", "--json")
    assert changed.code == 0, changed.err
    assert changed.json["materials"] == {"lath": 0.0, "primer": 0.3}
    after = {m["item"]: m for m in plan(l_shaped)["materials"]}
    assert "lath" not in after
    assert after["primer"]["amount"] == pytest.approx(2 * items["primer"]["amount"])
    assert "as set in this job" in after["primer"]["source"]
    import sqlite3

    with sqlite3.connect("job.sqlite") as database:
        kept = dict(database.execute("SELECT key, amount FROM material_rule"))
        edits = [json.loads(row[0]) for row in database.execute(
            "SELECT data FROM event WHERE kind = 'edit'")]  # fmt: skip
    assert kept["primer"] == 0.3
    assert kept["edge_strip"] == 1.0  # what was not changed is kept as it was used
    assert edits[-1]["new"]["material primer"] == 0.3
    assert l_shaped("edit", "--material", "glue=1").code == 2
    told = l_shaped("edit", "--material", "lath_overlap=4cm", "--material", "lath=1").out
    assert "lath_overlap is 40 mm now" in told
    lath = {m["item"]: m for m in plan(l_shaped)["materials"]}["lath"]
    assert "700 mm by 2400 mm, overlapping by 40 mm" in lath["text"]


@pytest.mark.parametrize(
    "words",
    [
        ["--flat"],
        ["--max-slope", "5mm/m"],
        ["--flat", "--level", "--max-slope", "5mm/m"],
        ["--flat", "--max-slope", "5"],
        ["--flat", "--max-slope", "-1%"],
        ["--hold", "1m,2m"],
        ["--grind", "0", "--fill", "2"],
        ["--short-cost", "x", "--spare-cost", "2"],
    ],
)
def test_bad_wishes_are_refused_with_the_reason(l_shaped: Any, words: Any) -> None:
    refused = l_shaped("plan", *words)
    assert refused.code == 2
    assert refused.err


def test_the_dead_load_is_that_of_the_bag_as_poured(l_shaped: Any) -> None:
    told = plan(l_shaped)
    kpa_per_mm = (22.0 + 5.0) / 12.0 * 9.80665e-3
    assert told["dead_load_kpa"]["mean"] == pytest.approx(kpa_per_mm * told["cover_mm"]["mean"])
    assert any("2250 kg/m³ by the bag" in text for text in told["assumptions"])
