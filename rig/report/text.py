"""Writes parts of a report as plain text for a terminal: the answer first, the rest for `--why`.

A command makes the same sections as the report and prints `to_text(sections, why=why)`:

- Parts with `told="answer"` come first, in their order and without headings: three to six lines.
- Parts with `told="why"` follow under their sections' titles with `why=True`; without it each is
  left out, or its `reminder` stands for it in the answer, and a last line names `--why`.
- Parts with `told="paper"` are left out; a figure is shown where it has itself `in_characters`.
- Where no part at all is an answer, everything is shown.

Lines are as wide as the terminal, `WIDEST` at most. What does not go to a terminal (a pipe, a
file) is not broken, so that a search finds whole sentences.
"""

import os
import sys
import textwrap
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import replace
from shutil import get_terminal_size
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
    Section,
    Signatures,
    Table,
    Tone,
    Words,
)

WIDEST = 100  # longer lines are hard to follow
UNBROKEN = 1_000_000
MORE = say("(--why tells what stands behind this)")
_NARROW = 50  # below it names stand over their values
_GAP = 2


def to_text(
    sections: Iterable[Section],
    *,
    why: bool = False,
    last: str = "",
    width: int | None = None,
) -> str:
    """Write sections as text.

    Parameters
    ----------
    sections : iterable of Section
        As of the report.
    why : bool
        Whether what stands behind the answer is told too.
    last : str
        A last line, as what to do next; it is shown either way.
    width : int, optional
        In characters; else that of the terminal.

    Returns
    -------
    str
        Without a line break at its end.
    """
    wide = width if width is not None else terminal_width()
    last = shown(last)
    parts = [
        shown_in(replace(part, blocks=tuple(filter(_on_screen, part.blocks)))) for part in sections
    ]
    blocks = [block for part in parts for block in part.blocks]
    answer = [block for block in blocks if block.told == "answer"]
    end = _wrapped(last, wide) if last else []
    if not answer or why:
        out = [*_blocks(answer, wide), *_behind(parts, wide)]
        return "\n".join([*out, "", *end] if end else out).strip("\n")
    short = [_short(block) for block in blocks if block.told == "answer" or block.reminder]
    more = _wrapped(shown(MORE), wide) if len(answer) < len(blocks) else []
    return "\n".join([*_blocks(short, wide), *more, *end])


def terminal_width() -> int:
    """Width that lines may have: the terminal's, or no limit where none shows them."""
    if not sys.stdout.isatty() and "COLUMNS" not in os.environ:
        return UNBROKEN
    return min(max(get_terminal_size().columns, 20), WIDEST)


def _on_screen(block: Block) -> bool:
    if isinstance(block, Letterhead | Abreast | Signatures):
        return False
    if isinstance(block, Figure) and block.in_characters is None:
        return False
    return block.told != "paper"


def _behind(parts: Iterable[Section], width: int) -> list[str]:
    """What stands behind the answer, under the titles of its sections."""
    out = []
    for part in parts:
        blocks = [block for block in part.blocks if block.told == "why"]
        if blocks:
            out += ["", part.title.upper(), *_blocks(blocks, width)]
    return out


def _short(block: Block) -> Block:
    """Stand in for a part behind `--why` by its reminder; an answer stands for itself."""
    if block.told == "answer":
        return block
    tone = block.tone if isinstance(block, Words | Bullets) else "plain"
    return Words(block.reminder, tone, told="answer")


def _blocks(blocks: Sequence[Block], width: int) -> list[str]:
    """Write parts one under another, with air around tables and figures."""
    out: list[str] = []
    airy = False
    for block in blocks:
        apart = isinstance(block, Table | Figure)
        if out and (apart or airy):
            out.append("")
        out += _block(block, width)
        airy = apart
    return out


def _block(block: Block, width: int) -> list[str]:
    match block:
        case Words():
            return _wrapped(block.text, width, _mark(block.tone))
        case Bullets():
            mark = "  ! " if block.tone == "warning" else "  - "
            return [line for item in block.items for line in _wrapped(item, width, mark)]
        case Facts():
            return _facts(block, width)
        case Table():
            return _table(block, width)
        case Figure():
            assert block.in_characters is not None
            return block.in_characters(min(width, WIDEST))
        case Letterhead() | Abreast() | Signatures():  # of paper alone
            return []
        case _:
            assert_never(block)


def _mark(tone: Tone) -> str:
    if tone not in MARKS:
        return ""
    return f"{MARKS[tone]} " if tone == "warning" else f"{shown(MARKS[tone])}: "


def _wrapped(text: str, width: int, first: str = "", later: str | None = None) -> list[str]:
    """Break a text; lines after the first hang under its words."""
    hang = " " * _columns(first) if later is None else later
    return textwrap.wrap(
        text, max(width, 10), initial_indent=first, subsequent_indent=hang,
        break_on_hyphens=False,
    ) or [first.rstrip()]  # fmt: skip


def _facts(block: Facts, width: int) -> list[str]:
    if width < _NARROW:
        pairs = [
            (_wrapped(name, width), _wrapped(value, width, "  ")) for name, value in block.rows
        ]
        return [line for name, value in pairs for line in [*name, *value]]
    left = min(max(_columns(name) for name, _ in block.rows) + _GAP, max(width // 3, 16))
    out = []
    for name, value in block.rows:
        if _columns(name) + 1 > left:
            out += [*_wrapped(name, width), *_wrapped(value, width, " " * left)]
        else:
            out += _wrapped(value, width, _filled(name, left), " " * left)
    return out


def _table(table: Table, width: int) -> list[str]:
    """Columns side by side; where the words left over have no room, one record under another."""
    rows = [table.head, *table.rows]
    widths = [max(_columns(row[n]) for row in rows) for n in range(len(table.head))]
    over = sum(widths) + _GAP * len(widths) - width
    words = [n for n in range(1, len(widths)) if n not in table.right]
    if over > 0 and words:
        widest = max(words, key=lambda n: widths[n])
        widths[widest] -= over
        over = 12 - widths[widest]
    title = _wrapped(table.title, width)
    if over > 0:
        return [*title, *_records(table, width)]
    return title + [line for row in rows for line in _row(row, widths, table.right)]


def _row(row: Sequence[str], widths: Sequence[int], right: Sequence[int]) -> list[str]:
    cells = [_wrapped(text, max(width, 1)) for text, width in zip(row, widths, strict=True)]
    lines = []
    for k in range(max(map(len, cells))):
        line = ""
        for n, cell in enumerate(cells):
            text = cell[k] if k < len(cell) else ""
            space = " " * (widths[n] - _columns(text))
            line += " " * _GAP + (space + text if n in right else text + space)
        lines.append(line.rstrip())
    return lines


def _records(table: Table, width: int) -> list[str]:
    out = []
    for row in table.rows:
        out += _wrapped(row[0], width, "  ")
        for name, text in zip(table.head[1:], row[1:], strict=True):
            if text:
                out += _wrapped(f"{name}: {text}" if name else text, width, "    ")
    return out


def _filled(text: str, columns: int) -> str:
    return text + " " * max(columns - _columns(text), 1)


def _columns(text: str) -> int:
    """Columns that a text takes: letters of East Asia take two, marks over a letter none."""
    return sum(
        0 if unicodedata.combining(letter)
        else 2 if unicodedata.east_asian_width(letter) in "WF"
        else 1
        for letter in text
    )  # fmt: skip
