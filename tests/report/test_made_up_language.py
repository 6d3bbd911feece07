"""The report in a language that nobody speaks: none English, none cut, none covered."""

import re
import subprocess
from calendar import month_abbr
from itertools import combinations
from pathlib import Path
from pprint import pformat
from xml.etree import ElementTree

import pytest

from rig.language import speaking
from rig.pour.prepour import STEPS
from tests.cli.conftest import Run
from tests.language.made_up import MADE_UP, english, marked
from tests.report.jobs import make
from tests.report.test_report import text_of, written

# Names that users gave, units, and months, which Babel says.
STEPS_TYPED = {step.key for step in STEPS}
LIBRARIES = {"python", "numpy", "scipy", "shapely", "contourpy"}
NAMES = (
    STEPS_TYPED
    | LIBRARIES
    | {"job", "oak", "planks", "min", "kpa", "rig"}
    | {month.lower() for month in month_abbr if month}
)
WORD = re.compile(r"[^\W\d_]{4,}")


def words_of(pdf: Path) -> list[tuple[int, tuple[float, ...], str]]:
    """Words of a PDF with their pages and boxes in points, as poppler finds them."""
    done = subprocess.run(
        ["pdftotext", "-bbox", str(pdf), "-"], capture_output=True, text=True, check=True
    )
    tree = ElementTree.fromstring(re.sub(r"[\x00-\x08\x0b-\x1f]", "", done.stdout))
    found = []
    for n, page in enumerate(tree.iterfind(".//{*}page")):
        wide, high = float(page.attrib["width"]), float(page.attrib["height"])
        for word in page.iterfind("{*}word"):
            box = tuple(float(word.attrib[key]) for key in ("xMin", "yMin", "xMax", "yMax"))
            assert 0 < box[0] < box[2] < wide, word.text
            assert 0 < box[1] < box[3] < high, word.text
            found.append((n, box, word.text or ""))
    return found


def covered(words: list[tuple[int, tuple[float, ...], str]]) -> list[tuple[str, str]]:
    """Words that lie over each other; their boxes are larger than their letters."""
    return [
        (one, other)
        for (n, a, one), (m, b, other) in combinations(words, 2)
        if n == m
        and min(a[2], b[2]) - max(a[0], b[0]) > 1.5
        and min(a[3], b[3]) - max(a[1], b[1]) > 5.0
    ]


@pytest.mark.parametrize(
    "words", [(), ("--for", "customer"), ("--only", "markers"), ("--only", "buy")]
)
def test_no_part_of_a_report_is_english_cut_or_covered(run: Run, words: tuple[str, ...]) -> None:
    make(run, "finished")
    with speaking(MADE_UP):
        html, *others = written(run, *words)
    content = html.read_text(encoding="utf-8")
    told = text_of(re.sub(r"<footer\b.*?</footer>", "", content, flags=re.DOTALL))
    paper = [word for file in others if file.suffix == ".pdf" for word in words_of(file)]
    printed = " ".join(word for _, _, word in paper)
    left = [part for part in re.split(r"(?<=[.:;])\s", told) if english(part) - NAMES]
    assert not left, pformat(left, width=300)
    assert not english(printed) - NAMES
    assert not covered(paper)
    cut = set(WORD.findall(printed)) - set(WORD.findall(told)) - {marked("Page"), marked("job")}
    assert not {word for word in cut if not word.isascii()}
