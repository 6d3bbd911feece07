"""Brings the catalogues up to date with the sources, and says what is wrong with them."""

import string
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from babel.messages import Catalog, Message
from babel.messages.pofile import read_po, write_po

from rig.language import LANGUAGES
from tools.languages.sources import ROOT, sentences

FOLDER = ROOT / "rig" / "words" / "languages"
TEMPLATE = FOLDER / "rig.pot"
WIDTH = 100
HEAD = """\
The sentences of floor-rig in {name}.
No native of the trade has read them yet. How to mend one: rig guide languages.
"""
_MADE = datetime(2026, 11, 30, tzinfo=UTC)  # never of the run: only changes change a file


# As CLDR has them, but for the form of whole millions, which no floor asks for.
PLURALS = {"es": (2, "(n != 1)"), "fr": (2, "(n > 1)"), "pt_BR": (2, "(n > 1)")}


def template() -> Catalog:
    """Return every sentence of the sources."""
    made = Catalog(
        project="floor-rig", version="1", charset="utf-8", creation_date=_MADE, revision_date=_MADE
    )
    for one in sentences():
        said: str | tuple[str, str] = one.message if one.many is None else (one.message, one.many)
        made.add(
            said,
            locations=[(one.file, 0)],
            auto_comments=[one.about] if one.about else [],
        )
        message = made[one.message]
        assert message is not None
        message.flags.discard("python-format")
        message.flags.add("python-brace-format")
    return made


def update() -> Iterator[str]:
    """Bring template and catalogues up to date; yield a line for each."""
    made = template()
    FOLDER.mkdir(exist_ok=True)
    _write(TEMPLATE, made)
    yield f"{len(made)} sentences"
    for key, (locale, name) in LANGUAGES.items():
        if key == "en":
            continue
        file = _file(locale)
        kept = _read(file, locale) if file.exists() else _new(locale)
        kept.update(made, no_fuzzy_matching=True, update_header_comment=False)
        kept.header_comment = "".join(
            f"# {line}\n" for line in HEAD.format(name=name).splitlines()
        ).rstrip()
        kept.fuzzy = False
        kept.creation_date = kept.revision_date = _MADE
        file.parent.mkdir(parents=True, exist_ok=True)
        _write(file, kept)
        yield f"{key}: {_share(kept)}"


def _new(locale: str) -> Catalog:
    made = Catalog(locale, project="floor-rig", version="1", revision_date=_MADE)
    if locale in PLURALS:
        number, rule = PLURALS[locale]
        vars(made).update(_num_plurals=number, _plural_expr=rule)
    return made


def check(keys: Iterable[str] = ()) -> tuple[list[str], list[str]]:
    """Return what is wrong with catalogues, all of them unless some are named; and their shares."""
    wrong, told = [], []
    made = template()
    for key in keys or [one for one in LANGUAGES if one != "en"]:
        locale, _ = LANGUAGES[key]
        kept = _read(_file(locale), locale)
        told.append(f"{key}: {_share(kept)}")
        wrong += [f"{key}: {what}" for what in faults(kept)]
        known = {message.id for message in kept if message.id}
        wrong += [
            f"{key}: not in the catalogue (run update): {message.id!r}"
            for message in made
            if message.id and message.id not in known
        ]
    return wrong, told


def faults(catalogue: Catalog) -> Iterator[str]:
    """Yield what is wrong with the sentences that are translated."""
    for message in catalogue:
        if not message.id or not message.string:
            continue
        ids, texts = _texts(message.id), _texts(message.string)
        if not any(texts):
            continue
        if len(texts) > 1 and len(texts) != catalogue.num_plurals:
            yield f"{ids[0]!r} has {len(texts)} forms, not {catalogue.num_plurals}"
        wanted = set().union(*map(fields_of, ids))
        for text in texts:
            try:
                found = fields_of(text)
            except ValueError as error:
                yield f"{text!r}: {error}"
                continue
            # One alone may do without its number, and without what the English of one leaves out.
            spare = ({("count", "", None)}, wanted - fields_of(ids[0])) if len(texts) > 1 else ()
            if found - wanted or (found != wanted and wanted - found not in spare):
                yield f"{text!r} has {_named(found)}, not {_named(wanted)}"
            if text.count("**") != ids[0].count("**"):
                yield f"{text!r}: the ** that make parts stand out are not those of the English"


def fields_of(text: str) -> set[tuple[str, str, str | None]]:
    """Return the placeholders of a message: name, how it is written, conversion."""
    if "{" not in text and "}" not in text:
        return set()
    return {
        (name, spec or "", conversion)
        for _, name, spec, conversion in string.Formatter().parse(text)
        if name is not None
    }


def _named(found: set[tuple[str, str, str | None]]) -> str:
    return ", ".join(sorted("{" + name + "}" for name, _, _ in found)) or "no placeholder"


def _share(catalogue: Catalog) -> str:
    all_of = [message for message in catalogue if message.id]
    done = sum(map(_is_done, all_of))
    return f"{done} of {len(all_of)} translated"


def _is_done(message: Message) -> bool:
    texts = _texts(message.string)
    return bool(texts) and all(texts)


def _texts(told: str | list[str] | tuple[str, ...] | None) -> list[str]:
    return [told] if isinstance(told, str) else list(told or ())


def _file(locale: str) -> Path:
    return FOLDER / locale / "LC_MESSAGES" / "rig.po"


def _read(file: Path, locale: str) -> Catalog:
    with file.open("rb") as source:
        return read_po(source, locale)


def _write(file: Path, catalogue: Catalog) -> None:
    with file.open("wb") as target:
        write_po(target, catalogue, width=WIDTH, include_lineno=False)
