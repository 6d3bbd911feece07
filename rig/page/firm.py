"""The firm, kept once: what it remembers by name, how it signs, what it charges."""

from collections.abc import Mapping
from dataclasses import dataclass

from rig.errors import BadInput
from rig.files import write_whole
from rig.language import join, money, numeral, put, say
from rig.page.visit import NO_ACT, Form, Served
from rig.products import Entry, Library
from rig.products.firm import Firm, changed, load_firm, save_firm
from rig.products.library import EXAMPLE, KEYS, MANY, as_typed, data_folder, from_typed
from rig.quantities.prices import UNITS, parse_prices, prices_text
from rig.record import Record
from rig.study.described import refuse_odd_bag
from rig.texts import parse_toml, read_toml, text_of
from rig.units import pointed
from rig.words import firm as words
from rig.words.quote import UNITS as UNIT_NAMES

MOST_ROWS, SPARE_ROWS = 50, 3
BOOK_KEYS = ("currency", "tax", "margin", "hours_per_m2")
LIST = "products.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class KindOfThings(Record):
    """What is remembered of a kind: each by its name, with what was said of it."""

    key: str
    title: str
    things: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FirmView(Record):
    """What the page of the firm shows."""

    kinds: tuple[KindOfThings, ...]
    own: bool
    name: str
    address: str
    logo: bool
    prices: tuple[str, ...]
    trouble: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked(Record):
    """A field of a thing: its key, its label, its hint, what it is."""

    key: str
    label: str
    hint: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ThingView(Record):
    """What the page of one thing shows."""

    kind: str
    title: str
    name: str
    fields: tuple[Asked, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PricesView(Record):
    """What the page of the price book shows; rows of item, unit and price."""

    told: Mapping[str, str]
    rows: tuple[tuple[str, str, str], ...]
    units: tuple[tuple[str, str], ...]


def view(form: Form, rest: list[str]) -> "tuple[str, object] | Served":
    """Return a page of the firm: its template and what it shows; or a file."""
    match rest:
        case []:
            return "firm.html", _firm_view()
        case ["prices"]:
            return "prices.html", _prices_view(form)
        case ["logo.png"]:
            data = load_firm().logo_data
            if data is None:
                raise BadInput(say("There is no logo yet."))
            return Served("logo.png", "image/png", data, download=False)
        case [name] if name == LIST:
            return Served(LIST, "application/toml", Library.load().text().encode())
        case [kind] if kind in KEYS:
            asked = form.text("old") if form.text("act") else form.text("name")
            return "thing.html", _thing_view(kind, asked)
    raise BadInput(say("There is no such page."))


def act(form: Form, rest: list[str]) -> str:
    """Do what a form of the firm asks for; return the page to go to then."""
    match (rest, form.text("act")):
        case ([], "sign"):
            _sign(form)
        case ([], "import"):
            _import(form)
        case (["prices"], "keep"):
            _keep_prices(form)
        case (["prices"], "upload"):
            _take_prices(form)
        case ([kind], "keep") if kind in KEYS:
            _keep(form, kind)
        case ([kind], "drop") if kind in KEYS:
            Library.load().without(form.text("name")).save()
        case _:
            raise BadInput(NO_ACT)
    return "firm"


def _firm_view() -> FirmView:
    trouble: list[str] = []
    entries: list[Entry] = []
    firm: Firm | None = None
    prices: tuple[str, ...] = ()
    try:
        entries = list(Library.load())
    except BadInput as error:
        trouble.append(str(error))
    try:
        firm = load_firm()
    except BadInput as error:
        trouble.append(str(error))
    try:
        kept = _kept_prices()
        rows = _rows(kept)
        prices = tuple(
            put(
                "{item}: {price} / {unit}",
                item=item,
                price=money(price, str(kept.get("currency", ""))),
                unit=UNIT_NAMES[unit],
            )
            for item, unit, price in rows
        )
    except BadInput as error:
        trouble.append(str(error))
    return FirmView(
        kinds=tuple(
            KindOfThings(
                key=kind,
                title=title,
                things=tuple((one.name, _said(one)) for one in entries if one.kind == kind),
            )
            for kind, title in words.KINDS.items()
        ),
        own=any(one.name != EXAMPLE for one in entries),
        name="" if firm is None else firm.name,
        address="" if firm is None else "; ".join(firm.address),
        logo=firm is not None and firm.logo is not None,
        prices=prices,
        trouble=tuple(trouble),
    )


def _said(entry: Entry) -> str:
    told = (
        say("{what}: {value}", what=words.FIELDS[key][0], value=_value(as_typed(key, value)))
        for key, value in entry.told.items()
        if key in words.FIELDS
    )
    return join(", ", list(told)[:4])


def _value(value: str | tuple[str, ...]) -> str:
    return value if isinstance(value, str) else join("; ", value)


def _thing_view(kind: str, name: str) -> ThingView:
    told: Mapping[str, str | tuple[str, ...]] = {}
    if name:
        entry = Library.load().entry(name, kind)
        name, told = entry.name, entry.told
    return ThingView(
        kind=kind,
        title=words.KINDS[kind],
        name=name,
        fields=tuple(
            Asked(key=key, label=label, hint=hint, value=_value(as_typed(key, told.get(key, ""))))
            for key in KEYS[kind]
            for label, hint in [words.FIELDS[key]]
        ),
    )


def _keep(form: Form, kind: str) -> None:
    """Keep a thing as the form tells it, in place of the one that it was opened for."""
    old = form.text("old")
    name = old or form.name("name", say("The name"))
    told: dict[str, str | tuple[str, ...]] = {}
    for key, (_, read) in KEYS[kind].items():
        text = form.text(key)
        if not text:
            continue
        value = tuple(one.strip() for one in text.split(";") if one.strip())
        with form.noted(key):
            told[key] = from_typed(key, value if key in MANY else text)
            read(told[key], what=words.FIELDS[key][0])
    form.check()
    assert name is not None
    library, entry = Library.load(), Entry(kind, name, told)
    if old and library.entry(old, kind).name not in library.entries:
        form.wrong["old"] = words.is_example(old)
        form.check()
    with form.at("" if old else "name"):
        library = library.with_changed(entry) if old else library.with_added(entry)
    refuse_odd_bag(entry)
    library.save()


def _sign(form: Form) -> None:
    """Keep how the firm signs."""
    from rig.report.pictures import uploaded_logo

    logo = None
    with form.noted("logo"):
        if form.files.get("logo"):
            logo = uploaded_logo(form.files["logo"]).data
    with form.noted("name"):
        changed(load_firm(), form.text("name") or None, None)
    with form.noted("address"):
        changed(load_firm(), None, form.text("address"))
    form.check()
    save_firm(changed(load_firm(), form.text("name") or None, form.text("address")), logo)


def _import(form: Form) -> None:
    """Take a list of products that was sent, whole or not at all."""
    with form.at("list"):
        text = _sent(form, "list", say("a list of products is a TOML file"))
        replacing = bool(form.text("replace"))
        library, _ = Library.load().taken(text, LIST, replacing=replacing)
    library.save()


def _sent(form: Form, name: str, hint: str) -> str:
    data = form.files.get(name)
    if not data:
        raise BadInput(words.which_file())
    return text_of(data, say("The file"), hint)


# --- the price book ------------------------------------------------------------------------------


def _kept_prices() -> Mapping[str, object]:
    """Return the price book as it is written."""
    path = data_folder() / "prices.toml"
    if not path.exists():
        return {}
    told = read_toml(path, say("a price book is a TOML file"))
    parse_prices(told, path.name)
    return told


def _rows(told: Mapping[str, object]) -> list[tuple[str, str, str]]:
    lines = told.get("line", [])
    assert isinstance(lines, list)
    return [(str(one["item"]), str(one["unit"]), str(one["price"])) for one in lines]


def _prices_view(form: Form) -> PricesView:
    told = _kept_prices()
    rows = _rows(told)
    if len(rows) > MOST_ROWS:
        raise BadInput(say("The price book is too long for this page: send it as a file."))
    if not rows:
        rows = [("", unit, "") for unit in ("bag", "m2", "hour")]
    rows += [("", "job", "")] * SPARE_ROWS
    return PricesView(
        told={key: numeral(told.get(key, "")) for key in BOOK_KEYS},
        rows=tuple((item, unit, numeral(price)) for item, unit, price in rows),
        units=tuple((one, UNIT_NAMES[one]) for one in UNITS),
    )


def _keep_prices(form: Form) -> None:
    """Keep the price book that the form tells; what the page does not ask stays."""
    told: dict[str, object] = dict(_kept_prices())
    for key in BOOK_KEYS:
        told.pop(key, None)
        if form.text(key):
            with form.noted(key):
                told[key] = pointed(form.text(key))
    lines = []
    for n in range(MOST_ROWS + SPARE_ROWS):
        item, price = form.text(f"item-{n}"), form.text(f"price-{n}")
        if not item and not price:
            continue
        line = {"item": item, "unit": form.text(f"unit-{n}"), "price": price}
        with form.noted(f"price-{n}"):
            line["price"] = pointed(price)
            parse_prices({"line": [line]}, item or say("This line"))
        lines.append(line)
    form.check()
    told["line"] = lines
    _write_prices(told)


def _take_prices(form: Form) -> None:
    """Take a price book that was sent."""
    with form.at("book"):
        text = _sent(form, "book", say("a price book is a TOML file"))
        _write_prices(parse_toml(text, say("The file")))


def _write_prices(told: Mapping[str, object]) -> None:
    parse_prices(told, say("The price book"))
    folder = data_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(
            say("{folder} cannot be made: {error}.", folder=folder, error=error.strerror)
        ) from None
    write_whole(folder / "prices.toml", prices_text(told))
