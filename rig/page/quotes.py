"""A quote on the phone: for a floor that nobody has seen yet, or for a job at any stage."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rig.errors import BadInput
from rig.language import money, say
from rig.page.visit import Form
from rig.products import Library
from rig.products.library import data_folder
from rig.quantities.prices import PriceBook, read_prices
from rig.record import Record
from rig.units import parse_area, parse_duration, parse_percent
from rig.words import quote as words

if TYPE_CHECKING:
    from rig.job.store import Job
    from rig.study.quote import Part, QuoteAnswer, QuoteWish

MOST_READINGS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteView(Record):
    """What a page of a quote shows: what can be picked, and the quote once it is asked for."""

    products: tuple[tuple[str, str], ...]
    crews: tuple[tuple[str, str], ...]
    total: str = ""
    lines: tuple[tuple[str, str, str], ...] = ()
    notes: tuple[str, ...] = ()
    trouble: str = ""
    kept: str = ""


def names_of(kind: str) -> tuple[tuple[str, str], ...]:
    """Return what is remembered of a kind, to be picked by name."""
    return tuple((one.name, one.name) for one in Library.load() if one.kind == kind)


def is_asked(form: Form) -> bool:
    """Whether a quote was asked for."""
    return bool(form.text("quote") or form.text("act"))


def quick_quote(form: Form) -> QuoteView:
    """Return the page of a quote for an area and a depth."""
    from rig.study.quote import depth_of, part_of, quote_of

    if not is_asked(form):
        return _view()
    try:
        area = form.quantity("area", parse_area, say("How large is it? As 320ft2 or 30m2."))
        depth, readings = _depths(form, None)
        wish = wish_of(form)
        if wish.product is None and "product" not in form.wrong:
            form.wrong["product"] = say("Which compound?")
        form.check()
        assert area is not None
        with form.at("depth"):
            found, note = depth_of(depth, readings, area, wish.product)
        return _view(quote_of([part_of(area, found)], wish, [note]))
    except BadInput as error:
        return _view(trouble="" if form.wrong else str(error))


def job_quote(job: "Job", form: Form, bare: str) -> "QuoteAnswer":
    """Quote for a job as a form asks for it.

    Raises
    ------
    RigError
        Something in the form is wrong, or too little is known yet.
    """
    from rig.study.quote import depth_of, part_of, quote_for
    from rig.study.room import outline_of

    depth, readings = _depths(form, bare)
    wish = wish_of(form)
    form.check()
    parts: list[Part] = []
    if depth is not None or readings:
        product = wish.product or job.settings.compound
        area_m2 = outline_of(job).area_m2
        with form.at("depth"):
            parts = [part_of(area_m2, depth_of(depth, readings, area_m2, product)[0])]
    return quote_for(job, wish, parts)


def shown(answer: "QuoteAnswer", kept: str = "") -> QuoteView:
    """Return the page that shows a quote."""
    return _view(answer, kept=kept)


def wish_of(form: Form) -> "QuoteWish":
    """Return what a form asks of a quote."""
    from rig.study.quote import QuoteWish

    library = Library.load()
    used = form.read("product", library.used)
    crew = form.read("crew", library.crew)
    hours = form.quantity("hours", lambda text: parse_duration(text, bare="h"))
    waste = form.quantity("waste", parse_percent)
    return QuoteWish(
        book=_book(),
        product=None if used is None else used.compound,
        crew=crew,
        hours=None if hours is None else hours / 3600.0,
        waste_share=waste,
    )


def _depths(form: Form, bare: str | None) -> tuple[float | None, list[float]]:
    depth = form.length("depth", say("The depth"), bare, above=0.0)
    told = [one for one in form.text("readings").split(";") if one.strip()][:MOST_READINGS]
    each = Form({str(n): text for n, text in enumerate(told)})
    read = [each.length(str(n), say("The reading"), bare) for n in range(len(told))]
    if each.wrong:
        form.wrong["readings"] = next(iter(each.wrong.values()))
    return depth, [one for one in read if one is not None]


def _book() -> PriceBook:
    path = data_folder() / "prices.toml"
    return read_prices(path) if path.exists() else PriceBook(())


def _view(answer: "QuoteAnswer | None" = None, trouble: str = "", kept: str = "") -> QuoteView:
    products, crews = names_of("compound"), names_of("crew")
    if answer is None:
        return QuoteView(products=products, crews=crews, trouble=trouble, kept=kept)
    total = answer.total
    return QuoteView(
        products=products,
        crews=crews,
        total=words.total(total.low, total.likely, total.high, answer.currency),
        lines=tuple(
            (
                one.item,
                words.amount_of(one, answer.currency),
                money(one.amount, answer.currency),
            )
            for one in answer.lines
        ),
        notes=(
            *(words.hangs_on(one, answer.currency) for one in answer.hangs_on),
            *answer.assumptions,
        ),
        kept=kept,
    )
