"""Parts of the report on a phone: the answer first, what stands behind it when it is asked for."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from rig.page.drawn import markup
from rig.record import Record
from rig.report.document import Block, Bullets, Facts, Figure, Section, Table, Words


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
    """What is told: the drawings, the answer, and the rest."""

    figures: tuple[BlockShown, ...]
    answer: tuple[BlockShown, ...]
    why: tuple[BlockShown, ...]


def parts(sections: Sequence[Section]) -> Parts:
    """Sort the blocks of sections into drawings, answer and the rest."""
    blocks = [block for section in sections for block in section.blocks]
    return Parts(
        figures=tuple(_shown(one) for one in blocks if isinstance(one, Figure)),
        answer=tuple(_shown(b) for b in blocks if b.told == "answer" and not isinstance(b, Figure)),
        why=tuple(_shown(b) for b in blocks if b.told != "answer" and not isinstance(b, Figure)),
    )


def _shown(block: Block) -> BlockShown:
    match block:
        case Words(text=text, tone=tone):
            return BlockShown(kind="words", tone=tone, items=(text,))
        case Bullets(items=items, tone=tone):
            return BlockShown(kind="bullets", tone=tone, items=items)
        case Facts(rows=rows):
            return BlockShown(kind="facts", rows=rows)
        case Table(title=title, head=head, rows=rows):
            return BlockShown(kind="table", title=title, head=head, rows=rows)
        case Figure(drawing=drawing):
            return BlockShown(kind="figure", drawing=markup(drawing))
