"""`rig flatness` and `rig rules` as a user meets them."""

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rig.cli.flatness_command import proof_text
from rig.study.proof_answer import Change, MarkerOff, PourProof
from rig.units import Units
from tests.cli.conftest import Run, Table

HEADING = "label,x,y,reading,stderr,kind\n"


def dish_rows(
    gap_mm: float,
    kind: str = "floor",
    step: int = 600,
    base: float = 1200.0,
    room_mm: tuple[int, int] = (3000, 4000),
) -> str:
    """Shots on a bowl that leaves a gap under 10 ft: readings fall away from the middle."""
    radius = 3048**2 / (8 * gap_mm) if gap_mm else math.inf
    rows = []
    for n, x in enumerate(range(150, room_mm[0], step)):
        for m, y in enumerate(range(150, room_mm[1], step)):
            r2 = (x - room_mm[0] / 2) ** 2 + (y - room_mm[1] / 2) ** 2
            rows.append(f"Q{n}{m},{x},{y},{base - r2 / (2 * radius):.2f},0.1,{kind}")
    return HEADING + "\n".join(rows) + "\n"


@pytest.fixture
def job(run: Run) -> Callable[..., Any]:
    assert run("new", "--room", "3m,4m", "--units", "mm", "--min-cover", "6mm").code == 0
    return run


def test_rules_are_listed_with_sources(run: Run) -> None:
    told = run("rules", "--span", "2m", "--json").json
    limits = {rule["key"]: rule["limit_mm"] for rule in told["rules"]}
    assert set(limits) == {
        *(f"din18202-{n}" for n in range(1, 5)), "din18202-level", "a108-small", "a108-large",
        *(f"bs8204-sr{n}" for n in range(1, 4)), "e1155", "click-lock",
    }  # fmt: skip
    assert limits["din18202-3"] == 6
    assert limits["bs8204-sr1"] == 3
    assert limits["e1155"] is None
    assert all(rule["source"] and rule["text"] for rule in told["rules"])
    assert all(rule["limit_mm"] is None for rule in run("rules", "--json").json["rules"])
    assert run("rules", "--span", "2").code == 2
    assert "From memory" in run("rules").out


def test_a_bad_floor_is_out_and_a_good_one_in(job: Callable[..., Any], table: Table) -> None:
    job("import", table(dish_rows(9.0)), "--unit", "mm")
    bad = job("flatness", "--rule", "click-lock", "--json")
    assert bad.code == 1
    told = bad.json
    assert told["verdict"] == "out"
    assert told["rule"] == "click-lock"
    worst = told["worst"]
    assert worst["gap_mm"] == pytest.approx(9.0, rel=0.05)
    assert worst["limit_mm"] == pytest.approx(4.7625)
    assert 0 <= worst["x_mm"] <= 3000
    assert 0 <= worst["y_mm"] <= 4000
    assert 0 <= worst["bearing_deg"] < 180
    assert "from" in worst["where"]
    assert 0 <= told["share_in"] < 1
    assert told["ff"] is None
    assert told["lines"] == []

    job("import", table(dish_rows(0.0, "finished", base=1180.0)), "--unit", "mm")
    good = job("flatness", "--rule", "click-lock", "--json")
    assert good.code == 0, good.out
    assert good.json["verdict"] == "in"
    assert good.json["kind"] == "finished"
    assert good.json["before"]["verdict"] == "out"
    # Poured to one level, 20 mm over the bowl's foot; its rim stands r²/2R higher.
    depth = good.json["change"]["depth_mm"]
    rim = 9.0 * 8 / 3.048**2 * (1.35**2 + 1.85**2) / 2
    assert depth["max"] == pytest.approx(20.0, abs=1.0)
    assert depth["min"] == pytest.approx(20.0 - rim, abs=0.5)
    again = job("flatness", "--rule", "click-lock", "--kind", "floor", "--json")
    assert again.json["verdict"] == "out"
    assert "Before the pour" in job("flatness", "--rule", "click-lock").out


