"""A report as parts that both writers know: facts, tables, figures, words."""

from dataclasses import dataclass, field
from typing import Literal

from rig.drawing.vector import Drawing

Tone = Literal["plain", "lead", "good", "bad", "unsure", "warning", "small"]


@dataclass(frozen=True)
class Words:
    """A paragraph; its tone is shown by a word or a mark too, never by colour alone."""

    text: str
    tone: Tone = "plain"


@dataclass(frozen=True)
class Bullets:
    """A list of sentences."""

    items: tuple[str, ...]
    tone: Tone = "plain"


@dataclass(frozen=True)
class Facts:
    """Names and values, one a line."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Table:
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
class Figure:
    """A drawing, with a name that a file of its own would have."""

    name: str
    drawing: Drawing


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


def bullets(items: list[str] | tuple[str, ...], tone: Tone = "plain") -> Bullets | None:
    """Make a list, or nothing of no items."""
    return Bullets(tuple(items), tone) if items else None
