"""Writes a report as a PDF by fpdf2, from the same parts and drawings as the HTML file.

Figures that are narrow stand beside the words of their section; one that has no room waits for
the top of the next page while the words go on. The whole is set blind first, so that the last
page can take from the one before it and is not left nearly empty.
"""

import io
from collections.abc import Iterator, Sequence
from typing import assert_never

from rig.language import say, shown, shown_in
from rig.report.document import (
    MARKS,
    Abreast,
    Block,
    Bullets,
    Facts,
    Figure,
    Letterhead,
    Photo,
    Report,
    Section,
    Signatures,
    Table,
    Words,
    caption_of,
)
from rig.report.ink import draw
from rig.report.placing import BESIDE_SHARE, figure_first, picture_size, within
from rig.report.sheet import (
    BODY_PT,
    GAP_MM,
    HEAD_PT,
    LEAD_PT,
    MARGIN_MM,
    SMALL_PT,
    TITLE_PT,
    Sheet,
    line_mm,
)
from rig.report.tables import Cells, Laid, high_of, rows_of, size_of, taken

LEAST_BESIDE_MM = 40.0  # left beside a figure, for the next section to begin there
LARGE_SHARE = 0.48  # of a page that a large table takes at most; its plan stands below it
LEAST_SHARE = 0.5  # of a page that is to be full at least
_NEARLY = (0.04, 0.08, 0.12, 0.0, 0.16, 0.2)  # what the last page takes beyond half, tried so
_LOGO_MM = (45.0, 16.0)


def to_pdf(report: Report) -> bytes:
    """Write the whole file."""
    report = shown_in(report)
    blind = _Paper(report, blind=True)
    blind.compose()
    limits = _balanced(report, blind)
    paper = _Paper(report, like=blind, limits=limits)
    paper.compose()
    return bytes(paper.output())


def pages_of(report: Report) -> int:
    """How many pages a report takes; quick, for nothing is written."""
    report = shown_in(report)
    blind = _Paper(report, blind=True)
    blind.compose()
    return len(blind.fills)


def _balanced(report: Report, blind: "_Paper") -> dict[int, float]:
    """Where the last page but one is to end, so that the last is half full at least."""
    fills, pages = blind.fills, len(blind.fills)
    if pages < 2 or fills[-1] >= LEAST_SHARE:
        return {}
    both = fills[-1] + fills[-2]
    best, limits = fills[-1], {}
    for more in _NEARLY:
        share = min(both - LEAST_SHARE - more, fills[-2])
        if share < LEAST_SHARE / 2:
            continue
        tried = _Paper(report, blind=True, like=blind, limits={pages - 1: share})
        tried.compose()
        if len(tried.fills) != pages:
            continue
        if min(tried.fills[-2:]) > best:
            best, limits = min(tried.fills[-2:]), {pages - 1: share}
        if best >= LEAST_SHARE:
            break
    return limits


