"""A sheet of paper to write on: its fonts, how wide words are, and lines of text set by hand.

Sheets may be blind: then everything finds its place and nothing is written, which is quick.
"""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from fpdf import FPDF
from fpdf.drawing_primitives import color_from_hex_string
from fpdf.fonts import CoreFont, TTFFont

from rig import __version__
from rig.drawing.palette import COLOURS
from rig.drawing.vector import Text, flat
from rig.language import say, shown
from rig.report.document import Report, texts_of
from rig.texts import harmless

POINT_MM = 25.4 / 72.0
MARGIN_MM = 15.0
FOOT_MM = 14.0
BODY_PT, SMALL_PT, HEAD_PT, TITLE_PT, LEAD_PT, LARGE_PT = 9.5, 9.0, 13.0, 20.0, 12.0, 24.0
LEADING = 1.3
GAP_MM = 5.0  # between two columns

# Where systems keep a font that has letters beyond western Europe's.
_FONT_FOLDERS = ("/usr/share/fonts", "/usr/local/share/fonts", "/Library/Fonts", "C:/Windows/Fonts")
_FONTS = (("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"), ("Arial Unicode.ttf", "Arial Unicode.ttf"),
          ("NotoSans-Regular.ttf", "NotoSans-Bold.ttf"), ("arial.ttf", "arialbd.ttf"),
          ("LiberationSans-Regular.ttf", "LiberationSans-Bold.ttf"))  # fmt: skip
CORE = "Helvetica"
INK = {name: color_from_hex_string(told) for name, told in COLOURS.items()}  # read only once


