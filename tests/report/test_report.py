"""The report at every stage of a job: one true HTML file, a PDF that poppler reads, true copies."""

import itertools
import math
import re
import shutil
import subprocess
import time
from pathlib import Path
from typing import Any

import html5lib
import numpy as np
import pytest
import shapely
from babel.messages.pofile import read_po
from pypdf import PdfReader
from pypdf.generic._data_structures import DictionaryObject

import rig.words
from rig.cli.jobs import outline_of
from rig.drawing.pour import POURED
from rig.drawing.vector import Path as VectorPath
from rig.flatness.field import field_of, longest_line, step_for
from rig.flatness.measures.edges import EdgeRule
from rig.flatness.model import FINEST_MM, MOST_NODES
from rig.flatness.rules import load_rule
from rig.flatness.strips import failed_strips
from rig.job.store import Job
from rig.report.contents import report_of
from rig.report.proof_part import proof_section
from rig.report.sheet import _fonts, _letters
from rig.report.source import Options, Source
from rig.study.judged import Surfaces, own_heights
from rig.study.proof_answer import proof, strips
from rig.surface.floor_model import floor_model
from rig.surface.gaussian_process import GaussianProcess
from tests.cli.conftest import Run
from tests.kinds import Floats
from tests.report.jobs import STAGES, make

PARTS = ["glance", "job", "instruments", "floor", "plane", "quantities", "markers", "pour",
         "proof", "cautions", "appendix"]  # fmt: skip


def written(run: Run, *words: str, out: str = "out") -> list[Path]:
    done = run("report", "--out", out, "--json", *words)
    assert done.code == 0, done.err
    return [Path(path) for path in done.json["files"]]


def text_of(html: str) -> str:
    """Words of an HTML file, as a reader that forgives nothing sees them."""
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    tree = parser.parse(html)
    for drop in tree.iter("style"):
        drop.text = ""
    return " ".join(" ".join(tree.itertext()).split())


def pdf_text(path: Path) -> str:
    """Words of a PDF by poppler; tools/test installs it."""
    done = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
    return " ".join(done.stdout.split())


@pytest.mark.parametrize("stage", STAGES)
def test_a_job_at_any_stage_makes_a_whole_report(run: Run, stage: str) -> None:
    units = "in" if STAGES.index(stage) % 2 else "mm"
    make(run, stage, units)
    html, pdf = written(run)
    assert (html.name, pdf.name) == ("report.html", "report.pdf")
    content = html.read_text(encoding="utf-8")
    seen = text_of(content)
    sections = re.findall(r'<section id="(\w+)"', content)
    assert sections == [part for part in PARTS if part in sections]
    assert {"glance", "job", "instruments", "cautions", "appendix"} <= set(sections)
    paper = pdf_text(pdf)
    with Job.open("job.sqlite") as job:
        job_hash, plan, markers = job.content_hash(), job.current_plan(), job.markers()
        shots = job.shots(current=False)
    for words in (seen, paper):
        assert job_hash in words
        assert "licensed" in words
        assert "Traceback" not in words
        assert " nan" not in words.lower()
        assert "None" not in words.replace("None laid out yet", "")
        if plan is not None:
            assert f"Buy {plan.result['bags']['buy']} bags" in words
        for marker in markers:
            assert marker.label in words
        for shot in shots:
            told = f"{shot.reading_mm / 25.4:.4f}" if units == "in" else f"{shot.reading_mm:.2f}"
            assert told in words
        assert units == "mm" or not re.search(r"\bmm\b|°C", words)
    upto = STAGES.index(stage)
    assert ("has not been shot yet" in seen) == (upto < 2)
    assert ("No plane has been chosen yet" in seen) == (upto < 3)
    assert ("Not planned yet" in seen) == (3 <= upto < 5)
    assert ("Nothing has been poured yet" in seen) == (upto == 5)
    assert ("The finished surface keeps the rule click-lock" in seen) == (upto == 7)
    assert ("No rule was named" in seen) == (upto >= 2)
    figures = re.findall(r'<figure id="figure-(\w+)"', content)
    assert ("cover" in figures) == (upto >= 3)
    assert ("pour" in figures) == (upto >= 5)


def test_html_needs_nothing_from_outside(run: Run) -> None:
    make(run, "finished")
    content = written(run)[0].read_text(encoding="utf-8")
    assert "default-src 'none'" in content
    for outside in ("<script", "<link", "<img", "<iframe", "url(", "@import", "src="):
        assert outside not in content.replace("default-src", "").replace("style-src", "")
    links = re.findall(r'(?:href|xlink:href)="([^"]*)"', content)
    assert links
    assert all(link.startswith("#") for link in links)
    ids = re.findall(r'\sid="([^"]*)"', content)
    assert len(ids) == len(set(ids))
    assert {link[1:] for link in links} <= set(ids)
    addresses = set(re.findall(r"https?://[^\"' <]+", content))
    assert addresses <= {"http://www.w3.org/2000/svg"}  # a name, never fetched


