"""Frozen records and their JSON: what is reckoned, told or stored is made into text here alone.

A record is a frozen dataclass whose fields are its JSON's keys; units stand in the names.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from typing import Any, TypeVar

OMITTED: Mapping[str, str] = {"none": "omitted"}
"""Metadata of a field whose key is left out of the JSON where it is None."""

R = TypeVar("R", bound="Record")


def key(name: str) -> Mapping[str, str]:
    """Metadata of a field whose JSON key no Python name can be."""
    return {"key": name}


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Something that is told; made by keywords only, so that no two values can change places."""

    def as_json(self) -> dict[str, Any]:
        """Return it as JSON holds it: dicts, lists, texts and plain numbers."""
        told: dict[str, Any] = to_json(self)
        return told


def fields_of(record: Record) -> dict[str, Any]:
    """Return a record's fields as they are, to make one of a kind that has more of them."""
    return {one.name: getattr(record, one.name) for one in fields(record)}


def to_json(value: Any) -> Any:
    """Return a value as JSON holds it: records become dicts, tuples and arrays lists."""
    if is_dataclass(value) and not isinstance(value, type):
        told = {}
        for one in fields(value):
            found = getattr(value, one.name)
            if found is None and one.metadata.get("none") == "omitted":
                continue
            told[one.metadata.get("key", one.name)] = to_json(found)
        return told
    if isinstance(value, Mapping):
        return {name: to_json(found) for name, found in value.items()}
    if isinstance(value, tuple | list):
        return [to_json(found) for found in value]
    return value.tolist() if hasattr(value, "tolist") else value


def from_json(kind: type[R], told: Mapping[str, Any]) -> R:
    """Return the record that JSON holds; a key that is not there takes the field's default.

    Raises
    ------
    ValueError
        Where the JSON is not that of such a record.
    """
    from cattrs.errors import BaseValidationError

    try:
        made: R = _converter().structure(told, kind)
    except (BaseValidationError, KeyError, TypeError, AttributeError) as error:
        raise ValueError(f"this is no {kind.__name__}: {error}") from error
    return made


@cache
def _converter() -> Any:
    from cattrs import Converter
    from cattrs.gen import make_dict_structure_fn, override

    converter = Converter()

    def hook(kind: type[Any]) -> Any:
        names: dict[str, Any] = {
            one.name: override(rename=one.metadata["key"])
            for one in fields(kind)
            if "key" in one.metadata
        }
        return make_dict_structure_fn(kind, converter, **names)

    converter.register_structure_hook_factory(is_dataclass, hook)
    # Fields that are None in one kind of answer, so that its keys are those of its kin.
    converter.register_structure_hook(type(None), lambda told, _: told)
    # A sentence stays what it is: `str()` would leave its English alone.
    converter.register_structure_hook(
        str, lambda told, _: told if isinstance(told, str) else str(told)
    )
    return converter
