"""`rig product`: compounds, primers, reinforcement, crews and mixers, remembered by name."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.options import Command, Name, json_option, show, stack
from rig.errors import BadInput
from rig.language import join, put, say

if TYPE_CHECKING:
    from rig.products import Entry, Library

KINDS = ("compound", "primer", "reinforcement", "crew", "mixer")
_CHANGED = "Jobs keep the copy that they were given; rig edit --product takes this one."


def _said(flag: str, metavar: str, text: str, *, many: bool = False) -> Any:
    return click.option(flag, metavar=metavar, help=text, multiple=many)


said_options = stack(
    _said("--edition", "TEXT", "Which sheet this is from, as “2024-03”."),
    _said("--price", "18.50", "Of what is sold as one: a bag, a jug, a sheet."),
    _said("--use", "1.7kg/m2/mm", "Powder a floor takes; also 1.1lb/ft2 at 1/8in."),
    _said("--bag-yield", "VOLUME", "What a bag makes: 0.45ft3."),
    _said("--bag-mass", "MASS", "Of a bag: 50lb."),
    _said("--bag-water", "VOLUME", "For a bag: 5qt."),
    _said("--min-cover", "LENGTH", "Least thickness in one lift."),
    _said("--max-cover", "LENGTH", "Greatest thickness in one lift."),
    _said("--mix-time", "TIME", "Of a batch: 2min."),
    _said("--slake-time", "TIME", "Rest after mixing."),
    _said("--working-time", "TIME", "How long the mix flows and heals: 20min."),
    _said("--working-time-at", "10C=30min", "The same by temperature. Repeatable.", many=True),
    _said("--min-temperature", "10C", "Of the floor, at least."),
    _said("--max-temperature", "30C", "Of the floor, at most."),
    _said("--max-air-rh", "75%", "Humidity of the room's air, at most."),
    _said("--walk-on", "TIME", "After the pour: 4h."),
    _said("--cover-after", "TIME", "After the pour: 24h."),
    _said("--max-moisture", "2%CM", "Of the screed by the carbide method, at most."),
    _said("--max-slab-rh", "85%", "Humidity in the slab (ASTM F2170), at most."),
    _said("--max-emission", "5lb", "Moisture emission (ASTM F1869), lb/1000 ft² a day, at most."),
    _said("--primer", "NAME", "The primer that goes with it."),
    _said("--reinforcement", "NAME", "Lath or mesh that goes with it."),
    _said("--rate", "0.15l/m2", "Primer that a floor takes, ready to use; also 300ft2/gal."),
    _said("--dilution", "PARTS", "Of water to one of primer."),
    _said("--coats", "N", "Of primer."),
    _said("--dry", "TIME", "That the primer dries."),
    _said("--pack", "VOLUME", "What the primer is sold in: 5l."),
    _said("--sheet", "27in,96in", "Size of a sheet of lath or mesh."),
    _said("--overlap", "LENGTH", "Of such sheets."),
    _said("--people", "N", "Of a crew."),
    _said("--mixers", "N", "Of a crew."),
    _said(
        "--took", "320ft2,5h", "A floor done before, and the time on site. Repeatable.", many=True
    ),
    _said("--bags-per-batch", "N", "That a mixer takes."),
)


@click.group()
def command() -> None:
    """Remember products, primers, reinforcement, crews and mixers by names of your own.

    Kept in products.toml in your data directory ($XDG_DATA_HOME/floor-rig).
    """


def _named(make: Command) -> Command:
    return stack(click.argument("name", type=Name()), said_options, json_option)(make)


@command.command("add")
@click.option("--kind", type=click.Choice(KINDS), default="compound", show_default=True)
@_named
def add_command(name: str, kind: str, as_json: bool, **said: Any) -> None:
    """Add one under a name of your own, as its sheet states it."""
    from rig.products import Entry, Library
    from rig.study.described import refuse_odd_bag

    entry = Entry(kind, name, _given(said))
    library = Library.load().with_added(entry)
    refuse_odd_bag(entry)
    library.save()
    show(_answer([entry]), as_json, join("\n", _lines(entry)))


@command.command("edit")
@click.option("--clear", metavar="KEY", multiple=True, help="Forget what was said, as --clear use.")
@_named
def edit_command(name: str, clear: tuple[str, ...], as_json: bool, **said: Any) -> None:
    """Change one; floors that a crew took are added to those before."""
    from rig.products import Entry, Library
    from rig.study.described import refuse_odd_bag

    library, given = Library.load(), _given(said)
    old = library.entry(name)
    if old.name not in library.entries:
        raise BadInput(say("{name} is built in; rig product add one of your own.", name=old.name))
    told = dict(old.told)
    for key in (one.strip().lstrip("-").replace("-", "_") for one in clear):
        if told.pop(key, None) is None:
            raise BadInput(
                say("Nothing is said of {key!r} in {name}.", key=key[:40], name=old.name)
            )
    if not given and not clear:
        raise BadInput(say("Nothing to change was given; see rig product edit --help."))
    if "took" in given and "took" in told:
        given["took"] = (*told["took"], *given["took"])
    entry = Entry(old.kind, old.name, told | given)
    library = library.with_changed(entry)
    refuse_odd_bag(entry)
    library.save()
    show(_answer([entry]), as_json, join("\n", [*_lines(entry), _CHANGED]))


@command.command("list")
@json_option
def list_command(as_json: bool) -> None:
    """Show all, as they were said."""
    from rig.products import Library

    entries = list(Library.load())
    lines = [line for entry in entries for line in _lines(entry)]
    show(_answer(entries), as_json, join("\n", lines))


@command.command("drop")
@click.argument("name", type=Name())
@json_option
def drop_command(name: str, as_json: bool) -> None:
    """Forget one; jobs that were given it keep their copy."""
    from rig.products import Library

    library = Library.load()
    entry = library.entry(name)
    library.without(name).save()
    show({"dropped": entry.name}, as_json, say("{name} is forgotten.", name=entry.name))


@command.command("export")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@json_option
def export_command(file: Path, as_json: bool) -> None:
    """Write all into a TOML file, to carry elsewhere."""
    from rig.files import write_whole
    from rig.products import Library

    library = Library.load()
    _refuse_none(library)
    if file.exists():
        raise BadInput(say("there is a file at {file} already: it is left as it is.", file=file))
    write_whole(file, library.text())
    told = {"file": str(file.resolve()), "names": list(library.entries)}
    show(
        told, as_json, say("{entries} written to {file}.", entries=len(library.entries), file=file)
    )


@command.command("import")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--replace", "replacing", is_flag=True, help="Where a name is here, take the file's.")
@json_option
def import_command(file: Path, replacing: bool, as_json: bool) -> None:
    """Take all of a TOML file, whole or not at all."""
    from rig.products import Library

    library, names = Library.load().taken_from(file, replacing=replacing)
    library.save()
    show(
        {"names": names},
        as_json,
        say("Taken from {file}: {names}.", file=file, names=join(", ", names) or "nothing"),
    )


def _given(said: dict[str, Any]) -> dict[str, Any]:
    """Return what was said, its numbers with a decimal point whatever the language."""
    from rig.products.library import from_typed

    return {key: from_typed(key, value) for key, value in said.items() if value not in (None, ())}


def _refuse_none(library: "Library") -> None:
    if not library.entries:
        raise BadInput(say("There is nothing of yours to write yet: rig product add NAME."))


def _answer(entries: "list[Entry]") -> dict[str, Any]:
    return {"products": [_told(one) for one in entries]}


def _told(entry: "Entry") -> dict[str, Any]:
    from rig.products import Product

    thing = entry.read()
    told = {"kind": entry.kind, **thing.as_json()}
    if isinstance(thing, Product):
        told["bag_yield_l"] = thing.yield_l
    return told


def _lines(entry: "Entry") -> list[str]:
    from rig.products.library import SPOKEN, as_typed

    said = []
    for key, told in entry.told.items():
        value = as_typed(key, told)
        shown = value if isinstance(value, str) else join("; ", value)
        said.append(put("{key} {value}", key=key.replace("_", " "), value=shown))
    return [
        put(
            "{name} ({kind}): {said}",
            name=entry.name,
            kind=SPOKEN[entry.kind],
            said=join(", ", said),
        )
    ]
