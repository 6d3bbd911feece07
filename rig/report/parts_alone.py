"""Sheets of one part: the markers to carry round, the list to shop by, the customer's page."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TypeVar

from rig.errors import CannotAnswer
from rig.language import put
from rig.quantities.materials import Material
from rig.report.customer_part import HIGHS_MM, HandedOver, customer_section, letter_section
from rig.report.document import Section, Table, Words, section
from rig.report.plan_part import markers_section, stale_words
from rig.report.source import Handover, Source
from rig.words import join, say
from rig.words import plan as words

T = TypeVar("T")

_MARKER_MM = (150.0, 130.0, 112.0, 96.0, 82.0, 70.0)  # heights of the plan, the largest first


def marker_sheets(source: Source) -> Iterator[tuple[Section, ...]]:
    """Return the marker sheet with its plan ever smaller, for who looks which has room.

    Raises
    ------
    CannotAnswer
        No markers are laid out.
    """
    if not source.markers:
        raise CannotAnswer(say("No markers are laid out yet. First: rig markers"))
    for high in _MARKER_MM:
        told = markers_section(source, source.alone_look(high))
        assert told is not None
        yield (told,)


def buy_sheet(source: Source) -> tuple[Section, ...]:
    """Return the list to shop by.

    Raises
    ------
    CannotAnswer
        There is no plan.
    """
    if source.plan is None:
        raise CannotAnswer(say("Nothing is planned yet. First: rig plan"))
    answer = source.plan.answer
    stale = source.job.changed_since(source.plan.row, bags=True)
    return (buy_list(answer.materials, words.buy(answer.bags.buy, answer.confidence), stale),)


def buy_list(materials: Sequence[Material], buy: str, stale: Sequence[str]) -> Section:
    """Return a list to shop by; `buy` says how many bags, `stale` what changed since."""
    return section(
        "buy",
        say("To buy"),
        stale_words(list(stale)),
        Words(buy, "lead"),
        Table("", (say("What"), say("How much")), tuple((one.item, one.text) for one in materials)),
    )


def buy_text(name: str, sections: Sequence[Section]) -> str:
    """Return a list to shop by as plain lines to send."""
    lines = [name]
    for block in (block for told in sections for block in told.blocks):
        if isinstance(block, Words):
            lines.append(block.text)
        elif isinstance(block, Table):
            lines += [put("- {item}: {much}", item=item, much=much) for item, much in block.rows]
    return join("\n", lines)


def customer_pages(told: HandedOver, handover: Handover) -> Iterator[tuple[Section, ...]]:
    """Return the customer's page with its maps and photos ever smaller."""
    letter = letter_section(handover)
    for highs in HIGHS_MM:
        page = customer_section(told, handover, highs)
        yield (page,) if letter is None else (letter, page)


def first_that_fits(tries: Iterable[T], fits: Callable[[T], bool]) -> T:
    """Return the first that fits, else the last."""
    found: T | None = None
    for one in tries:
        found = one
        if fits(one):
            break
    assert found is not None
    return found