def test_headings_tables_and_figures_are_made_for_screen_readers(run: Run) -> None:
    make(run, "poured")
    content = written(run)[0].read_text(encoding="utf-8")
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    tree = parser.parse(content)
    assert tree.get("lang") == "en"
    levels = [int(e.tag[1]) for e in tree.iter() if e.tag in ("h1", "h2", "h3")]
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))
    for table in tree.iter("table"):
        assert table.find("caption") is not None
        assert all(head.get("scope") == "col" for head in table.iter("th"))
    drawings = [e for e in tree.iter() if e.tag.endswith("svg")]
    assert drawings
    assert all(e.get("role") == "img" and e.get("aria-label") for e in drawings)


@pytest.mark.parametrize(("units", "paper"), [("mm", (595.3, 841.9)), ("in", (612.0, 792.0))])
def test_paper_is_that_of_the_units(run: Run, units: str, paper: tuple[float, float]) -> None:
    make(run, "surveyed", units)
    pages = PdfReader(written(run)[1]).pages
    assert [float(v) for v in pages[0].mediabox[2:]] == pytest.approx(paper, abs=0.1)
    numbered = [f"Page {n} of {len(pages)}" for n in range(1, len(pages) + 1)]
    assert all(told in page.extract_text() for told, page in zip(numbered, pages, strict=True))


def test_nothing_in_the_pdf_runs_off_the_page(run: Run) -> None:
    """Ink by poppler: nothing but paper within 5 mm of any edge."""
    make(run, "finished", "in")
    pdf = written(run)[1]
    subprocess.run(["pdftoppm", "-r", "40", "-gray", str(pdf), "page"], check=True)
    pages = sorted(Path().glob("page*.pgm"))
    assert len(pages) == len(PdfReader(pdf).pages)
    import numpy as np

    for page in pages:
        head, size, _, body = page.read_bytes().split(b"\n", 3)
        assert head == b"P5"
        wide, high = map(int, size.split())
        ink = np.frombuffer(body, dtype=np.uint8).reshape(high, wide)
        edge = round(5.0 / 25.4 * 40)
        inner = ink[edge:-edge, edge:-edge]
        assert (ink < 250).sum() == (inner < 250).sum(), page
        assert (inner < 128).any()


def test_the_marker_sheet_can_be_read_from_standing(run: Run) -> None:
    make(run, "planned")
    with Job.open("job.sqlite") as job:
        labels = {marker.label for marker in job.markers()}
    sizes: dict[Any, Any] = {}

    def see(
        text: str, _: list[float], matrix: list[float], __: DictionaryObject | None, size: float
    ) -> None:
        if text.strip() in labels:
            sizes[text.strip()] = max(sizes.get(text.strip(), 0.0), size)

    for page in PdfReader(written(run)[1]).pages:
        page.extract_text(visitor_text=see)
    # Capitals of 24 point are 6 mm high: 1/270 of what lies between eye and a sheet on the floor.
    assert sizes == dict.fromkeys(labels, pytest.approx(24.0))


def test_out_takes_a_folder_or_a_file(run: Run) -> None:
    make(run, "grid")
    html, pdf, *svgs = written(run, "--drawings", out="deep/down/kitchen.html")
    assert html == Path("deep/down/kitchen.html").absolute()
    assert pdf == html.with_suffix(".pdf")
    assert [svg.name for svg in svgs] == ["kitchen-walk.svg"]
    assert all(path.exists() for path in (html, pdf, *svgs))
    Path("taken").write_text("a file")
    refused = run("report", "--out", "taken/below")
    assert refused.code == 2
    assert "cannot be written" in refused.err


def test_a_true_copy_is_told_from_a_forged_one_and_from_another_job(run: Run) -> None:
    make(run, "finished")
    html, pdf = written(run, "--rule", "bs8204-sr1", "--confidence", "0.9")
    for path in (html, pdf):
        copy = shutil.copy(path, f"copy of {path.name}")
        done = run("report", "--check", copy, "--json")
        assert done.code == 0
        assert done.json["same"]
        assert done.json["job_same"]
    forged = html.read_text(encoding="utf-8").replace("out of level", "out of true", 1)
    Path("forged.html").write_text(forged, encoding="utf-8")
    done = run("report", "--check", "forged.html")
    assert done.code == 1
    assert "NOT A TRUE COPY" in done.out
    assert "out of true" in done.out
    bent = pdf.read_bytes()
    spot = bent.index(b"stream") + 60
    Path("forged.pdf").write_bytes(bent[:spot] + bytes([bent[spot] ^ 1]) + bent[spot + 1 :])
    assert run("report", "--check", "forged.pdf").code == 1
    # The job goes on: the old report no longer shows it as it is.
    assert run("plan").code == 0
    done = run("report", "--check", html, "--json")
    assert done.code == 1
    assert not done.json["job_same"]
    shutil.copy("job.sqlite", "same.sqlite")
    again = written(run, out="again")[0]
    assert run("report", "--check", again, "--job", "same.sqlite").code == 0


