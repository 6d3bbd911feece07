"""What is told of a job as parts that all writers know: words, facts, tables, figures.

Paper and page (`html.py`, `pdf.py`) show every part in its order. The terminal (`text.py`) begins
with the parts that are the short answer and keeps the others for `--why`.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Literal, assert_never

from rig.drawing.vector import Drawing
from rig.language import current, put, say

Tone = Literal["plain", "lead", "good", "bad", "unsure", "warning", "small"]
MARKS: dict[Tone, str] = {
    "good": say("IN"),
    "bad": say("OUT"),
    "unsure": say("OPEN"),
    "warning": "!",
}

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
    folded : bool
        So narrow that two parts of it stand side by side on paper.
    """

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()
    large: bool = False
    folded: bool = False


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


@dataclass(frozen=True)
class Photo:
    """A photo or logo, in JPEG or PNG, and what it shows."""

    data: bytes = field(repr=False)
    media_type: str
    width_px: int
    height_px: int
    caption: str = ""


@dataclass(frozen=True)
class Letterhead(Part):
    """Who hands a sheet over: a name, lines of an address, and a logo."""

    name: str
    lines: tuple[str, ...] = ()
    logo: Photo | None = None


@dataclass(frozen=True, eq=False)
class Abreast(Part):
    """Figures and pictures side by side, of which two are as wide as the sheet.

    Attributes
    ----------
    items : tuple of Figure or Photo
    high_mm : float
        Of pictures on paper, at most.
    """

    items: tuple[Figure | Photo, ...]
    high_mm: float = 62.0


@dataclass(frozen=True)
class Signatures(Part):
    """Rooms to sign in, each with what stands under its line."""

    names: tuple[str, ...]


Block = Words | Bullets | Facts | Table | Figure | Letterhead | Abreast | Signatures


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
    lang: str = field(default_factory=lambda: current().lang)
    title_shown: bool = True

    def figures(self) -> list[Figure]:
        """All drawings in their order."""
        found: list[Figure] = []
        for section in self.sections:
            for block in section.blocks:
                items = block.items if isinstance(block, Abreast) else (block,)
                found += [one for one in items if isinstance(one, Figure)]
        return found

    def pictures(self) -> list[Photo]:
        """All pictures in their order."""
        found: list[Photo] = []
        for section in self.sections:
            for block in section.blocks:
                if isinstance(block, Letterhead) and block.logo is not None:
                    found.append(block.logo)
                if isinstance(block, Abreast):
                    found += [one for one in block.items if isinstance(one, Photo)]
        return found


def caption_of(shown: Figure | Photo) -> str:
    """Words under a figure or a picture."""
    if isinstance(shown, Photo):
        return shown.caption
    if not shown.drawing.description:
        return put("{title}.", title=shown.drawing.title)
    return put(
        "{title}. {description}",
        title=shown.drawing.title,
        description=shown.drawing.description,
    )


def texts_of(block: Block) -> Iterator[str]:
    """All words of a block, those inside drawings left out."""
    match block:
        case Words():
            yield block.text
        case Bullets():
            yield from block.items
        case Facts():
            for row in block.rows:
                yield from row
        case Table():
            yield block.title
            yield from block.head
            for cells in block.rows:
                yield from cells
        case Figure():
            yield caption_of(block)
        case Letterhead():
            yield block.name
            yield from block.lines
        case Abreast():
            yield from map(caption_of, block.items)
        case Signatures():
            yield from block.names
        case _:
            assert_never(block)


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
