"""Products, crews and mixers by names of the user's own, through the command line."""

from pathlib import Path

import pytest

from rig.job import Job
from tests.cli.conftest import Run

SHEET = (
    "--use", "1.7kg/m2/mm", "--bag-mass", "25kg", "--bag-water", "6l", "--min-cover", "3mm",
    "--max-cover", "30mm", "--mix-time", "2min", "--working-time", "20min", "--price", "18.50",
    "--edition", "2024-03",
)  # fmt: skip


@pytest.fixture
def blend(run: Run) -> Run:
    assert run("product", "add", "Blend", *SHEET).code == 0
    return run


def test_use_is_read_as_sheets_state_it(run: Run) -> None:
    """25 kg at 1.7 kg/m²/mm make 25/1.7 l; 1.1 lb/ft² at 1/8 in is 1.1·0.45359237 kg on
    0.09290304 m² at 3.175 mm (NIST SP 811, B.8)."""
    use = ("--use", "1.1lb/ft2 at 1/8in", "--bag-mass", "50lb")
    assert run("product", "add", "US", *use).code == 0
    assert run("product", "add", "EU", "--use", "1.7kg/m2/mm", "--bag-mass", "25kg").code == 0
    found = {one["name"]: one for one in run("product", "list", "--json").json["products"]}
    assert found["EU"]["bag_yield_l"] == pytest.approx(25 / 1.7)
    kg_l = 1.1 * 0.45359237 / 0.09290304 / 3.175
    assert found["US"]["bag_yield_l"] == pytest.approx(50 * 0.45359237 / kg_l)
    assert "invented" in found["plain example"]["edition"]


def test_a_job_keeps_a_copy_of_what_it_was_given(blend: Run) -> None:
    rate = ("--kind", "primer", "--rate", "0.1l/m2", "--pack", "5l")
    assert blend("product", "add", "P1", *rate).code == 0
    assert blend("product", "edit", "blend", "--primer", "P1").code == 0
    made = blend("new", "--room", "3m,4m", "--units", "mm", "--product", "blend")
    assert made.code == 0, made.err
    assert blend("product", "drop", "Blend").code == 0
    rows = "\n".join(
        f"P{i}{j},{300 + i * 600},{300 + j * 700},{1200 + (i * j) % 4}"
        for i in range(5)
        for j in range(5)
    )
    Path("shots.csv").write_text("label,x,y,reading\n" + rows + "\n")
    assert blend("import", "shots.csv", "--unit", "mm").code == 0
    plan = blend("plan", "--json").json
    assert plan["volume_l"]["per_bag"] == pytest.approx(25 / 1.7)
    assert plan["min_cover_mm"] == 3.0
    primer = next(one for one in plan["materials"] if one["item"] == "primer")
    assert primer["amount"] == pytest.approx(12 * 0.1)
    assert (primer["packs"], primer["leftover"]) == (1, pytest.approx(5 - 1.2))
    assert primer["source"] == "P1, by its sheet"
    crew = ("--kind", "crew", "--people", "3", "--mixers", "1")
    assert blend("product", "add", "Ann and Bo", *crew).code == 0
    pour = blend(
        "pour", "plan", "--crew", "ann and bo", "--exit", "0m,0m", "--runs", "100", "--json"
    )
    assert pour.json["working_time_s"] == 1200.0
    assert pour.json["mix_time_s"] == 120.0
    assert pour.json["crew"] == 3
    assert pour.json["sheet"]["text"] == "Blend, 2024-03"


def test_a_job_knows_its_crew_and_its_laser(run: Run) -> None:
    crew = ("--kind", "crew", "--people", "3")
    assert run("product", "add", "Ann and Bo", *crew).code == 0
    told = ("--crew", "ann and bo", "--laser-name", "LX-7 0042")
    assert run("new", "--room", "3m,4m", "--units", "mm", *told).code == 0
    with Job.open("job.sqlite") as job:
        assert (job.settings.crew, job.settings.laser_name) == ("Ann and Bo", "LX-7 0042")
    assert run("edit", "--crew", "Cy").code == 0
    with Job.open("job.sqlite") as job:
        assert (job.settings.crew, job.settings.laser_name) == ("Cy", "LX-7 0042")
    assert run("undo").code == 0
    with Job.open("job.sqlite") as job:
        assert job.settings.crew == "Ann and Bo"
    assert run("edit", "--laser-name", " ").code == 2


def test_a_list_is_carried_whole_or_not_at_all(blend: Run) -> None:
    assert blend("product", "export", "mine.toml").code == 0
    assert blend("product", "drop", "Blend").code == 0
    assert blend("product", "import", "mine.toml", "--json").json == {"names": ["Blend"]}
    assert blend("product", "edit", "Blend", "--price", "19").code == 0
    said = blend("product", "import", "mine.toml")
    assert (said.code, "--replace" in said.err) == (2, True)
    text = Path("mine.toml").read_text() + '\n[compound.Two]\nbag_yeld = "12l"\n'
    Path("bad.toml").write_text(text)
    bad = blend("product", "import", "bad.toml", "--replace")
    assert bad.code == 2
    assert "bag-yeld" in bad.err
    (mine,) = [
        p for p in blend("product", "list", "--json").json["products"] if p["name"] == "Blend"
    ]
    assert mine["price"] == "19"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("add", "X"), "neither what a bag makes"),
        (("add", "X", "--use", "1.7kg/m2/mm"), "no mass of a bag"),
        (("add", "X", "--use", "1.7kg"), "1.1lb/ft2 at 1/8in"),
        (("add", "X", "--bag-yield", "12l", "--rate", "1l/m2"), "has no --rate"),
        (("add", "X", "--bag-yield", "12l", "--price", "dear"), "18.50"),
        (("add", "X", "--bag-yield", "12l", "--primer", "none"), "no 'none' (primer)"),
        (("add", "X", "--bag-yield", "1l", "--bag-mass", "50kg"), "Look at the bag's sheet"),
        (("add", "blend", "--bag-yield", "12l"), "there already"),
        (("edit", "plain example", "--price", "3"), "built in"),
        (("edit", "Blend", "--clear", "use"), "neither what a bag makes"),
        (("drop", "nobody"), "(product); there is"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_changed(
    blend: Run, words: tuple[str, ...], told: str
) -> None:
    before = blend("product", "list").out
    said = blend("product", *words)
    assert said.code == 2
    assert told in said.err
    assert len(said.err.splitlines()) == 1
    assert blend("product", "list").out == before


def test_a_product_that_is_not_there_makes_no_job(run: Run) -> None:
    said = run("new", "--room", "3m,4m", "--product", "nobody")
    assert said.code == 2
    assert not Path("job.sqlite").exists()