@pytest.mark.parametrize(
    "key", ["din18202-2", "a108-small", "a108-large", "bs8204-sr3", "click-lock", "e1155"]
)
def test_every_kind_of_rule_answers_for_a_survey(surveyed: Run, key: str) -> None:
    told = surveyed("flatness", "--rule", key, "--json")
    if key == "e1155":  # 3 m leave no line of 11 ft that keeps off the walls
        assert told.code == 1
        assert "3.35 m" in told.err
        return
    assert told.code in (0, 1)
    assert told.json["verdict"] in ("in", "out", "unsure")
    assert {"rule", "verdict", "worst", "share_in", "ff", "fl", "ff_ci90", "fl_ci90", "lines",
            "warnings"} <= set(told.json)  # fmt: skip


def f_lines(n: int = 20, count: int = 3, size: float = 0.5) -> str:
    rows = ["line,reading"]
    for k in range(count):
        heights = [size * math.sin(1.7 * i + k) + 0.3 * size * i for i in range(n)]
        rows += [f"L{k},{1200 + height:.2f}" for height in heights]
    return "\n".join(rows) + "\n"


def test_lines_need_no_job(run: Run, table: Table) -> None:
    path = table(f_lines(), "lines.csv")
    told = run("flatness", "--lines", path, "--step", "300mm", "--unit", "mm", "--json")
    assert told.code in (0, 1)
    assert told.json["rule"] == "e1155"
    assert [line["line"] for line in told.json["lines"]] == ["L0", "L1", "L2"]
    assert len(told.json["lines"][0]["q_mm"]) == 18
    assert len(told.json["lines"][0]["z_mm"]) == 10
    low, high = told.json["ff_ci90"]
    assert low < told.json["ff"] < high
    assert any("area" in text for text in told.json["warnings"])
    edge = run("flatness", "--rule", "bs8204-sr1", "--lines", path, "--step", "300mm",
               "--unit", "mm", "--json")  # fmt: skip
    assert edge.json["worst"]["line"].startswith("L")
    assert "along line" in run("flatness", "--rule", "bs8204-sr1", "--lines", path, "--step",
                               "300mm", "--unit", "mm").out  # fmt: skip


@pytest.mark.parametrize(
    ("words", "say"),
    [
        (["--unit", "mm"], "--step"),
        (["--step", "300mm"], "--unit"),
        (["--step", "300", "--unit", "mm"], "unit"),
        (["--step", "250mm", "--unit", "mm"], "12 in"),
        (["--step", "300mm", "--unit", "mm", "--rule", "nothing"], "bs8204-sr1"),
        (["--step", "300mm", "--unit", "mm", "--kind", "floor"], "--kind"),
    ],
)
def test_lines_that_cannot_be_judged_are_refused(
    run: Run, table: Table, words: list[str], say: str
) -> None:
    refused = run("flatness", "--lines", table(f_lines(), "lines.csv"), *words)
    assert refused.code == 2
    assert say in refused.err


def test_short_or_broken_lines_are_refused_by_line_and_column(run: Run, table: Table) -> None:
    words = ("--step", "300mm", "--unit", "mm")
    short = run("flatness", "--lines", table(f_lines(8), "short.csv"), *words)
    assert short.code == 2
    assert "L0" in short.err
    gap = run("flatness", "--lines", table(f_lines() + "L9,\n", "gap.csv"), *words)
    assert gap.code == 2
    assert "line 62, column reading" in gap.err


def test_a_rule_of_ones_own(job: Callable[..., Any], table: Table, tmp_path: Path) -> None:
    job("import", table(dish_rows(9.0)), "--unit", "mm")
    rule = tmp_path / "mine.toml"
    body = 'measure = "straightedge"\n[straightedge]\nlengths_mm = [2500]\nlimits_mm = [30]\n'
    rule.write_text('text = "generous"\n' + body)
    told = job("flatness", "--rule", rule, "--json")
    assert told.code == 0
    assert told.json["rule"] == "mine"
    assert (
        "It conforms with over 99% probability; 95% is asked for."
        in job("flatness", "--rule", rule).out
    )
    rule.write_text('text = "generous"\nslack = 3\n' + body)
    refused = job("flatness", "--rule", rule)
    assert refused.code == 2
    assert "slack" in refused.err


