"""Writes a report as a PDF by fpdf2, from the same parts and drawings as the HTML file."""

from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path

from fpdf import FPDF
from fpdf.drawing_primitives import Transform, color_from_hex_string
from fpdf.fonts import CoreFont, TTFFont
from fpdf.svg import SVGObject

from rig import __version__
from rig.drawing.palette import COLOURS
from rig.drawing.svg import to_print_svg
from rig.drawing.vector import Drawing, Text, flat
from rig.report.document import MARKS, Bullets, Facts, Figure, Report, Section, Table, Words
from rig.report.html import caption_of
from rig.texts import harmless

POINT_MM = 25.4 / 72.0
MARGIN_MM = 15.0
FOOT_MM = 14.0
BODY_PT, SMALL_PT, HEAD_PT, TITLE_PT, LEAD_PT, LARGE_PT = 9.5, 8.0, 14.0, 22.0, 12.0, 24.0
LEADING = 1.32
WIDEST_SHARE = 0.62  # of a table's width, that one column of words may take

# Where systems keep a font that has letters beyond western Europe's.
_FONT_FOLDERS = ("/usr/share/fonts", "/usr/local/share/fonts", "/Library/Fonts", "C:/Windows/Fonts")
_FONTS = (("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"), ("Arial Unicode.ttf", "Arial Unicode.ttf"),
          ("NotoSans-Regular.ttf", "NotoSans-Bold.ttf"), ("arial.ttf", "arialbd.ttf"),
          ("LiberationSans-Regular.ttf", "LiberationSans-Bold.ttf"))  # fmt: skip
CORE = "Helvetica"
_INK = {name: color_from_hex_string(told) for name, told in COLOURS.items()}  # read only once


def to_pdf(report: Report) -> bytes:
    """Write the whole file."""
    paper = _Paper(report)
    paper.compose()
    return bytes(paper.output())


def draw(
    pdf: FPDF,
    drawing: Drawing,
    x_mm: float,
    y_mm: float,
    family: str = CORE,
    fit: Callable[[str], str] = str,
) -> None:
    """Draw at full size, the sheet's upper left corner at a place of the page.

    Parameters
    ----------
    pdf : FPDF
        In mm, with a page.
    drawing : Drawing
    x_mm, y_mm : float
    family, fit
        As for `to_print_svg`.
    """
    svg = SVGObject(to_print_svg(drawing, family, fit))
    _, _, picture = svg.transform_to_rect_viewport(
        1.0, drawing.width_mm, drawing.height_mm, ignore_svg_top_attrs=True
    )
    assert picture.transform is not None
    picture.transform @= Transform.translation(x_mm, y_mm)
    pdf.draw_path(picture, copy=False)


