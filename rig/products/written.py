"""How one thing of a list of products stands in TOML: every value in quotes, as it was said."""

from collections.abc import Mapping

from rig.errors import BadInput
from rig.language import say
from rig.texts import toml_string

Told = str | tuple[str, ...]
"""A value as it was written; several where a key may come more than once."""


def told_of(told: object, name: str, called: str) -> dict[str, Told]:
    """Read a table of the file `name` that is called `called`.

    Raises
    ------
    BadInput
        Where a value is no text, or nothing is said.
    """
    found: dict[str, Told] = {}
    for key, value in told.items() if isinstance(told, dict) else ():
        if isinstance(value, str):
            found[key] = value
        elif isinstance(value, list) and all(isinstance(one, str) for one in value):
            found[key] = tuple(value)
        elif isinstance(value, int) and not isinstance(value, bool):
            found[key] = str(value)
        else:
            raise BadInput(
                say(
                    '{name}: {called}: write {key} in quotes, as "0.45ft3".',
                    name=name,
                    called=called[:40],
                    key=key[:40],
                )
            )
    if not found:
        raise BadInput(say("{name}: nothing is said of {called!r}.", name=name, called=called[:40]))
    return found


def table_of(kind: str, called: str, told: Mapping[str, Told]) -> str:
    """Write a thing as the table that `told_of` reads."""
    lines = [f"[{kind}.{toml_string(called)}]"]
    for key, value in told.items():
        one = isinstance(value, str)
        written = toml_string(str(value)) if one else f"[{', '.join(map(toml_string, value))}]"
        lines.append(f"{key} = {written}")
    return "\n".join(lines) + "\n"