def test_warnings_are_in_the_units_of_the_job(run: Run, table: Table) -> None:
    """Two spacings of 1 m hide the small spans of a rule; a 2 m room is shorter than its edge."""
    rows = "".join(
        f"P{i}{j},{100 + 900 * i},{100 + 900 * j},1200\n" for i in (0, 1, 2) for j in (0, 1, 2)
    )
    path = table("label,x,y,reading\n" + rows)
    for units, edge, other in (("mm", "3048 mm", " ft"), ("in", "10 ft", " mm")):
        job = ("--job", f"{units}.sqlite")
        run("new", *job, "--room", "2m,2m", "--units", units)
        assert run("import", *job, path, "--unit", "mm").code == 0
        for rule in ("a108-small", "click-lock", "din18202-3"):
            told = run("flatness", *job, "--rule", rule, "--json").json["warnings"]
            assert told
            assert not any(other in text for text in told), told
        cut = run("flatness", *job, "--rule", "click-lock", "--json").json["warnings"][0]
        assert cut.startswith(f"An edge of {edge} does not fit here")


@pytest.mark.parametrize(("unit", "step", "other"), [("mm", "300mm", " ft"), ("in", "12in", " mm")])
def test_warnings_of_a_table_of_lines_are_in_its_units(
    run: Run, table: Table, unit: Any, step: Any, other: Any
) -> None:
    rows = "".join(f"A,{1 + 0.01 * math.sin(n):.4f}\n" for n in range(20))
    path = table("line,reading\n" + rows)
    for rule in ("a108-small", "e1155"):
        words = ["--lines", path, "--step", step, "--unit", unit, "--rule", rule]
        told = run("flatness", *words, "--json").json["warnings"]
        assert told
        assert not any(other in text for text in told), told


@pytest.mark.parametrize(
    ("units", "slope", "area", "volume", "other"),
    [
        ("in", "0.24 in/ft", "0.54 ft²", " ft³", (" mm", "cm²", " m²")),
        ("mm", "20 mm/m", "0.05 m²", " l", (" in deep", "in/ft", "ft²", "ft³")),
    ],
)
def test_patches_are_told_in_the_units_of_the_job(
    run: Run, table: Table, units: Any, slope: Any, area: Any, volume: Any, other: Any
) -> None:
    run("new", "--room", "6ft,8ft", "--units", units, "--bag-yield", "12l", "--waste", "5%")
    rows = dish_rows(9.0, room_mm=(1829, 2438))
    assert run("import", table(rows), "--unit", "mm").code == 0
    told = run("plan", "--patch", "click-lock", "--fill", "2", "--grind", "5", "--why")
    assert told.code == 0, told.err
    assert f"feathered out by at most {slope}, and none is smaller than {area}" in told.out
    (nothing,) = [line for line in told.out.splitlines() if line.startswith("  nothing")]
    assert nothing.count(f" 0{volume}") == 2  # neither filled nor ground
    # The bag's sheet is told in both systems.
    lines = [line for line in told.out.splitlines() if "A bag weighs" not in line]
    assert not any(word in line for word in other for line in lines)


def test_a_rule_asked_for_its_limit_answers_in_both_systems(run: Run) -> None:
    told = run("rules", "--span", "10ft").out
    assert "at 3048 mm (120 in): 4.8 mm (3/16 in)" in told
    assert "at 3048 mm (120 in): 8 mm (5/16 in)" in told


def test_no_shots_yet_is_said(job: Any, table: Table) -> None:
    assert job("flatness").code == 2
    empty = job("flatness", "--rule", "click-lock")
    assert empty.code == 1
    job("import", table(dish_rows(2.0)), "--unit", "mm")
    missing = job("flatness", "--rule", "click-lock", "--kind", "finished")
    assert missing.code == 1
    assert "finished" in missing.err


def test_patches_save_bags_against_the_whole_pour(job: Any, table: Table) -> None:
    def reading(x: Any, y: Any) -> Any:
        return 1200 - 0.004 * x + 9 * math.exp(-((x - 1300) ** 2 + (y - 2200) ** 2) / 5e5)

    rows = HEADING + "".join(
        f"Q{n}{m},{x},{y},{reading(x, y):.2f},0.1,floor\n"
        for n, x in enumerate(range(150, 3000, 450))
        for m, y in enumerate(range(150, 4000, 450))
    )
    job("import", table(rows), "--unit", "mm")
    pour = job("plan", "--json").json
    told = job("plan", "--patch", "bs8204-sr2", "--json")
    assert told.code == 0, told.err
    patch = told.json
    assert patch["chance"] >= 0.95
    assert patch["bags"]["p95"] < pour["bags"]["p95"]
    assert patch["bags"]["p95"] >= patch["bags"]["p50"] > 0
    assert patch["volume_l"]["p95"] >= patch["volume_l"]["mean"] > 0
    assert [way["way"] for way in patch["comparison"]] == ["nothing", "patch", "pour"]
    assert patch["comparison"][0]["chance"] < 0.05
    assert patch["comparison"][2]["bags"]["p95"] == pour["bags"]["p95"]
    hollow = patch["patches"][0]
    assert math.hypot(hollow["x_mm"] - 1300, hollow["y_mm"] - 2200) < 250
    assert len(hollow["outline"]) >= 4
    assert max(row["fill_mm"] for row in patch["depths"]) == pytest.approx(hollow["deepest_mm"])
    assert "BUY" in job("plan", "--patch", "bs8204-sr2").out
    # The stored plan is still the pour's: markers follow it.
    assert job("markers").code == 0


