"""The laser's share in plan, floor and flatness; its correction; through the command line."""

import math
from typing import Any

import numpy as np
import pytest

from simulated_devices.laser import Laser
from tests.cli.conftest import Run, Table

WIDE, LONG = 6000.0, 4000.0
ROOM = ["--room", "6m,4m", "--units", "mm", "--min-cover", "6mm", "--bag-yield", "12l"]


def shots(laser: Any, step: float = 1100.0, seed: int = 1, noise: float = 0.2) -> Any:
    rng = np.random.default_rng(seed)
    rows = "label,x,y,reading,stderr\n"
    for i, x in enumerate(np.linspace(200.0, WIDE - 200.0, round(WIDE / step))):
        for j, y in enumerate(np.linspace(200.0, LONG - 200.0, round(LONG / step))):
            floor = 2.0 * math.sin(x / 900.0) + 1.5 * math.cos(y / 1100.0)
            reading = float(laser.line_mm(x, y, 0.0)) - floor + rng.normal(0.0, noise)
            rows += f"P{i}-{j},{x:.1f},{y:.1f},{reading:.3f},{noise}\n"
    return rows


@pytest.fixture
def room(run: Run, table: Table) -> Any:
    def make(step: float = 1100.0, laser: Any = None, job: str = "job.sqlite") -> Any:
        assert run("new", "--job", job, *ROOM).code == 0
        sound = laser or Laser(WIDE / 2, LONG / 2, 1200.0)
        path = table(shots(sound, step), f"{job}.csv")
        assert run("import", "--job", job, path, "--unit", "mm").code == 0
        return run

    return make


def part(result: Any, quantity: Any, which: Any) -> Any:
    (row,) = [row for row in result["budget"]["rows"] if row["quantity"] == quantity]
    return row["parts"][which]["stderr"]


def test_the_lasers_share_of_the_volume_is_that_of_the_hand(room: Any) -> None:
    run = room()
    result = run("plan", "--laser", "0m,0m", "--json").json
    # A slope acts at the room's middle: 3 m along x, 2 m along y, over 24 m²; once in the survey
    # and once when the markers are set; the climb with distance is the same both times.
    u = 0.1 / math.sqrt(3.0)
    by_hand_l = math.sqrt(2.0) * u * math.hypot(3.0, 2.0) * 24.0
    assert part(result, "volume", 1) == pytest.approx(by_hand_l, rel=0.01)
    told = result["volume_l"]
    sd = (told["high"] - told["low"]) / 2.0 / 1.96
    assert sd == pytest.approx(math.hypot(part(result, "volume", 0), by_hand_l), rel=0.01)
    # In the middle a slope does nothing to the volume.
    middle = run("plan", "--laser", "3m,2m", "--json").json
    assert part(middle, "volume", 1) < 0.05 * by_hand_l


def test_level_and_cover_have_their_share_and_it_lifts_the_plane(room: Any) -> None:
    run = room(step=600.0)  # so many that the floor between the shots hides no laser
    without = run("plan", "--json").json
    assert part(without, "least cover", 1) is None
    assert without["budget"]["laser"] is None
    assert "not in these numbers" in without["budget"]["notes"][0]
    with_it = run("plan", "--laser", "0m,0m", "--json").json
    assert part(with_it, "least cover", 1) > 0.1
    u = 0.1 / math.sqrt(3.0)
    far_m = math.hypot(6.0, 4.0)
    assert part(with_it, "level of the plane, at its farthest", 1) == pytest.approx(
        math.sqrt(2.0) * u * far_m, rel=0.02
    )
    # Beside how far a pour strays from its plane, a laser in the corner hardly counts.
    away = run("plan", "--laser", "-12m,-12m", "--json").json
    assert away["plane"]["a"] > without["plane"]["a"] + 0.1
    assert with_it["chance_min_cover"] >= 0.95
    assert any("middle of the floor" in text for text in with_it["budget"]["advice"])


def test_more_shots_make_the_surfaces_share_smaller_but_not_the_lasers(room: Any) -> None:
    few = room(1300.0, job="few.sqlite")(
        "plan", "--job", "few.sqlite", "--laser", "0m,0m", "--json"
    )
    many = room(450.0, job="many.sqlite")(
        "plan", "--job", "many.sqlite", "--laser", "0m,0m", "--json"
    )
    assert part(many.json, "volume", 0) < 0.7 * part(few.json, "volume", 0)
    assert part(many.json, "volume", 1) == pytest.approx(part(few.json, "volume", 1), rel=0.01)


