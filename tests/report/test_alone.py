"""Sheets of one part, and the customer's page: one side of paper, and what it does not tell."""

import re
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader

from rig.job.store import Job
from tests.cli.conftest import Run
from tests.report.jobs import make
from tests.report.test_report import pdf_text, text_of, written

WHOSE = "Family Quillfeather, 5 Elm Street"


@pytest.fixture
def finished(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    make(run, "finished")
    return run


def pages(pdf: Path) -> int:
    return len(PdfReader(pdf).pages)


def test_a_customer_gets_one_side_of_paper(finished: Run) -> None:
    Image.new("RGB", (900, 600), "grey").save("dip.jpg")
    Image.new("RGBA", (300, 100), "blue").save("logo.png")
    firm = ("--name", "Miller & Daughter", "--address", "12 Oak St; Springfield")
    assert finished("firm", *firm, "--logo", "logo.png").code == 0
    sheet = ("--walk-on", "4h", "--cover-after", "72h", "--bag-yield", "12l", "--bag-mass", "22kg")
    assert finished("product", "add", "own mix", *sheet).code == 0
    assert finished("edit", "--product", "own mix").code == 0
    asked = ("--for", "customer", "--whose", WHOSE, "--photo", "dip.jpg", "--photo", "dip.jpg")
    html, pdf = written(finished, *asked)
    assert (html.name, pages(pdf)) == ("customer.html", 1)
    content = html.read_text()
    for words in (text_of(content), pdf_text(pdf)):
        for told in (WHOSE, "Miller & Daughter", "Springfield", "Before.", "After.", "own mix",
                     "4 h after the pour", "3 days after the pour", "tolerance", "silica",
                     "Customer: name, place, date"):  # fmt: skip
            assert told in words, told
    assert "under click-lock floating floors: 4.8 mm in 3.05 m" in text_of(content).lower()
    crew = text_of(written(finished)[0].read_text())
    assert (
        "4.8 mm in 3.05 m (as written: Under click-lock floating floors: 3/16 in in 10 ft)" in crew
    )
    assert content.count("<img ") == 3
    assert 'src="http' not in content
    # Both maps mean the same by their colours and are of one size.
    before, after = re.findall(r'<figure id="figure-(?:before|after)">(.*?)</svg>', content, re.S)
    keys = [re.findall(r">([\d.]+)</text>", one) for one in (before, after)]
    rooms = [re.search(r'data-room="([-\d.]+) ', one) for one in (before, after)]
    assert set(keys[1]) <= set(keys[0])
    assert rooms[0] is not None
    assert rooms[1] is not None
    assert rooms[0][1] == rooms[1][1]
    # Whose floor it is stays with who said it.
    assert b"Quillfeather" not in Path("job.sqlite").read_bytes()
    # A true copy is known with the same words beside it, and only so.
    assert finished("report", "--check", pdf, *asked[2:]).code == 0
    assert finished("report", "--check", pdf, "--whose", "somebody else").code == 1


def test_slips_of_the_finger_are_for_the_crew_alone(finished: Run) -> None:
    with Job.open("job.sqlite") as job:
        point = job.points()[0]
    Path("again.csv").write_text(
        f"label,x,y,reading,setup\n{point.label},{point.x_mm},{point.y_mm},1199.5,1\n"
    )
    assert finished("import", "again.csv", "--unit", "mm").code == 0
    crew = pdf_text(written(finished)[1])
    html, pdf = written(finished, "--for", "customer", "--with", "appendix")
    assert "replaced" in crew.split("Data")[-1]
    assert "Never ticked before the pour" in crew
    told = pdf_text(pdf)
    assert "The floor as found" in told
    for slip in ("replaced", "undone", "Never ticked", "Told while measuring"):
        assert slip not in told, slip
    assert pages(pdf) > 3
    first = PdfReader(pdf).pages[0].extract_text()
    assert "At a glance" not in first
    assert "At a glance" in text_of(html.read_text())


def test_the_marker_sheet_and_the_list_to_shop_by_come_alone(finished: Run) -> None:
    html, pdf = written(finished, "--only", "markers")
    assert (html.name, pages(pdf)) == ("markers.html", 1)
    with Job.open("job.sqlite") as job:
        labels = {marker.label for marker in job.markers()}
    assert labels <= set(pdf_text(pdf).split())
    told = finished("report", "--only", "buy", "--json").json
    html, pdf, text = map(Path, told["files"])
    assert pages(pdf) == 1
    assert text.suffix == ".txt"
    assert text.read_text().strip() == told["text"]
    plan = finished("plan", "--json").json
    for one in plan["materials"]:
        assert f"- {one['item']}: {one['text']}" in told["text"]
    assert finished("report", "--only", "buy").out.startswith(told["text"])


def test_what_is_no_photo_is_refused_and_nothing_written(finished: Run) -> None:
    Path("table.jpg").write_text("label,x,y")
    asked = ("report", "--for", "customer", "--out", "none")
    for words, said in (
        (("--photo", "table.jpg"), "table.jpg is no picture"),
        (("--photo", "nowhere.jpg"), "There is no file nowhere.jpg"),
        (("--photo", "a", "--photo", "b", "--photo", "c"), "room for 2 photos"),
        (("--only", "markers"), "leave out --for customer"),
    ):
        refused = finished(*asked, *words)
        assert refused.code == 2
        assert said in refused.err
        assert len(refused.err.strip().splitlines()) == 1
    assert not Path("none").exists()
    assert finished("report", "--whose", "me").code == 2


def test_a_job_without_markers_or_plan_says_so(run: Run) -> None:
    make(run, "surveyed")
    for what, said in (("markers", "rig markers"), ("buy", "rig plan")):
        refused = run("report", "--only", what)
        assert refused.code == 1
        assert said in refused.err
