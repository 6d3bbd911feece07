import ast
import dataclasses

import rig.events
from tools.rename_check import ROOT, SUFFIX, fields, renamed

PATHS = [f"rig/events/{file.name}" for file in sorted((ROOT / "rig/events").glob("*.py"))]


def test_every_field_of_every_event_is_tried() -> None:
    tried = {(field.kind, field.name) for path in PATHS for field in fields(ROOT, path)}
    kinds = [kind for kind in vars(rig.events).values() if dataclasses.is_dataclass(kind)]
    there = {
        (kind.__name__, field.name)
        for kind in kinds
        if isinstance(kind, type) and kind.__module__.startswith("rig.events.")
        for field in dataclasses.fields(kind)
        if field.name in kind.__annotations__  # an inherited one is renamed where it is defined
    }
    assert there <= tried
    assert len(tried) > 100


def test_a_field_is_renamed_where_it_is_defined_and_nowhere_else() -> None:
    for field in [field for path in PATHS for field in fields(ROOT, path)]:
        text = (ROOT / field.path).read_text()
        changed = renamed(text, field)
        assert len(changed) == len(text) + len(SUFFIX)
        one = changed.split("\n")[field.line]
        assert one.strip().startswith(f"{field.name}{SUFFIX}:")
    ast.parse(changed)