class _Paper(Sheet):
    """The pages of a report.

    `limits` says of pages how full they may be, as a share; `fills` how full each became.
    """

    def __init__(
        self,
        report: Report,
        blind: bool = False,
        like: "_Paper | None" = None,
        limits: dict[int, float] | None = None,
    ) -> None:
        super().__init__(report, blind, like)
        self._limits = limits or {}
        self._beside_mm = 0.0  # how far down the page a figure stands to the right of the words
        self._waiting: list[Figure] = []
        self.fills: list[float] = []

    def compose(self) -> None:
        """Write all pages."""
        report = self.report
        self.add_page()
        if report.title_shown:
            self._text(report.title, TITLE_PT, bold=True)
            self._text(report.subtitle, BODY_PT, colour="soft")
        if self.lost:
            self._text(
                say(
                    "Some letters of names could not be printed here and stand as ?; the HTML "
                    "file has them all."
                ),
                BODY_PT,
            )
        for part in report.sections:
            self._section(part)
        while self._waiting:
            self._turn()
        self._clear()
        self.fills.append(self._fill())

    # Pages

    @property
    def _end(self) -> float:
        """Where this page ends."""
        share = self._limits.get(self.page_no())
        if share is None:
            return self.bottom
        return MARGIN_MM + share * (self.bottom - MARGIN_MM)

    def _fill(self) -> float:
        return (max(self.y, self._beside_mm) - MARGIN_MM) / (self.bottom - MARGIN_MM)

    @property
    def _room(self) -> float:
        """Width that words have here."""
        return self.epw - self._figure_mm if self.y < self._beside_mm - 1.0 else self.epw

    _figure_mm = 0.0

    def _turn(self, figures: bool = True) -> None:
        """Begin a page, with the `figures` that wait for it where words are to stand by them."""
        self.fills.append(self._fill())
        self.add_page()
        self._beside_mm = 0.0
        if not figures:
            return
        while self._waiting and self._place(self._waiting[0]):
            del self._waiting[0]

    def _clear(self) -> None:
        """Go on below a figure that stands beside words."""
        if self.y < self._beside_mm:
            self.set_y(self._beside_mm)

    def _need(self, height: float) -> None:
        if self.y + height > self._end:
            self._turn()

    # Blocks

    def _section(self, part: Section) -> None:
        if self._beside_mm - self.y < LEAST_BESIDE_MM or part.new_page:
            self._clear()
        if part.new_page or self.y > self._end - self._least_mm(part):
            if self.y > MARGIN_MM + 1.0:
                self._turn()
        elif self.y > MARGIN_MM + 1.0:
            self.ln(4.0)
        if part.title:
            if not self.blind:
                self.start_section(part.title)
            self._rule("ink", 0.7, self._room)
            self.ln(1.3)
            self._text(part.title, HEAD_PT, bold=True, after=0.8)
        blocks = figure_first(part.blocks, self.epw)
        while blocks:
            tables: list[Table] = []
            for block in blocks:
                if not (isinstance(block, Table) and block.folded):
                    break
                tables.append(block)
            if tables:
                self._folded(tables)
                blocks = blocks[len(tables) :]
            else:
                self._block(blocks[0])
                blocks = blocks[1:]

    def _least_mm(self, part: Section) -> float:
        """Room that a section wants to begin in: that of a large table, where the page is full."""
        large = [one for one in part.blocks if isinstance(one, Table) and one.large]
        if not large or self._fill() < LEAST_SHARE + 0.05:
            return 30.0
        laid = Laid(large[0], self, self.epw, self._size_of(large[0]))
        return 20.0 + laid.head_mm + sum(row.high for row in rows_of(laid))

    def _size_of(self, table: Table) -> float:
        return size_of(table, self, LARGE_SHARE * (self.bottom - MARGIN_MM))

    def _block(self, block: Block) -> None:
        while self._waiting and self.y >= self._beside_mm and self._place(self._waiting[0]):
            del self._waiting[0]
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
                if self._waiting or not self._place(block):
                    self._waiting.append(block)
            case Letterhead():
                self._letterhead(block)
            case Abreast():
                self._abreast(block)
            case Signatures():
                self._signatures(block)
            case _:
                assert_never(block)

    def _words(self, words: Words) -> None:
        match words.tone:
            case "good" | "bad" | "unsure":
                self._barred(f"{shown(MARKS[words.tone])}  {words.text}", LEAD_PT, words.tone, True)
            case "warning":
                self._barred(f"!  {words.text}", BODY_PT, "warning", False)
            case "lead":
                self._text(words.text, LEAD_PT, bold=True)
            case "small":
                self._text(words.text, SMALL_PT, colour="soft")
            case _:
                self._text(words.text, BODY_PT)

    def _bullets(self, block: Bullets) -> None:
        mark = self.fit("!" if block.tone == "warning" else "–")
        for item in block.items:
            lines = self._fitting(item, BODY_PT, 5.0)
            if not self.blind:
                self.pen(BODY_PT, bold=block.tone == "warning")
                self.text(MARGIN_MM + 1.0, self.y + 0.79 * line_mm(BODY_PT), mark)
            self._put(lines, BODY_PT, MARGIN_MM + 5.0)
        self.ln(1.0)

    def _barred(self, text: str, size: float, tone: str, bold: bool) -> None:
        lines = self._fitting(text, size, 5.0, bold, more=2.0)
        top = self.y
        self._put(lines, size, MARGIN_MM + 4.5, bold=bold)
        if not self.blind:
            colour = "alarm" if tone in ("bad", "warning") else "mark"
            if tone == "unsure":
                self.set_dash_pattern(dash=2.0, gap=2.6)
            x, end = MARGIN_MM + 1.0, self.y
            self.stroke((x, top + 0.4), (x, end - 0.4), colour, 1.4)
            self.set_dash_pattern()
            if tone in ("bad", "warning"):
                self.stroke((x + 1.6, top + 0.1), (x + 1.6, end - 0.1), colour, 0.4)
        self.ln(1.5)

    def _facts(self, block: Facts) -> None:
        rows = block.rows
        half = (len(rows) + 1) // 2
        whole = sum(high for *_, high in self._facts_in(rows, self._room))
        if len(rows) > 3 and self._room >= self.epw:
            column = (self.epw - GAP_MM) / 2
            parts = [list(self._facts_in(part, column)) for part in (rows[:half], rows[half:])]
            high = max(sum(row[-1] for row in part) for part in parts)
            if high < 0.8 * whole:
                self._need(high)
                top = self.y
                for n, part in enumerate(parts):
                    self.set_y(top)
                    for row in part:
                        self._fact(row, MARGIN_MM + n * (column + GAP_MM))
                self.set_y(top + high)
                self.ln(1.2)
                return
        for name, value in rows:
            (row,) = self._facts_in([(name, value)], self._room, rows)
            if self.y + row[-1] > self._end:
                self._turn()
                (row,) = self._facts_in([(name, value)], self._room, rows)
            self._fact(row, MARGIN_MM)
        self.ln(1.2)

    def _facts_in(
        self,
        rows: Sequence[tuple[str, str]],
        width: float,
        like: Sequence[tuple[str, str]] = (),
    ) -> "Iterator[tuple[list[str], list[str], float, float]]":
        """Names and values in lines, where values begin, and how high each row is."""
        names = max(self.wide(name, BODY_PT) for name, _ in like or rows)
        left = min(62.0, 3.0 + names, 0.42 * width)
        for name, value in rows:
            one = self.broken(name, BODY_PT, left - 2.0)
            other = self.broken(value, BODY_PT, width - left, bold=True)
            yield one, other, left, max(len(one), len(other)) * line_mm(BODY_PT) + 0.4

    def _fact(self, row: tuple[list[str], list[str], float, float], x: float) -> None:
        names, values, left, high = row
        top = self.y
        self.put(names, BODY_PT, x, left, colour="soft")
        self.set_y(top)
        self.put(values, BODY_PT, x + left, 100.0, bold=True)
        self.set_y(top + high)

    # Figures

    def _place(self, figure: Figure) -> bool:
        """Draw a figure where the page stands, if it has the room: beside words, or across."""
        drawing = figure.drawing
        beside = drawing.width_mm <= BESIDE_SHARE * self.epw
        lines = self.broken(caption_of(figure), SMALL_PT, min(drawing.width_mm, self.epw))
        high = drawing.height_mm + 1.0 + len(lines) * line_mm(SMALL_PT)
        if not beside:
            self._clear()
        if self.y < self._beside_mm or (self.y + high > self._end and self.y > MARGIN_MM + 20.0):
            return False
        top = self.y
        x = MARGIN_MM + (self.epw - drawing.width_mm) * (1.0 if beside else 0.5)
        if not self.blind:
            draw(self, drawing, x, top, self.family, self.fit)
        self.set_y(top + drawing.height_mm + 1.0)
        self.put(lines, SMALL_PT, x if beside else MARGIN_MM, self.epw, colour="soft")
        if beside:
            self._beside_mm, self._figure_mm = self.y + 1.5, drawing.width_mm + GAP_MM
            self.set_y(top)
        else:
            self.ln(2.5)
        return True

    def _abreast(self, block: Abreast) -> None:
        """Set figures and pictures two and two."""
        self._clear()
        column = (self.epw - GAP_MM) / 2
        for n in range(0, len(block.items), 2):
            pair = block.items[n : n + 2]
            sizes = [picture_size(one, column, block.high_mm) for one in pair]
            captions = [self.broken(caption_of(one), SMALL_PT, column) for one in pair]
            inner = max(high for _, high in sizes)
            under = max(map(len, captions)) * line_mm(SMALL_PT)
            self._need(inner + under + 1.0)
            top = self.y
            for k, (one, (wide, high)) in enumerate(zip(pair, sizes, strict=True)):
                x = MARGIN_MM + k * (column + GAP_MM)
                if not self.blind:
                    if isinstance(one, Photo):
                        self.image(io.BytesIO(one.data), x, top, wide, high)
                    else:
                        draw(self, one.drawing, x, top, self.family, self.fit)
                self.set_y(top + inner + 1.0)
                self.put(captions[k], SMALL_PT, x, column, bold=isinstance(one, Figure))
            self.set_y(top + inner + 1.0 + under)
            self.ln(1.5)

    def _letterhead(self, block: Letterhead) -> None:
        top, x = self.y, MARGIN_MM
        if block.logo is not None:
            wide, high = within(block.logo, *_LOGO_MM)
            if not self.blind:
                self.image(io.BytesIO(block.logo.data), x, top, wide, high)
            x += wide + GAP_MM
        under = top + (_LOGO_MM[1] if block.logo is not None else 0.0)
        self.put(self.broken(block.name, LEAD_PT, self.w - x - MARGIN_MM, True), LEAD_PT, x, 0.0,
                 bold=True)  # fmt: skip
        for text in block.lines:
            lines = self.broken(text, SMALL_PT, self.w - x - MARGIN_MM)
            self.put(lines, SMALL_PT, x, 0.0, colour="soft")
        self.set_y(max(self.y, under))
        self.ln(2.0)

    def _signatures(self, block: Signatures) -> None:
        self._clear()
        wide = (self.epw - GAP_MM * (len(block.names) - 1)) / len(block.names)
        names = [self.broken(name, SMALL_PT, wide) for name in block.names]
        high = 13.0 + max(map(len, names)) * line_mm(SMALL_PT)
        self._need(high)
        top = self.y
        for n, lines in enumerate(names):
            x = MARGIN_MM + n * (wide + GAP_MM)
            self.stroke((x, top + 12.0), (x + wide, top + 12.0), "ink", 0.3)
            self.set_y(top + 12.6)
            self.put(lines, SMALL_PT, x, wide, colour="soft")
        self.set_y(top + high)

    # Tables

    def _table(self, table: Table) -> None:
        size = self._size_of(table)
        if self._room < self.epw and not self._suits(table, size):
            self._clear()
        laid = Laid(table, self, self._room, size)
        rows = rows_of(laid)
        whole = laid.head_mm + sum(row.high for row in rows)
        # A short table stays whole, and no head stands alone.
        least = whole if whole < 45.0 else laid.head_mm + sum(row.high for row in rows[:2])
        if self.y + least > self._end:
            self._turn(figures=False)
            laid = Laid(table, self, self.epw, size)
            rows = rows_of(laid)
        laid.head(MARGIN_MM, title=True)
        for row in rows:
            if self.y + row.high > self._end:
                self._turn(figures=False)
                laid.head(MARGIN_MM, title=False)
            laid.row(row, MARGIN_MM)
        self.ln(2.5)

    def _suits(self, table: Table, size: float) -> bool:
        """Whether a table had better stand beside the figure than below it."""
        narrow, across = (Laid(table, self, width, size) for width in (self._room, self.epw))
        if not narrow.suits(self._room):
            return False
        highs = [sum(row.high for row in rows_of(laid)) for laid in (narrow, across)]
        return highs[0] <= self._beside_mm - self.y + highs[1]

    def _folded(self, tables: Sequence[Table]) -> None:
        """Set narrow tables in two columns, page after page, the columns evenly full."""
        self._clear()
        column = (self.epw - GAP_MM) / 2
        if not all(Laid(table, self, column, SMALL_PT).suits(column) for table in tables):
            for table in tables:
                self._table(table)
            return
        items: list[tuple[Laid, Cells | None]] = []
        for table in tables:
            laid = Laid(table, self, column, SMALL_PT)
            items += [(laid, None), *((laid, row) for row in rows_of(laid))]
        while items:
            space = self._end - self.y
            if space < 30.0:
                self._turn(figures=False)
                continue
            whole = high_of(items) + items[0][0].head_mm
            left = taken(items, min(space, whole / 2 + 3.0))
            right = taken(items[left:], space)
            top, ends = self.y, []
            for n, part in enumerate((items[:left], items[left : left + right])):
                self.set_y(top)
                x = MARGIN_MM + n * (column + GAP_MM)
                for k, (laid, row) in enumerate(part):
                    if row is None:
                        laid.head(x, title=True)
                        continue
                    if k == 0:
                        laid.head(x, title=False)
                    laid.row(row, x)
                ends.append(self.y)
            self.set_y(max(ends))
            items = items[left + right :]
        self.ln(2.5)

    # Within

    def _text(
        self, text: str, size: float, bold: bool = False, colour: str = "ink", after: float = 1.5
    ) -> None:
        self._put(self._fitting(text, size, 0.0, bold), size, MARGIN_MM, bold, colour)
        self.ln(after)

    def _fitting(
        self, text: str, size: float, inset: float, bold: bool = False, more: float = 0.0
    ) -> list[str]:
        """Lines of a paragraph; it goes to the next page whole, unless it is very long."""
        lines = self.broken(text, size, self._room - inset, bold)
        high = len(lines) * line_mm(size) + more
        if self.y + min(high, 60.0) > self._end:
            self._turn()
            lines = self.broken(text, size, self._room - inset, bold)
        return lines

    def _put(
        self, lines: list[str], size: float, x: float, bold: bool = False, colour: str = "ink"
    ) -> None:
        """Write lines, over as many pages as they take."""
        for line in lines:
            if self.y + line_mm(size) > self.bottom + 0.01:
                self._turn()
            self.put([line], size, x, self.epw, bold, colour)

    def _rule(self, colour: str, width: float, length: float) -> None:
        self.stroke((MARGIN_MM, self.y), (MARGIN_MM + length, self.y), colour, width)
