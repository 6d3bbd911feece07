"""Tables on a sheet of paper: how wide each column is, how high each row, and how it is written."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from rig.report.document import Table
from rig.report.sheet import BODY_PT, LARGE_PT, LEAD_PT, MARGIN_MM, SMALL_PT, Sheet, line_mm

_SIZES_PT = (LARGE_PT, 20.0, 16.0, 13.0, 11.0)  # of a large table, as its rows grow many
_AIR_MM = 0.8
_OVER_TITLE_MM = 1.2
_BETWEEN_MM = 3.0
_BETWEEN_LARGE = 0.4  # of the size of large letters: more than the space between two words
FEW_COLUMNS = 3  # a table of no more may break its words to stand beside a figure


@dataclass(frozen=True)
class Cells:
    """A row: each cell in lines, and how high it is."""

    lines: tuple[list[str], ...]
    high: float


class Laid:
    """A table as it stands in a width of the sheet, in one size of letters."""

    def __init__(self, table: Table, sheet: Sheet, width: float, size: float) -> None:
        self.table, self.sheet, self.width = table, sheet, width
        last = min(LEAD_PT, max(SMALL_PT, 0.6 * size)) if table.large else size
        self.sizes = [size] * (len(table.head) - 1) + [last]
        self.head_pt = BODY_PT if table.large else SMALL_PT
        wide = _BETWEEN_LARGE * size if table.large else 0.0
        self._between = max(_BETWEEN_MM, wide)
        self._inset = self._between - 1.0  # of a cell's words

    def suits(self, width: float) -> bool:
        """Whether the table may stand in so narrow a room."""
        if self.table.large:
            return False
        return sum(self._wanted) <= width or len(self.table.head) <= FEW_COLUMNS

    @cached_property
    def widths(self) -> list[float]:
        """Widths by what is in the columns; the widest columns give way where it is too much."""
        wanted = list(self._wanted)
        over = sum(wanted) - self.width
        while over > 0.01:
            most = max(wanted)
            widest = [n for n, width in enumerate(wanted) if width > most - 0.01]
            next_one = max([w for w in wanted if w <= most - 0.01], default=most / 2)
            give = min(over / len(widest), max(most - next_one, 0.5))
            for n in widest:
                wanted[n] -= give
            over = sum(wanted) - self.width
        spare = self.width - sum(wanted)
        if spare > 0 and len(wanted) - 1 not in self.table.right:
            wanted[-1] += spare  # figures stay together; only words may take what is left
        return wanted

    @cached_property
    def _wanted(self) -> list[float]:
        table, sheet = self.table, self.sheet
        wanted = []
        for n, name in enumerate(table.head):
            bold = self._bold(n)
            inside = [sheet.wide(row[n], self.sizes[n], bold) for row in table.rows]
            words = [sheet.wide(word, self.head_pt, True) for word in name.split()]
            whole = sheet.wide(name, self.head_pt, True) * 0.6  # in no more than two lines
            wanted.append(max([*inside, *words, whole, 4.0]) + self._between)
        return wanted

    def _bold(self, n: int) -> bool:
        return self.table.large and n < len(self.table.head) - 1

    @cached_property
    def _head_lines(self) -> list[list[str]]:
        return [
            self.sheet.broken(text, self.head_pt, self.widths[n] - self._inset, bold=True)
            for n, text in enumerate(self.table.head)
        ]

    @cached_property
    def _title_lines(self) -> list[str]:
        return self.sheet.broken(self.table.title, BODY_PT, self.width, bold=True)

    @property
    def head_mm(self) -> float:
        """Height of title and head."""
        title = len(self._title_lines) * line_mm(BODY_PT) + _OVER_TITLE_MM
        return (
            (title if self.table.title else 0.0)
            + max(map(len, self._head_lines)) * line_mm(self.head_pt)
            + 1.2
        )

    def cells(self, row: tuple[str, ...]) -> Cells:
        """Break a row into lines."""
        lines = tuple(
            self.sheet.broken(text, self.sizes[n], self.widths[n] - self._inset, bold=self._bold(n))
            for n, text in enumerate(row)
        )
        high = max(len(cell) * line_mm(self.sizes[n]) for n, cell in enumerate(lines))
        return Cells(lines, high + _AIR_MM)

    def head(self, x: float, title: bool) -> None:
        """Write title and head where the sheet stands."""
        sheet = self.sheet
        if title and self.table.title:
            sheet.set_y(sheet.y + _OVER_TITLE_MM)
            sheet.put(self._title_lines, BODY_PT, x, self.width, bold=True, colour="soft")
        top, at = sheet.y, x
        for n, lines in enumerate(self._head_lines):
            sheet.set_y(top)
            side = "R" if n in self.table.right else "L"
            sheet.put(lines, self.head_pt, at, self.widths[n] - self._inset, bold=True, side=side)
            at += self.widths[n]
        sheet.set_y(top + max(map(len, self._head_lines)) * line_mm(self.head_pt) + 0.3)
        sheet.stroke((x, sheet.y), (x + sum(self.widths), sheet.y), "ink", 0.4)

    def row(self, row: Cells, x: float) -> None:
        """Write a row where the sheet stands."""
        sheet, at = self.sheet, x
        top = sheet.y
        for n, lines in enumerate(row.lines):
            sheet.set_y(top + _AIR_MM / 2)
            side = "R" if n in self.table.right else "L"
            width = self.widths[n] - self._inset
            sheet.put(lines, self.sizes[n], at, width, bold=self._bold(n), side=side)
            at += self.widths[n]
        sheet.set_y(top + row.high)
        sheet.stroke((x, sheet.y), (x + sum(self.widths), sheet.y), "rule", 0.15)


def rows_of(laid: Laid) -> list[Cells]:
    """All rows of a table, broken into lines."""
    return [laid.cells(row) for row in laid.table.rows]


def size_of(table: Table, sheet: Sheet, most_mm: float) -> float:
    """Size of a table's letters: a large one's as large as its page has room for."""
    if not table.large:
        return SMALL_PT
    for size in _SIZES_PT[:-1]:
        laid = Laid(table, sheet, sheet.w - 2 * MARGIN_MM, size)
        if laid.head_mm + sum(row.high for row in rows_of(laid)) <= most_mm:
            return size
    return _SIZES_PT[-1]


def taken(items: Sequence[tuple[Laid, Cells | None]], space: float) -> int:
    """How many items of folded tables have room in a column; no head stands last."""
    used, count = 0.0, 0
    for n, (laid, row) in enumerate(items):
        used += laid.head_mm if row is None else row.high
        if n == 0 and row is not None:
            used += laid.head_mm
        if used > space and count:
            break
        count = n + 1
    while 0 < count < len(items) and items[count - 1][1] is None:
        count -= 1
    return count


def high_of(items: Sequence[tuple[Laid, Cells | None]]) -> float:
    """Height of heads and rows of folded tables, one below the other."""
    return sum(laid.head_mm if row is None else row.high for laid, row in items)