def test_patches_along_a_wall_are_named_by_places_on_the_floor(run: Run, table: Table) -> None:
    assert run("new", "--room", "10ft,10ft", "--door", "3ft,0ft,3ft").code == 0
    readings = {  # invented; the floor falls away towards two of its corners
        "A": (59.98, 58.32, 55.10, 51.87), "B": (60.91, 62.17, 58.22, 51.73),
        "C": (57.94, 55.71, 55.90, 47.70), "D": (56.47, 51.38, 52.09, 50.80),
    }  # fmt: skip
    rows = "".join(
        f"{letter}{m + 1},{152.4 + 914.4 * n:.1f},{152.4 + 914.4 * m:.1f},{reading},0.1,floor\n"
        for n, (letter, column) in enumerate(readings.items())
        for m, reading in enumerate(column)
    )
    assert run("import", table(HEADING + rows), "--unit", "mm").code == 0
    told = run("plan", "--patch", "click-lock", "--json")
    assert told.code == 0, told.err
    for patch in told.json["patches"]:
        assert 0.0 <= patch["x_mm"] <= 3048.0
        assert 0.0 <= patch["y_mm"] <= 3048.0
        assert patch["area_m2"] > 0.001


@pytest.mark.parametrize(
    ("words", "say"),
    [
        (["--patch", "e1155"], "straightedge"),
        (["--patch", "nothing"], "click-lock"),
        (["--patch", "click-lock", "--grind", "2"], "--fill"),
        (["--patch", "click-lock", "--fill", "-2"], "more than zero"),
        (["--patch", "click-lock", "--flat", "--max-slope", "2mm/m"], "--flat"),
        (["--patch", "click-lock", "--hold", "1m,1m,-1m"], "--hold"),
    ],
)
def test_patch_options_that_cannot_be(surveyed: Run, words: Any, say: Any) -> None:
    refused = surveyed("plan", *words)
    assert refused.code == 2
    assert say in refused.err


def test_lines_are_laid_out_shot_and_proved(run: Run, table: Table) -> None:
    run("new", "--room", "18ft,20ft", "--units", "in", "--door", "4ft,0ft,3ft")
    laid = run("grid", "--lines", "--json").json["points"]
    assert [p["order"] for p in laid] == list(range(1, len(laid) + 1))
    assert laid[0]["label"] == "F1-1"
    rows = "".join(
        f"{p['label']},{p['x_mm']},{p['y_mm']},"
        f"{1200 + 0.3 * math.sin(p['x_mm'] / 900) * math.cos(p['y_mm'] / 800):.3f},0.05,finished\n"
        for p in laid
    )
    assert run("import", table(HEADING + rows), "--unit", "mm").code == 0
    good = run("flatness", "--rule", "e1155", "--json")
    assert good.code == 0, good.out
    told = good.json
    assert told["verdict"] == "in"
    assert len(told["lines"]) == len({p["label"].split("-")[0] for p in laid})
    assert told["ff"] > 35
    assert told["fl"] > 25
    assert run("grid", "--lines", "--spacing", "3ft").code == 2