def test_what_is_no_report_is_refused(run: Run) -> None:
    make(run, "room")
    Path("other.html").write_text("<!DOCTYPE html><title>floor-rig report {}</title>")
    Path("bytes.pdf").write_bytes(b"%PDF-1.7\n\xff\xfe floor-rig report {broken")
    for name in ("other.html", "bytes.pdf", "missing.pdf"):
        refused = run("report", "--check", name)
        assert refused.code == 2
        assert name in refused.err
    assert run("report", "--rule", "no-such-rule").code == 2
    assert run("report", "--job", "nowhere.sqlite").code == 2


def test_a_stale_plan_is_called_stale(run: Run) -> None:
    make(run, "planned")
    with Job.open("job.sqlite") as job:
        point = job.points()[0]
    Path("more.csv").write_text(
        f"label,x,y,reading\n{point.label},{point.x_mm},{point.y_mm},1190\n"
    )
    assert run("import", "more.csv", "--unit", "mm").code == 0
    seen = text_of(written(run)[0].read_text(encoding="utf-8"))
    assert "The plan is stale" in seen
    assert "(stale)" in seen


def test_numbers_are_those_of_the_other_commands(run: Run) -> None:
    make(run, "surveyed")
    floor = run("floor", "--json").json
    before = text_of(written(run)[0].read_text(encoding="utf-8"))
    assert run("plan").code == 0
    after = text_of(written(run)[0].read_text(encoding="utf-8"))
    high, low = floor["high"], floor["low"]
    for seen in (before, after):
        assert f"{-high['z_mm']:.1f}".rstrip("0").rstrip(".") + " mm below the line" in seen
        assert f"{-high['upper_mm']:.1f}".rstrip("0").rstrip(".") + " mm below the line" in seen
        assert f"{-low['z_mm']:.1f}".rstrip("0").rstrip(".") + " mm below the line" in seen


@pytest.mark.parametrize("stage", ["surveyed", "finished"])
def test_no_surface_is_fitted_twice_to_prove_flatness(
    run: Run, monkeypatch: pytest.MonkeyPatch, stage: str
) -> None:
    make(run, stage)
    fitted, fit = [], GaussianProcess.fit

    def counted(self: Any, *shots: Floats) -> Any:
        fitted.append(tuple(np.asarray(column).tobytes() for column in shots))
        return fit(self, *shots)

    monkeypatch.setattr(GaussianProcess, "fit", counted)
    with Job.open("job.sqlite") as job:
        proof_section(Source(job, outline_of(job), Options(), "job"))
    assert fitted
    assert len(fitted) == len(set(fitted))


def test_failed_strips_are_those_of_a_surface_fitted_for_them_alone(run: Run) -> None:
    assert run("new", "--room", "4m,5m", "--units", "mm").code == 0
    waves = "".join(
        f"P{x}-{y},{x},{y},{1200 + 9 * math.cos(x / 450) + 6 * math.cos(y / 600):.2f},0.3\n"
        for x in range(200, 4000, 400)
        for y in range(200, 5000, 400)
    )
    Path("waves.csv").write_text("label,x,y,reading,stderr\n" + waves)
    assert run("import", "waves.csv", "--unit", "mm").code == 0
    rule = load_rule("click-lock")
    assert isinstance(rule, EdgeRule)
    with Job.open("job.sqlite") as job:
        outline = outline_of(job)
        surfaces = Surfaces(outline)
        proof(job, outline, rule, 0.95, "floor", surfaces)
        told = strips(job, outline, rule, "floor", surfaces)
        heights = own_heights(job, outline, "floor")
    alone = floor_model().fit(heights.x_mm, heights.y_mm, heights.z_mm, heights.stderr_mm)
    step = step_for(outline, FINEST_MM, MOST_NODES)
    field = field_of(outline, step, lambda x, y: alone.predict(x, y)[0])
    want = failed_strips(field, outline, rule.edges(longest_line(outline)), 40)
    assert len(told) == len(want) > 0
    for one, other in zip(told, want, strict=True):
        assert (one.gap_mm, one.x_mm, one.y_mm) == (other.gap_mm, other.x_mm, other.y_mm)


def test_patches_and_another_rule_on_request(run: Run) -> None:
    make(run, "surveyed")
    html = written(run, "--rule", "e1155", "--patch", "bs8204-sr2")[0]
    content = html.read_text(encoding="utf-8")
    assert 'id="figure-patches"' in content
    assert "e1155" in text_of(content)


