"""Brings the catalogues up to date with the sources, and says what is wrong with them."""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from babel.messages import Catalog, Message
from babel.messages.pofile import read_po, write_po

from rig.language import LANGUAGES
from tools.languages.faults import faults, texts_of
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
        wrong += [
            f"{key}: not translated: {texts_of(message.id)[0]!r}"
            for message in kept
            if message.id and not _is_done(message)
        ]
        known = {message.id for message in kept if message.id}
        wrong += [
            f"{key}: not in the catalogue (run update): {message.id!r}"
            for message in made
            if message.id and message.id not in known
        ]
    return wrong, told


def _share(catalogue: Catalog) -> str:
    all_of = [message for message in catalogue if message.id]
    done = sum(map(_is_done, all_of))
    return f"{done} of {len(all_of)} translated"


def _is_done(message: Message) -> bool:
    texts = texts_of(message.string)
    return bool(texts) and all(texts)


def _file(locale: str) -> Path:
    return FOLDER / locale / "LC_MESSAGES" / "rig.po"


def _read(file: Path, locale: str) -> Catalog:
    with file.open("rb") as source:
        return read_po(source, locale)


def _write(file: Path, catalogue: Catalog) -> None:
    with file.open("wb") as target:
        write_po(target, catalogue, width=WIDTH, include_lineno=False)