class _Paper(FPDF):
    def __init__(self, report: Report) -> None:
        super().__init__(unit="mm", format=report.paper)
        self.report = report
        self._at_1pt: dict[tuple[str, bool], float] = {}  # of texts at 1 point
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

    def compose(self) -> None:
        """Write all pages."""
        report = self.report
        self.add_page()
        self._text(report.title, TITLE_PT, bold=True)
        self._text(report.subtitle, BODY_PT, colour="soft")
        if self.lost:
            self._text(
                "Some letters of names could not be printed here and stand as ?; the HTML file "
                "has them all.",
                BODY_PT,
            )
        for part in report.sections:
            self._section(part)

    def footer(self) -> None:
        """Number the page and name the job by its hash."""
        self.set_y(self.h - MARGIN_MM - 1.0)
        self._font(SMALL_PT, colour="soft")
        told = f"{self.report.title} · job {self.report.job_hash[:12]}"
        self.cell(self.epw / 2, 4.0, self.fit(told))
        self.cell(self.epw / 2, 4.0, f"Page {self.page_no()} of {{nb}}", align="R")

    # Fonts

    def _choose_font(self) -> tuple[str, bool]:
        """Family to write in, and whether letters will be lost."""
        if _is_western(_all_texts(self.report)):
            return CORE, False
        for plain, bold in _FONTS:
            for folder in _FONT_FOLDERS:
                found = next(iter(sorted(Path(folder).rglob(plain))), None)
                if found is None:
                    continue
                self.add_font("report", "", found)
                strong = found.with_name(bold)
                self.add_font("report", "B", strong if strong.exists() else found)
                return "report", False
        return CORE, True

    def fit(self, text: str) -> str:
        """Text in letters that the font has: those of windows-1252, under the numbers of its own.

        The writer takes a letter's number for the font's, so that `…` must be there as U+0085.
        """
        text = harmless(text)
        if self.family != CORE or text.isascii():
            return text
        return text.encode("windows-1252", "replace").decode("latin-1")

    def _font(self, size_pt: float, bold: bool = False, colour: str = "ink") -> None:
        self.set_font(self.family, "B" if bold else "", size_pt)
        self.set_text_color(_INK[colour])

    # Blocks

    def _section(self, part: Section) -> None:
        if part.new_page or self.y > self.bottom - 40.0:
            if self.y > MARGIN_MM + 1.0:
                self.add_page()
        else:
            self.ln(5.0)
        self.start_section(part.title)
        self.set_draw_color(_INK["ink"])
        self.set_line_width(0.7)
        self.line(MARGIN_MM, self.y, self.w - MARGIN_MM, self.y)
        self.ln(1.5)
        self._text(part.title, HEAD_PT, bold=True, after=1.0)
        for block in part.blocks:
            match block:
                case Words():
                    self._words(block)
                case Bullets():
                    self._bullets(block)
                case Facts():
                    self._facts(block)
                case Table():
                    self._table(block)
                case Figure():
                    self._figure(block)

    def _words(self, words: Words) -> None:
        match words.tone:
            case "good" | "bad" | "unsure":
                self._barred([f"{MARKS[words.tone]}  {words.text}"], LEAD_PT, words.tone, True)
            case "warning":
                self._barred([f"!  {words.text}"], BODY_PT, "warning", False)
            case "lead":
                self._text(words.text, LEAD_PT, bold=True)
            case "small":
                self._text(words.text, SMALL_PT, colour="soft")
            case _:
                self._text(words.text, BODY_PT)

    def _bullets(self, block: Bullets) -> None:
        mark = self.fit("!" if block.tone == "warning" else "–")
        for item in block.items:
            lines = self._lines(item, BODY_PT, self.epw - 5.0)
            height = len(lines) * _line_mm(BODY_PT)
            self._need(min(height, 40.0))
            self.set_x(MARGIN_MM + 1.0)
            self._font(BODY_PT, bold=block.tone == "warning")
            self.cell(4.0, _line_mm(BODY_PT), mark)
            self._put(lines, BODY_PT, MARGIN_MM + 5.0, self.epw - 5.0)
        self.ln(1.0)

    def _barred(self, texts: list[str], size: float, tone: str, bold: bool) -> None:
        lines = [
            line for text in texts for line in self._lines(text, size, self.epw - 5.0, bold=bold)
        ]
        height = len(lines) * _line_mm(size)
        self._need(height + 2.0)
        top = self.y
        self._put(lines, size, MARGIN_MM + 4.5, self.epw - 5.0, bold=bold)
        self.set_draw_color(_INK["alarm" if tone in ("bad", "warning") else "mark"])
        self.set_line_width(1.4)
        if tone == "unsure":
            self.set_dash_pattern(dash=2.0, gap=2.6)
        self.line(MARGIN_MM + 1.0, top + 0.4, MARGIN_MM + 1.0, self.y - 0.4)
        self.set_dash_pattern()
        if tone in ("bad", "warning"):
            self.set_line_width(0.4)
            self.line(MARGIN_MM + 2.6, top + 0.1, MARGIN_MM + 2.6, self.y - 0.1)
        self.ln(1.5)

    def _facts(self, block: Facts) -> None:
        left = min(62.0, 3.0 + max(self._wide(name, BODY_PT) for name, _ in block.rows))
        for name, value in block.rows:
            names = self._lines(name, BODY_PT, left - 2.0)
            lines = self._lines(value, BODY_PT, self.epw - left, bold=True)
            self._need(max(len(lines), len(names)) * _line_mm(BODY_PT))
            top = self.y
            self._put(names, BODY_PT, MARGIN_MM, left - 2.0, colour="soft")
            under = self.y
            self.set_y(top)
            self._put(lines, BODY_PT, MARGIN_MM + left, self.epw - left, bold=True)
            self.set_y(max(self.y, under) + 0.4)
        self.ln(1.5)

    def _figure(self, figure: Figure) -> None:
        drawing = figure.drawing
        lines = self._lines(caption_of(figure), SMALL_PT, self.epw)
        below = len(lines) * _line_mm(SMALL_PT) + 2.0
        if self.y + drawing.height_mm + below > self.bottom and self.y > MARGIN_MM + 20.0:
            self.add_page()
        draw(
            self,
            drawing,
            MARGIN_MM + (self.epw - drawing.width_mm) / 2,
            self.y,
            self.family,
            self.fit,
        )
        self.set_y(self.y + drawing.height_mm + 1.0)
        self._put(lines, SMALL_PT, MARGIN_MM, self.epw, colour="soft")
        self.ln(3.0)

    def _table(self, table: Table) -> None:
        size = LARGE_PT if table.large else SMALL_PT + 0.5
        sizes = [size] * len(table.head)
        if table.large:
            sizes[-1] = LEAD_PT
        widths = self._widths(table, sizes)
        self._need(14.0 + 2 * _line_mm(size))
        self._text(table.title, BODY_PT, bold=True, colour="soft", after=0.5)
        self._head(table, widths)
        for row in table.rows:
            cells = [
                self._lines(text, sizes[n], widths[n] - 2.0, bold=table.large and n < len(row) - 1)
                for n, text in enumerate(row)
            ]
            height = max(len(lines) * _line_mm(sizes[n]) for n, lines in enumerate(cells)) + 0.8
            if self.y + height > self.bottom:
                self.add_page()
                self._head(table, widths)
            top, x = self.y, MARGIN_MM
            for n, lines in enumerate(cells):
                self.set_y(top + 0.4)
                bold = table.large and n < len(cells) - 1
                side = "R" if n in table.right else "L"
                self._put(lines, sizes[n], x, widths[n] - 2.0, bold=bold, side=side)
                x += widths[n]
            self.set_y(top + height)
            self._rule("rule", 0.15, sum(widths))
        self.ln(3.0)

    def _head(self, table: Table, widths: list[float]) -> None:
        size = BODY_PT if table.large else SMALL_PT
        cells = [
            self._lines(text, size, widths[n] - 2.0, bold=True) for n, text in enumerate(table.head)
        ]
        top, x = self.y, MARGIN_MM
        for n, lines in enumerate(cells):
            self.set_y(top)
            side = "R" if n in table.right else "L"
            self._put(lines, size, x, widths[n] - 2.0, bold=True, side=side)
            x += widths[n]
        self.set_y(top + max(map(len, cells)) * _line_mm(size) + 0.3)
        self._rule("ink", 0.4, sum(widths))

    def _widths(self, table: Table, sizes: list[float]) -> list[float]:
        """Widths by what is in the columns; the widest columns give way where it is too much."""
        head = BODY_PT if table.large else SMALL_PT
        wanted = []
        for n, name in enumerate(table.head):
            bold = table.large and n < len(table.head) - 1
            inside = [self._wide(row[n], sizes[n], bold) for row in table.rows]
            words = [self._wide(word, head, True) for word in name.split()]
            whole = self._wide(name, head, True) * 0.6  # in no more than two lines
            wanted.append(max([*inside, *words, whole, 6.0]) + 3.0)
        over = sum(wanted) - self.epw
        while over > 0.01:
            most = max(wanted)
            widest = [n for n, width in enumerate(wanted) if width > most - 0.01]
            next_one = max([w for w in wanted if w <= most - 0.01], default=most / 2)
            give = min(over / len(widest), max(most - next_one, 0.5))
            for n in widest:
                wanted[n] -= give
            over = sum(wanted) - self.epw
        spare = self.epw - sum(wanted)
        if spare > 0 and len(wanted) - 1 not in table.right:
            wanted[-1] += spare  # figures stay together; only words may take what is left
        return wanted

    # Within

    def _text(
        self, text: str, size: float, bold: bool = False, colour: str = "ink", after: float = 1.5
    ) -> None:
        lines = self._lines(text, size, self.epw, bold=bold)
        for line in lines:
            self._need(_line_mm(size))
            self._put([line], size, MARGIN_MM, self.epw, bold=bold, colour=colour)
        self.ln(after)

    def _put(
        self,
        lines: list[str],
        size: float,
        x: float,
        width: float,
        bold: bool = False,
        colour: str = "ink",
        side: str = "L",
    ) -> None:
        away = [width - self._measure(line, size, bold) if side == "R" else 0.0 for line in lines]
        self._font(size, bold, colour)
        high = _line_mm(size)
        for line, left in zip(lines, away, strict=True):
            self.text(x + left, self.y + 0.79 * high, line)
            self.set_y(self.y + high)

    def _lines(self, text: str, size: float, width: float, bold: bool = False) -> list[str]:
        """Break a text into lines; a word too long for one is cut."""
        lines, line = [], ""
        space = self._measure(" ", size, bold)
        at = 0.0
        for word in map(self.fit, text.split()):
            while self._measure(word, size, bold) > width and len(word) > 1:
                cut = len(word) - 1
                while cut > 1 and self._measure(word[:cut], size, bold) > width:
                    cut -= 1
                if line:
                    lines.append(line)
                    line = ""
                lines.append(word[:cut])
                word = word[cut:]
            wide = self._measure(word, size, bold)
            if line and at + space + wide > width:
                lines.append(line)
                line = ""
            at = at + space + wide if line else wide
            line = f"{line} {word}" if line else word
        return [*lines, line] if line or not lines else lines

    def _wide(self, text: str, size: float, bold: bool = False) -> float:
        return self._measure(self.fit(text), size, bold)

    def _measure(self, text: str, size: float, bold: bool) -> float:
        """Width of a text that is fit already, in mm; fpdf2 measures each word only once."""
        key = (text, bold)
        if key not in self._at_1pt:
            if bold not in self._faces:
                self._font(size, bold)
                assert self.current_font is not None
                self._faces[bold] = self.current_font
            self._at_1pt[key] = float(self._faces[bold].get_text_width(text, POINT_MM, None)[1])
        return self._at_1pt[key] * size

    def _need(self, height: float) -> None:
        if self.y + height > self.bottom:
            self.add_page()

    def _rule(self, colour: str, width: float, length: float) -> None:
        self.set_draw_color(_INK[colour])
        self.set_line_width(width)
        self.line(MARGIN_MM, self.y, MARGIN_MM + length, self.y)


def _line_mm(size_pt: float) -> float:
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
            match block:
                case Words():
                    yield block.text
                case Bullets():
                    yield from block.items
                case Facts():
                    for row in block.rows:
                        yield from row
                case Table():
                    yield from block.head
                    for cells in block.rows:
                        yield from cells
                case Figure():
                    yield caption_of(block)
                    for shape in flat(block.drawing.shapes):
                        if isinstance(shape, Text):
                            yield shape.text