def test_what_the_lasers_slope_leaves_open_is_in_fl(run: Run, table: Table) -> None:
    """A floor that is all but level, by a laser that is unchecked, then known to be bad."""
    assert run("new", "--room", "6m,7m", "--units", "mm").code == 0
    laid = run("grid", "--lines", "--json").json["points"]
    rows = "".join(
        f"{p['label']},{p['x_mm']},{p['y_mm']},"
        f"{1200 + 0.5 * math.sin(p['x_mm'] / 900) * math.cos(p['y_mm'] / 800):.3f},0.05,finished\n"
        for p in laid
    )
    assert run("import", table(HEADING + rows), "--unit", "mm").code == 0
    alone = run("flatness", "--rule", "e1155", "--json").json
    assert alone["laser"] is None
    assert any("--laser X,Y" in text for text in alone["warnings"])
    usual = run("flatness", "--rule", "e1155", "--laser", "3m,3.5m", "--json").json
    assert not any("--laser X,Y" in text for text in usual["warnings"])
    kept = run("flatness", "--rule", "e1155", "--json").json
    assert kept["fl_ci90"] == usual["fl_ci90"]
    assert (usual["ff"], usual["fl"]) == (alone["ff"], alone["fl"])
    assert usual["laser"]["fl_ci90_alone"] == pytest.approx(alone["fl_ci90"], rel=1e-9)
    assert usual["fl_ci90"][0] < alone["fl_ci90"][0]  # 0.1 mm/m at most: a hair
    assert usual["verdict"] == "in"
    # A cross check that finds 6 mm/m: over ten feet more than FL 25 allows (12.7 mm) may be hidden.
    cross = ["--dist", "10m", "--reading", "0,1060mm", "--reading", "90,1060mm",
             "--reading", "180,940mm", "--reading", "270,940mm"]  # fmt: skip
    run("check", "cross", *cross)
    bad = run("flatness", "--rule", "e1155")
    assert bad.code == 1
    assert "leaves FL between" in bad.out
    told = run("flatness", "--rule", "e1155", "--json").json
    assert (told["laser"]["verdict_alone"], told["verdict"]) == ("in", "unsure")


def test_fl_of_a_modelled_floor_holds_the_lasers_slope_too(run: Run, table: Table) -> None:
    assert run("new", "--room", "6m,7m", "--units", "mm").code == 0
    rows = "".join(
        f"Q{n}-{m},{x},{y},{1200 + math.sin(x / 900) * math.cos(y / 800):.3f},0.05,finished\n"
        for n, x in enumerate(range(200, 6000, 500))
        for m, y in enumerate(range(200, 7000, 500))
    )
    assert run("import", table(HEADING + rows), "--unit", "mm").code == 0
    alone = run("flatness", "--rule", "e1155", "--json").json
    with_place(run, "3m,3.5m")
    cross = ["--dist", "10m", "--reading", "0,1010mm", "--reading", "90,1010mm",
             "--reading", "180,990mm", "--reading", "270,990mm"]  # fmt: skip
    run("check", "cross", *cross)
    told = run("flatness", "--rule", "e1155", "--json").json
    assert told["laser"]["fl_ci90_alone"] == pytest.approx(alone["fl_ci90"], rel=1e-9)
    # 1 mm/m either way: 3.05 mm in the mean of z, where the floor alone has FL over 100.
    assert told["fl_ci90"][0] < 0.7 * alone["fl_ci90"][0]
    # Curvature knows no slope; what the radial part bends is little.
    assert told["ff_ci90"] == pytest.approx(alone["ff_ci90"], rel=0.1)


def with_place(run: Run, place: Any) -> None:
    """Keep where the laser stood, as the next survey would."""
    from rig.job.store import Job
    from rig.study.lasers import set_place

    with Job.open("job.sqlite", write=True) as job:
        x, y = (1000.0 * float(part.rstrip("m")) for part in place.split(","))
        set_place(job, "1", (x, y))


def test_coarsely_written_readings_prove_nothing_either_way(run: Run, table: Table) -> None:
    flat = table("line,reading\n" + "A,48\n" * 21, "flat.csv")
    words = ("--step", "12in", "--unit", "in", "--rule", "click-lock")
    told = run("flatness", "--lines", flat, *words)
    assert told.code == 1
    assert told.out.startswith("OPEN: Too close to tell")
    assert "as they are written" in told.out
    finer = table("line,reading\n" + "A,48.00\n" * 21, "finer.csv")
    assert run("flatness", "--lines", finer, *words).code == 0