class Sheet(FPDF):
    """Pages in mm, margins and a foot, and texts on them."""

    def __init__(self, report: Report, blind: bool = False, like: "Sheet | None" = None) -> None:
        super().__init__(unit="mm", format=report.paper)
        self.report, self.blind = report, blind
        # Widths of texts at 1 point, and texts broken into lines, shared with a sheet before.
        self._at_1pt: dict[tuple[str, bool], float] = {} if like is None else like._at_1pt
        self._broken: dict[tuple[str, float, float, bool], list[str]] = (
            {} if like is None else like._broken
        )
        self.letters: frozenset[int] = frozenset()
        self._faces: dict[bool, CoreFont | TTFFont] = {}
        self.family, self.lost = self._choose_font()
        self.set_margins(MARGIN_MM, MARGIN_MM, MARGIN_MM)
        self.set_auto_page_break(False)
        self.bottom = self.h - MARGIN_MM - FOOT_MM / 2
        made = datetime.fromtimestamp(report.made_utc_s, UTC)
        self.set_creation_date(made)
        self.set_title(report.title)
        self.set_subject(report.subtitle)
        self.set_keywords(report.stamp)
        self.set_creator(f"floor-rig {__version__}")
        self.set_lang(report.lang)

    def footer(self) -> None:
        """Number the page and name the job by its hash."""
        if self.blind:
            return
        self.set_y(self.h - MARGIN_MM - 1.0)
        self.pen(SMALL_PT, colour="soft")
        told = say(
            "{title} · job {job_hash}", title=self.report.title, job_hash=self.report.job_hash[:12]
        )
        self.cell(self.epw / 2, 4.0, self.fit(told))
        page = say("Page {page_no} of {{nb}}", page_no=self.page_no())
        self.cell(self.epw / 2, 4.0, self.fit(page), align="R")

    def fit(self, text: str) -> str:
        """Text in letters that the font has: those of windows-1252, under the numbers of its own.

        Other letters than the font has stand as `?`. The writer takes a letter's number for the
        core font's, so that `…` must be there as U+0085.
        """
        text = harmless(shown(text))
        if text.isascii():
            return text
        if self.family != CORE:
            return "".join(letter if ord(letter) in self.letters else "?" for letter in text)
        return text.encode("windows-1252", "replace").decode("latin-1")

    def pen(self, size_pt: float, bold: bool = False, colour: str = "ink") -> None:
        """Write on in this size and colour."""
        self.set_font(self.family, "B" if bold else "", size_pt)
        self.set_text_color(INK[colour])

    def put(
        self,
        lines: list[str],
        size: float,
        x: float,
        width: float,
        bold: bool = False,
        colour: str = "ink",
        side: str = "L",
    ) -> None:
        """Write lines one under another from where the sheet stands."""
        high = line_mm(size)
        if self.blind:
            self.set_y(self.y + high * len(lines))
            return
        away = [width - self.measure(line, size, bold) if side == "R" else 0.0 for line in lines]
        self.pen(size, bold, colour)
        for line, left in zip(lines, away, strict=True):
            self.text(x + left, self.y + 0.79 * high, line)
            self.set_y(self.y + high)

    def stroke(self, a: tuple[float, float], b: tuple[float, float], colour: str, w: float) -> None:
        """Draw a straight line."""
        if self.blind:
            return
        self.set_draw_color(INK[colour])
        self.set_line_width(w)
        self.line(*a, *b)

    def broken(self, text: str, size: float, width: float, bold: bool = False) -> list[str]:
        """Break a text into lines; a word too long for one is cut."""
        key = (text, size, round(width, 2), bold)
        if key not in self._broken:
            self._broken[key] = self._lines(text, size, width, bold)
        return self._broken[key]

    def _lines(self, text: str, size: float, width: float, bold: bool) -> list[str]:
        lines, line = [], ""
        space = self.measure(" ", size, bold)
        at = 0.0
        for word in map(self.fit, text.split()):
            while self.measure(word, size, bold) > width and len(word) > 1:
                cut = len(word) - 1
                while cut > 1 and self.measure(word[:cut], size, bold) > width:
                    cut -= 1
                if line:
                    lines.append(line)
                    line = ""
                lines.append(word[:cut])
                word = word[cut:]
            wide = self.measure(word, size, bold)
            if line and at + space + wide > width:
                lines.append(line)
                line = ""
            at = at + space + wide if line else wide
            line = f"{line} {word}" if line else word
        return [*lines, line] if line or not lines else lines

    def wide(self, text: str, size: float, bold: bool = False) -> float:
        """Width of a text in mm."""
        return self.measure(self.fit(text), size, bold)

    def measure(self, text: str, size: float, bold: bool) -> float:
        """Width of a text that is fit already, in mm; fpdf2 measures each word only once."""
        key = (text, bold)
        if key not in self._at_1pt:
            if bold not in self._faces:
                self.pen(size, bold)
                assert self.current_font is not None
                self._faces[bold] = self.current_font
            self._at_1pt[key] = float(self._faces[bold].get_text_width(text, POINT_MM, None)[1])
        return self._at_1pt[key] * size

    def _choose_font(self) -> tuple[str, bool]:
        """Family to write in, and whether letters will be lost."""
        texts = list(_all_texts(self.report))
        if _is_western(texts):
            return CORE, False
        wanted = {ord(letter) for text in texts for letter in harmless(text)}
        own, *others = _fonts()
        chosen = next((one for one in (own, *others) if wanted <= _letters(one[0])), own)
        self.letters = _letters(chosen[0])
        for style, file in zip(("", "B"), chosen, strict=True):
            self.add_font("report", style, file)
        return "report", not wanted <= self.letters


def _fonts() -> Iterator[tuple[Path, Path]]:
    """Yield fonts that are there, plain and bold: our own, which has all letters of Europe, first.

    It is as wide as the core font, by which drawings measure their texts.
    """
    own = Path(__file__).parent / "fonts"
    yield own / "plain.ttf", own / "bold.ttf"
    for plain, bold in _FONTS:
        for folder in _FONT_FOLDERS:
            for found in sorted(Path(folder).rglob(plain))[:1]:
                strong = found.with_name(bold)
                yield found, strong if strong.exists() else found


@cache
def _letters(file: Path) -> frozenset[int]:
    """Return the letters that a font has, by their numbers."""
    from fontTools.ttLib import TTFont

    with TTFont(file, lazy=True) as font:
        return frozenset(font.getBestCmap())


def line_mm(size_pt: float) -> float:
    """Height of a line of text."""
    return size_pt * POINT_MM * LEADING


def _is_western(texts: Iterable[str]) -> bool:
    try:
        for text in texts:
            text.encode("windows-1252")
    except UnicodeEncodeError:
        return False
    return True


def _all_texts(report: Report) -> Iterable[str]:
    yield report.title
    yield report.subtitle
    for part in report.sections:
        yield part.title
        for block in part.blocks:
            yield from texts_of(block)
    for figure in report.figures():
        for shape in flat(figure.drawing.shapes):
            if isinstance(shape, Text):
                yield shape.text