@pytest.mark.parametrize(("label", "printed"), [("т", True), ("ł", True), ("瓷", False)])
def test_letters_of_any_script(
    run: Run, monkeypatch: pytest.MonkeyPatch, label: str, printed: bool
) -> None:
    monkeypatch.setattr("rig.report.sheet._FONT_FOLDERS", ("nowhere",))
    assert run("new", "--room", "3m,4m", "--units", "mm").code == 0
    rows = ["label,x,y,reading"]
    rows += [
        f"{label}&{n},{300 + 800 * (n % 3)},{300 + 900 * (n // 3)},{1200 + n * n}" for n in range(9)
    ]
    Path("t.csv").write_text("\n".join(rows), encoding="utf-8")
    assert run("import", "t.csv", "--unit", "mm").code == 0
    html, pdf = written(run)
    seen = text_of(html.read_text(encoding="utf-8"))
    assert f"{label}&4" in seen
    paper = pdf_text(pdf)
    assert ("could not be printed" in paper) is not printed
    assert (f"{label}&4" if printed else "?&4") in paper


def test_the_fonts_of_the_pdf_have_every_letter_of_every_language() -> None:
    said: set[str] = set()
    for file in (Path(rig.words.__file__).parent / "languages").glob("*/LC_MESSAGES/rig.po"):
        with file.open("rb") as source:
            for message in read_po(source):
                texts = message.string if isinstance(message.string, tuple) else [message.string]
                said.update(*map(str, texts), *map(str, message.id))
    for own in next(_fonts()):
        assert {letter for letter in said if letter.isprintable()} <= set(map(chr, _letters(own)))


def test_two_hundred_shots_are_quick_and_small(run: Run) -> None:
    """The bench measures on a machine of its own; here only that nothing is out of all measure."""
    assert run("new", "--room", "13m,13m", "--units", "mm", "--door", "2m,0m,1m").code == 0
    rows = ["label,x,y,reading"]
    rows += [
        f"{chr(65 + i)}{j + 1},{300 + 880 * i},{300 + 950 * j},{1200 + (i * j) % 7 + i}"
        for i in range(15)
        for j in range(14)
    ]
    Path("t.csv").write_text("\n".join(rows))
    assert run("import", "t.csv", "--unit", "mm").code == 0
    assert run("plan").code == 0
    begun = time.process_time()
    files = written(run)
    assert time.process_time() - begun < 12.0
    assert sum(path.stat().st_size for path in files) < 2_000_000


def fills(pdf: Path) -> list[float]:
    """How far down each page its ink reaches, the foot left out, as a share."""
    subprocess.run(["pdftoppm", "-r", "30", "-gray", str(pdf), "fill"], check=True)
    found = []
    for page in sorted(Path().glob("fill*.pgm")):
        _, size, _, body = page.read_bytes().split(b"\n", 3)
        wide, high = map(int, size.split())
        ink = np.frombuffer(body, dtype=np.uint8).reshape(high, wide)
        foot = round((1.0 - 19.0 / 279.4) * high)
        found.append(float(np.flatnonzero((ink[:foot] < 200).any(axis=1)).max()) / foot)
    return found


@pytest.mark.parametrize("stage", ["surveyed", "set", "finished"])
def test_no_page_is_nearly_empty_and_the_whole_is_short(run: Run, stage: str) -> None:
    make(run, stage, "in")
    full = fills(written(run)[1])
    assert len(full) <= 8
    assert min(full) >= 0.5


def test_the_floor_that_was_told_covered_is_drawn_poured(run: Run) -> None:
    """All of it told after one batch: a crew that mixed more at a time has covered it all."""
    make(run, "pour planned", "mm")
    with Job.open("job.sqlite") as job:
        last = len(job.events(["pour_plan"])[-1].data["result"]["strips"])
        outline = outline_of(job)
    assert last > 2
    assert run("pour", "run", typed=f"batch\nfront {last}\ny\nstop\n").code == 0
    with Job.open("job.sqlite") as job:
        ended = job.events(["pour_done"])[-1].data
        (figure,) = [
            one
            for one in report_of(job, outline, Options(), "job", 0.0).figures()
            if one.name == "pour"
        ]
    poured = [
        shapely.length(shapely.LineString(run))
        for shape in figure.drawing.shapes
        if isinstance(shape, VectorPath) and shape.pen == POURED
        for run in shape.runs
    ]
    assert ended["share"] == 1.0
    # Hatching 1.8 mm apart: as long as its area is large.
    scale = figure.drawing.scale
    assert scale is not None
    floor_mm2 = outline.polygon.area / scale**2
    assert sum(poured) * 1.8 == pytest.approx(floor_mm2, rel=0.05)
