"""The steps of a job on the phone: a small module and a template each."""

import importlib
from collections.abc import Iterator, Mapping

from rig.page.visit import Step
from rig.words.steps import TITLES


class _Steps(Mapping[str, Step]):
    """The steps by their keys, each loaded when it is first asked for."""

    def __getitem__(self, key: str) -> Step:
        if key not in TITLES:
            raise KeyError(key)
        step: Step = importlib.import_module(f"rig.page.steps.{key}").STEP
        return step

    def __iter__(self) -> Iterator[str]:
        return iter(TITLES)

    def __len__(self) -> int:
        return len(TITLES)


STEPS: Mapping[str, Step] = _Steps()
