"""Parts of the report on a phone: the answer first, what stands behind it when it is asked for."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import assert_never

from markupsafe import Markup

from rig.page.drawn import markup
from rig.page.on_phone import on_phone
from rig.record import Record
from rig.report.document import (
    Abreast,
    Block,
    Bullets,
    Facts,
    Figure,
    Letterhead,
    Section,
    Signatures,
    Table,
    Words,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockShown(Record):
    """A block as the template knows it by its kind."""

    kind: str
    tone: str = "plain"
    items: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    head: tuple[str, ...] = ()
    title: str = ""
    drawing: Markup | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts(Record):
    """What is told: the drawings, the answer, and the rest; and of which room."""

    figures: tuple[BlockShown, ...]
    answer: tuple[BlockShown, ...]
    why: tuple[BlockShown, ...]
    of: str = ""


def parts(sections: Sequence[Section], of: str = "") -> Parts:
    """Sort the blocks of sections into drawings, answer and the rest.

    `of` is what tells those of one room from those of another on the same page.
    """
    blocks = [one for section in sections for block in section.blocks for one in _flat(block)]
    return Parts(
        of=of,
        figures=tuple(_shown(one) for one in blocks if isinstance(one, Figure)),
        answer=tuple(_shown(b) for b in blocks if b.told == "answer" and not isinstance(b, Figure)),
        why=tuple(_shown(b) for b in blocks if b.told != "answer" and not isinstance(b, Figure)),
    )


def _shown(block: Block) -> BlockShown:
    match block:
        case Words(text=text, tone=tone):
            return BlockShown(kind="words", tone=tone, items=(on_phone(text),))
        case Bullets(items=items, tone=tone):
            return BlockShown(kind="bullets", tone=tone, items=tuple(map(on_phone, items)))
        case Facts(rows=rows):
            return BlockShown(kind="facts", rows=rows)
        case Table(title=title, head=head, rows=rows):
            return BlockShown(kind="table", title=title, head=head, rows=rows)
        case Figure(drawing=drawing):
            return BlockShown(kind="figure", drawing=markup(drawing))
        case Letterhead() | Signatures() | Abreast():  # a sheet of paper has these, a screen not
            return BlockShown(kind="words", items=("",))
    assert_never(block)


def _flat(block: Block) -> Iterator[Block]:
    """Yield what stands abreast on paper one below the other."""
    match block:
        case Abreast():
            yield from (one for one in block.items if isinstance(one, Figure))
        case Letterhead() | Signatures():
            return
        case _:
            yield block
