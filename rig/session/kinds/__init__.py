"""The kinds of live session: a file each, named here, whose `KIND` says all about it."""

from functools import cache
from importlib import import_module
from typing import Any

from rig.session.kind import Kind

_FILES = (
    "survey",
    "set",
    "pour",
    "drift",
    "drag",
)


@cache
def kinds() -> dict[str, Kind[Any]]:
    """Return every kind by the name that the job keeps."""
    found: list[Kind[Any]] = [import_module(f"{__name__}.{file}").KIND for file in _FILES]
    return {kind.name: kind for kind in found}