def test_checks_say_how_far_the_laser_is_trusted(room: Any) -> None:
    run = room()
    peg = ["--sight", "1000,900,10m,10m", "--sight", "1010,912,21m,1m", "--unit", "mm"]
    run("check", "two-peg", *peg, "--stderr", "0.1mm")
    cross = [word for h, r in ((0, 1000.4), (90, 1000.1), (180, 999.6), (270, 999.9))
             for word in ("--reading", f"{h},{r}mm")]  # fmt: skip
    run("check", "cross", "--dist", "10m", *cross, "--stderr", "0.1mm")
    laser = run("plan", "--laser", "1m,1m", "--json").json["budget"]["laser"]
    # By hand: 98 - 100 = -2 mm over 20 m; slopes 0.8/20 and 0.2/20 mm/m.
    assert laser["radial_mm_per_m"] == pytest.approx(math.hypot(0.1, 0.2 / 20.0), rel=0.01)
    stderr = math.sqrt(2.0) * 0.1 / 20.0
    assert laser["tilt_mm_per_m"] == pytest.approx(
        math.sqrt((0.04**2 + 0.01**2) / 2.0 + stderr**2), rel=0.01
    )


CONE = 0.5
PEGS = ["--sight", "1000,900,10m,10m", "--sight", "1010,900,21m,1m", "--unit", "mm"]


def test_the_radial_part_is_corrected_on_request(room: Any, table: Table) -> None:
    """A line that climbs 0.5 mm/m: pegs by hand, 110 - 100 = 10 mm over 20 m."""
    run = room(laser=Laser(0.0, 0.0, 1200.0, cone_mm_per_m=CONE))
    sound = room(laser=Laser(0.0, 0.0, 1200.0), job="sound.sqlite")
    places = table("x,y\n500,500\n3000,2000\n5500,3500\n", "places.csv")
    words = ["--points", places, "--unit", "mm", "--json"]
    true = [p["z_mm"] for p in sound("floor", "--job", "sound.sqlite", *words).json["points"]]
    before = run("plan", "--laser", "0m,0m", "--json").json
    told = [p["z_mm"] for p in run("floor", *words).json["points"]]
    assert max(abs(a - b) for a, b in zip(told, true, strict=True)) > 2.0
    assert any("--correct" in text for text in before["budget"]["advice"]) is False
    run("check", "two-peg", *PEGS, "--stderr", "0.1mm")
    advised = run("plan", "--json").json["budget"]["advice"]
    assert any("--correct" in text for text in advised)
    run("check", "two-peg", *PEGS, "--stderr", "0.1mm", "--correct")
    mended = [p["z_mm"] for p in run("floor", *words).json["points"]]
    assert mended == pytest.approx(true, abs=0.1)
    refused = run("markers")  # the plan stands on heights that are no longer
    assert refused.code == 1
    after = run("plan", "--json").json
    assert after["budget"]["laser"]["radial_mm_per_m"] < 0.02
    # The same laser sets the markers: it must read more by what its line climbs there.
    markers = run("markers", "--json").json["markers"]
    first = markers[0]
    away_m = math.hypot(first["x_mm"], first["y_mm"]) / 1000.0
    setting = run(
        "set", "--typed", "--skip-check", "--json", typed=f"{first['target_reading_mm']}\nq\n"
    )
    prompt = next(event for event in setting.events if event["event"] == "prompt")
    assert prompt["target_reading_mm"] == pytest.approx(
        first["target_reading_mm"] + CONE * away_m, abs=0.01
    )
    run("check", "two-peg", *PEGS, "--stderr", "0.1mm", "--no-correct")
    again = [p["z_mm"] for p in run("floor", *words).json["points"]]
    assert again == pytest.approx(told, abs=1e-6)


def test_the_running_picture_is_corrected_as_the_floor_is(run: Run) -> None:
    assert run("new", *ROOM).code == 0
    points = run("grid", "--spacing", "1.2m", "--json").json["points"]
    run("check", "two-peg", *PEGS, "--stderr", "0.1mm", "--correct")
    laser = Laser(0.0, 0.0, 1200.0, cone_mm_per_m=CONE)
    typed = "".join(
        f"{float(laser.line_mm(p['x_mm'], p['y_mm'], 0.0)) - 0.001 * p['x_mm']:.1f}\n"
        for p in points
    )
    survey = run("survey", "--typed", "--laser", "0m,0m", "--json", typed=typed)
    assert survey.code == 0, survey.err
    picture = [event for event in survey.events if event["event"] == "picture"][-1]
    assert picture["shots"] == len(points)
    told = run("floor", "--json").json
    # The floor rises 1 mm/m along x; uncorrected, the line's climb would lower its far corner,
    # 7 m off, by 3.6 mm.
    assert told["high"]["z_mm"] == pytest.approx(6.0 - 1200.0, abs=0.3)
    assert picture["high"]["z_mm"] == pytest.approx(told["high"]["z_mm"], abs=0.05)


