"""What is told of a job as parts that all writers know: words, facts, tables, figures.

Paper and page (`html.py`, `pdf.py`) show every part in its order. The terminal (`text.py`) begins
with the parts that are the short answer and keeps the others for `--why`.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from rig.drawing.vector import Drawing

Tone = Literal["plain", "lead", "good", "bad", "unsure", "warning", "small"]
MARKS: dict[Tone, str] = {"good": "IN", "bad": "OUT", "unsure": "OPEN", "warning": "!"}

Told = Literal["answer", "why", "paper"]


@dataclass(frozen=True, kw_only=True)
class Part:
    """What all parts have: how the terminal tells them. Paper and page show them whole.

    Attributes
    ----------
    told : {'answer', 'why', 'paper'}
        In the short answer, only behind `--why`, or not on a terminal at all.
    reminder : str
        One line that stands for a part behind `--why` while that is not asked for.
    """

    told: Told = "why"
    reminder: str = ""


@dataclass(frozen=True)
class Words(Part):
    """A paragraph; its tone is shown by a word or a mark too, never by colour alone."""

    text: str
    tone: Tone = "plain"


@dataclass(frozen=True)
class Bullets(Part):
    """A list of sentences."""

    items: tuple[str, ...]
    tone: Tone = "plain"


@dataclass(frozen=True)
class Facts(Part):
    """Names and values, one a line."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Table(Part):
    """A table.

    Attributes
    ----------
    title : str
    head : tuple of str
    rows : tuple of rows of str
    right : tuple of int
        Columns of numbers, set to the right.
    large : bool
        So large that it is read from standing.
    """

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()
    large: bool = False


@dataclass(frozen=True, eq=False)
class Figure(Part):
    """A drawing, with a name that a file of its own would have.

    Attributes
    ----------
    name : str
    drawing : Drawing
    in_characters : callable, optional
        Of the terminal's width in characters: the same small, as lines. Without it a terminal
        shows nothing.
    """

    name: str
    drawing: Drawing
    in_characters: Callable[[int], list[str]] | None = None


Block = Words | Bullets | Facts | Table | Figure


@dataclass(frozen=True, eq=False)
class Section:
    """A headed part; `key` names it in links."""

    key: str
    title: str
    blocks: tuple[Block, ...]
    new_page: bool = False


@dataclass(frozen=True, eq=False)
class Report:
    """A whole report.

    Attributes
    ----------
    title, subtitle : str
    sections : tuple of Section
    paper : {'A4', 'letter'}
    stamp : str
        One line that tells what made it from which job, for checking a copy.
    made_utc_s : float
    job_hash : str
    """

    title: str
    subtitle: str
    sections: tuple[Section, ...]
    paper: Literal["A4", "letter"]
    stamp: str
    made_utc_s: float
    job_hash: str
    lang: str = field(default="en")

    def figures(self) -> list[Figure]:
        """All drawings in their order."""
        return [
            block
            for section in self.sections
            for block in section.blocks
            if isinstance(block, Figure)
        ]


def section(key: str, title: str, *blocks: Block | None, new_page: bool = False) -> Section:
    """Make a section of the blocks that are there."""
    return Section(key, title, tuple(block for block in blocks if block is not None), new_page)


def bullets(
    items: list[str] | tuple[str, ...],
    tone: Tone = "plain",
    told: Told = "why",
    reminder: str = "",
) -> Bullets | None:
    """Make a list, or nothing of no items."""
    return Bullets(tuple(items), tone, told=told, reminder=reminder) if items else None
