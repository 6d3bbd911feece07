"""The steps of a job on the phone: a small module and a template each."""

import importlib
from collections.abc import Iterator, Mapping

from rig.page.visit import Step

_FILES = (
    "room",
    "product",
    "grid",
    "survey",
    "floor",
    "plan",
    "markers",
    "set",
    "pour",
    "log",
    "proof",
    "report",
    "undo",
)


class _Steps(Mapping[str, Step]):
    """The steps by their keys, each loaded when it is first asked for."""

    def __getitem__(self, key: str) -> Step:
        if key not in _FILES:
            raise KeyError(key)
        step: Step = importlib.import_module(f"rig.page.steps.{key}").STEP
        return step

    def __iter__(self) -> Iterator[str]:
        return iter(_FILES)

    def __len__(self) -> int:
        return len(_FILES)


STEPS: Mapping[str, Step] = _Steps()