def test_a_correction_without_a_place_is_said(room: Any) -> None:
    run = room()
    run("check", "two-peg", *PEGS, "--stderr", "0.1mm", "--correct")
    warnings = run("plan", "--json").json["warnings"]
    assert any("not corrected" in text and "--laser" in text for text in warnings)


def test_what_the_laser_leaves_open_is_too_close_to_tell(room: Any, table: Table) -> None:
    laser = Laser(WIDE / 2, LONG / 2, 1200.0, cone_mm_per_m=0.3)
    run = room(step=700.0, laser=laser)
    head, *rows = shots(laser, 700.0).splitlines()
    # As a poured surface, in which nothing hides between the shots.
    poured = "\n".join([f"{head},kind", *(f"F{row},finished" for row in rows)])
    assert run("import", table(poured), "--unit", "mm").code == 0
    sure = run("flatness", "--rule", "click-lock", "--json").json
    assert sure["laser"] is None
    # A two-peg test that found a climb of 6 mm/m, not corrected.
    bad = ["--sight", "1000,900,10m,10m", "--sight", "1120,900,21m,1m", "--unit", "mm"]
    run("check", "two-peg", *bad, "--stderr", "0.1mm")
    run("plan", "--laser", "3m,2m")
    told = run("flatness", "--rule", "click-lock", "--json").json
    assert told["laser"]["gap_stderr_mm"] > 1.0
    assert (sure["verdict"], told["verdict"]) == ("in", "unsure")
    assert any("laser's own error" in text for text in told["warnings"])


def test_places_of_several_setups_are_named(run: Run, table: Table) -> None:
    run("new", *ROOM)
    rows = "label,x,y,reading,stderr,setup,kind\n"
    for setup, by in (("a", 0), ("b", 50)):
        rows += f"BM,3000,100,{1000 + by},0.3,{setup},benchmark\n"
        rows += "".join(
            f"{setup}{n},{(500 if setup == 'a' else 3500) + 700 * (n % 3)},{600 + 1100 * (n // 3)},"
            f"{1200 + by + n % 4},0.3,{setup},floor\n"
            for n in range(9)
        )
    assert run("import", table(rows), "--unit", "mm").code == 0
    refused = run("floor", "--laser", "1m,2m")
    assert refused.code == 2
    assert "a:X,Y" in refused.err
    assert run("floor", "--laser", "c:1m,2m").code == 2
    told = run("floor", "--laser", "a:1m,2m", "--laser", "b:4.5m,2m", "--json").json["budget"]
    assert set(told["laser"]["places"]) == {"a", "b"}
    assert not [text for text in told["advice"] if "Balance" in text]  # all but half-way
    told = run("floor", "--laser", "a:2.5m,0.2m", "--laser", "b:5m,3.5m", "--json").json["budget"]
    assert any("Balance the sights: BM" in text for text in told["advice"])
    assert run("floor", "--json").json["budget"]["laser"] is None  # floor keeps nothing


def two_halves(link: str = "") -> Any:
    """A room whose left half was shot from set-up a, its right half from b."""
    rows = "label,x,y,reading,stderr,setup,kind\n"
    for setup, by, x0 in (("a", 0, 300), ("b", 50, 3300)):
        rows += "".join(
            f"{setup}{i}{j},{x0 + 600 * i},{250 + 700 * j},{1200 + by + (i * j) % 3},"
            f"0.2,{setup},floor\n"
            for i in range(5)
            for j in range(6)
        )
    if link:  # a and b see no benchmark in common, but set-up c sees both
        rows += "BM1,,,1000,0.3,a,benchmark\nBM1,,,1010,0.3,c,benchmark\n"
        rows += "BM2,,,1110,0.3,c,benchmark\nBM2,,,1150,0.3,b,benchmark\n"
    else:
        rows += "BM,,,1000,0.3,a,benchmark\nBM,,,1050,0.3,b,benchmark\n"
    return rows


@pytest.mark.parametrize(("link", "sights"), [("", 2), ("c", 4)])
def test_shots_of_one_setup_share_the_doubt_of_its_line(
    run: Run, table: Table, link: Any, sights: Any
) -> None:
    run("new", *ROOM)
    assert run("import", table(two_halves(link)), "--unit", "mm").code == 0
    result = run("plan", "--json").json
    # By hand: half the floor, 12 m², goes up and down by the doubt of so many sights of 0.3 mm.
    assert part(result, "volume", 2) == pytest.approx(0.3 * math.sqrt(sights) * 12.0, rel=0.05)
    told = run("plan", "--laser", "a:1.5m,2m", "--laser", "b:4.5m,2m", "--json")
    assert told.code == 0, told.err
    assert part(told.json, "volume", 1) is not None
    assert run("floor").code == 0
