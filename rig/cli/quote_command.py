"""`rig quote`: what a job will cost, before the survey and at any stage of it."""

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.cli.options import PERCENT, Length, Quantity, json_option, show
from rig.errors import BadInput
from rig.language import join, say
from rig.units import parse_area, parse_duration

if TYPE_CHECKING:
    from rig.products import Product
    from rig.quantities.prices import PriceBook
    from rig.study.quote import CameTrue, Part, QuoteAnswer, QuoteWish

AREA = Quantity("area", parse_area)
HOURS = Quantity("time", parse_duration)
EXAMPLE = say("plain example")


@click.command()
@click.option(
    "--job",
    "job_path",
    type=click.Path(path_type=Path, dir_okay=False),
    is_eager=True,
    help="Quote for this job.  [default, without --area: RIG_JOB, else job.sqlite]",
)
@click.option("--area", "areas", type=AREA, multiple=True, help="Of a floor: 320ft2. Repeatable.")
@click.option(
    "--depth",
    "depths",
    type=Length(above=0.0),
    multiple=True,
    help="Mean thickness, by eye: 1/2in; one for all, or one an --area.",
)
@click.option(
    "--reading",
    "readings",
    type=Length(),
    multiple=True,
    help="Instead of --depth: five readings of a rod, in the corners and the middle.",
)
@click.option("--product", metavar="NAME", help="As rig product knows it.  [default: the job's]")
@click.option(
    "--prices",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The price book, in TOML.  [default: prices.toml in your data directory]",
)
@click.option("--crew", metavar="NAME", help="Whose hours, as rig product knows them.")
@click.option("--hours", type=HOURS, help="Of all hands together: 12h.")
@click.option("--waste", type=PERCENT, help="Bought on top, as 5%.")
@click.option("--keep", is_flag=True, help="Keep the quote in the job.")
@click.option("--compare", is_flag=True, help="Hold the kept quote against what the pours took.")
@json_option
def command(
    job_path: Path | None,
    areas: tuple[float, ...],
    depths: tuple[float, ...],
    readings: tuple[float, ...],
    product: str | None,
    prices: Path | None,
    crew: str | None,
    hours: float | None,
    waste: float | None,
    keep: bool,
    compare: bool,
    as_json: bool,
) -> None:
    """Quote a job by your price book: low, likely and high, and what the difference hangs on.

    From an area and a depth, from a quick look of five readings, or from a job at any stage.
    """
    from rig.products import Library
    from rig.study.quote import QuoteWish, quote_of

    if areas and (job_path is not None or keep or compare):
        raise BadInput(say("A quote is for --area or for a job, not for both."))
    if compare:
        _compare(_job(job_path), as_json)
        return
    library = Library.load()
    named = library.used(product).compound if product is not None else None
    wish = QuoteWish(
        book=_book(prices),
        product=named,
        crew=None if crew is None else library.crew(crew),
        hours=None if hours is None else hours / 3600.0,
        waste_share=waste,
    )
    if not areas:
        answer = _of_job(_job(job_path), wish, depths, readings, keep)
    else:
        if named is None:
            raise BadInput(
                say(
                    "Say which compound: --product NAME, as --product “{example}”.", example=EXAMPLE
                )
            )
        parts, notes = _parts(areas, depths, readings, named)
        answer = quote_of(parts, wish, notes)
    show(answer.as_json(), as_json, join("\n", _lines(answer)))


def _job(path: Path | None) -> Path:
    return path or Path(os.environ.get("RIG_JOB") or "job.sqlite")


def _of_job(
    path: Path,
    wish: "QuoteWish",
    depths: tuple[float, ...],
    readings: tuple[float, ...],
    keep: bool,
) -> "QuoteAnswer":
    from rig.job.store import Job
    from rig.study import quote
    from rig.study.room import outline_of

    if len(depths) > 1:
        raise BadInput(say("A job has one --depth; several go with an --area each."))
    with Job.open(path, write=keep) as job:
        parts: list[Part] = []
        if depths or readings:
            product = wish.product or job.settings.compound
            area_m2 = outline_of(job).area_m2
            depth = quote.depth_of(depths[0] if depths else None, readings, area_m2, product)[0]
            parts = [quote.part_of(area_m2, depth)]
        answer = quote.quote_for(job, wish, parts)
        if keep:
            quote.keep(job, answer)
    return answer


def _parts(
    areas: tuple[float, ...],
    depths: tuple[float, ...],
    readings: tuple[float, ...],
    product: "Product",
) -> "tuple[list[Part], list[str]]":
    from rig.study.quote import depth_of, part_of

    if depths and len(depths) not in (1, len(areas)):
        raise BadInput(say("Give one --depth for all, or one for each --area, in their order."))
    if readings and len(areas) > 1:
        raise BadInput(say("A quick look is of one --area; quote others by their --depth."))
    parts, notes = [], {}
    each: tuple[float | None, ...] = depths or (None,)
    for n, area in enumerate(areas):
        depth, note = depth_of(each[min(n, len(each) - 1)], readings, area, product)
        parts.append(part_of(area, depth))
        notes[note] = True
    return parts, list(notes)


def _book(path: Path | None) -> "PriceBook":
    from rig.products.library import data_folder
    from rig.quantities.prices import PriceBook, read_prices

    if path is not None:
        return read_prices(path)
    usual = data_folder() / "prices.toml"
    return read_prices(usual) if usual.exists() else PriceBook(())


def _compare(path: Path, as_json: bool) -> None:
    from rig.job.store import Job
    from rig.study.quote import came_true
    from rig.words import quote as words

    with Job.open(path) as job:
        told: CameTrue = came_true(job)
    bags = told.quoted.bags
    text = words.came_true(bags["likely"], bags["low"], bags["high"], told.bags_used)
    show(told.as_json(), as_json, text)


def _lines(answer: "QuoteAnswer") -> list[str]:
    from rig.words import quote as words

    lines = [words.line(one, answer.currency) for one in answer.lines]
    total = answer.total
    lines.append(words.total(total.low, total.likely, total.high, answer.currency))
    lines += [words.hangs_on(one, answer.currency) for one in answer.hangs_on]
    return [*lines, *answer.assumptions]
