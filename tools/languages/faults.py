"""What is wrong with a catalogue: needs only Babel, for the build of the wheel asks it too."""

import string
from collections.abc import Iterator

from babel.messages import Catalog


def faults(catalogue: Catalog) -> Iterator[str]:
    """Yield what is wrong with the sentences that are translated."""
    for message in catalogue:
        if not message.id or not message.string:
            continue
        ids, texts = texts_of(message.id), texts_of(message.string)
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
            # A form may do without its number, and without what that of the English leaves out.
            spare = [wanted - fields_of(one) for one in ids] if len(texts) > 1 else []
            spare += [{("count", "", None)}] if len(texts) > 1 else []
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


def texts_of(told: str | list[str] | tuple[str, ...] | None) -> list[str]:
    """Return the forms of a message, or of its translation."""
    return [told] if isinstance(told, str) else list(told or ())


def _named(found: set[tuple[str, str, str | None]]) -> str:
    return ", ".join(sorted("{" + name + "}" for name, _, _ in found)) or "no placeholder"