def test_a_floor_is_judged_level_or_not_with_the_lasers_slope(run: Run, table: Table) -> None:
    """6 m by 4 m that falls by 1 mm/m along x, shot from its middle."""
    assert run("new", "--room", "6m,4m", "--units", "mm").code == 0
    rows = "".join(
        f"Q{n}-{m},{x},{y},{1200 + 0.001 * x:.2f},0.1,floor\n"
        for n, x in enumerate(range(200, 6000, 700))
        for m, y in enumerate(range(200, 4000, 700))
    )
    assert run("import", table(HEADING + rows), "--unit", "mm").code == 0
    good = run("flatness", "--rule", "din18202-level")
    assert good.code == 0, good.out
    told = run("flatness", "--rule", "din18202-level", "--json").json
    assert told["measure"] == "level"
    assert told["worst"]["gap_mm"] == pytest.approx(5.8, abs=0.2)
    assert told["worst"]["limit_mm"] == 12.0
    assert "one end" in good.out
    assert "the line along the first wall" in good.out
    with_place(run, "3m,2m")
    cross = ["--dist", "10m", "--reading", "0,1050mm", "--reading", "90,1000mm",
             "--reading", "180,950mm", "--reading", "270,1000mm"]  # fmt: skip
    run("check", "cross", *cross)
    doubtful = run("flatness", "--rule", "din18202-level")
    assert doubtful.code == 1
    assert "The laser's own error decides here" in doubtful.out
    report = run("report", "--out", "r", "--rule", "din18202-level")
    assert report.code == 0, report.err


@pytest.mark.parametrize(
    ("units", "off_mm", "said"),
    [
        ("in", 5.6, "stands 7/32 in above its top; was it kicked?"),
        ("in", -0.2, "stands less than 1/32 in below its top; was it kicked?"),
        ("mm", -5.6, "stands 5.6 mm below its top; was it kicked?"),
    ],
)
def test_a_kicked_marker_is_told_in_the_jobs_units(
    units: Any, off_mm: Any, said: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)
    markers = [("M1", off_mm, True), ("M2", 0.1, False)]
    change = Change(
        points=4,
        depth_mm=None,
        markers=tuple(
            MarkerOff(label=label, off_mm=off, stderr_mm=0.5, kicked=kicked)
            for label, off, kicked in markers
        ),
    )
    told = PourProof(
        rule="own", text="a rule", source="nowhere", measure="straightedge", verdict="in",
        chance=0.99, confidence=0.95, worst=None, share_in=None, ff=None, fl=None, ff_ci90=None,
        fl_ci90=None, lines=(), next=(), warnings=(), kind="finished", laser=None, change=change,
    )  # fmt: skip
    said_of = proof_text(told, Units(units, 32))
    assert f"Marker M1: the cured floor {said}" in said_of
    assert "M2" not in said_of


def test_the_covering_picks_the_rule_and_one_that_no_rule_knows_is_refused(
    surveyed: Run,
) -> None:
    nameless = surveyed("flatness")
    assert nameless.code == 2
    assert "--covering" in nameless.err
    for covering, rule in (
        ("large tile", "a108-large"),
        ("Small tile", "a108-small"),
        ("oak planks", "click-lock"),
        ("din18202-3", "din18202-3"),
        ("carpet", "bs8204-sr2"),
    ):
        assert surveyed("edit", "--covering", covering).code == 0
        assert surveyed("flatness", "--json").json["rule"] == rule
    assert surveyed("flatness", "--rule", "bs8204-sr3", "--json").json["rule"] == "bs8204-sr3"
    refused = surveyed("edit", "--covering", "moss")
    assert refused.code == 2
    assert "small tile (a108-small)" in refused.err
    assert surveyed("flatness", "--json").json["rule"] == "bs8204-sr2"


def test_the_report_proves_by_the_rule_of_the_covering(surveyed: Run) -> None:
    assert surveyed("edit", "--covering", "tile").code == 0
    assert surveyed("report").code == 0
    html = Path("report.html").read_text(encoding="utf-8")
    assert "the covering (tile) picks a108-large" in html
    assert surveyed("report", "--check", "report.html").code == 0


def test_the_grid_says_before_the_walk_what_the_rule_of_the_covering_needs(run: Run) -> None:
    assert run("new", "--room", "12ft,15ft", "--covering", "tile").code == 0
    (warning,) = run("grid", "--json").json["warnings"]
    assert "a108-large" in warning
    assert "no more than 12 in apart" in warning or "no more than 1 ft apart" in warning
    assert warning in run("grid").out
    assert run("grid", "--spacing", "1ft", "--json").json["warnings"] == []
    assert run("edit", "--covering", "plank").code == 0
    assert run("grid", "--json").json["warnings"] == []
