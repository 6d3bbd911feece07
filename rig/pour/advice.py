"""Says what a forecast means: what limits its pace, and the cheapest change that makes it safe."""

import math
from dataclasses import dataclass

from rig.errors import BadInput
from rig.pour.forecast import RUNS, SEED, Forecast, Ground, binding, changes, forecast
from rig.record import Record
from rig.words import pour as words


@dataclass(frozen=True, slots=True, kw_only=True)
class Change(Record):
    """A change of crew, gear or product, and what margin the edge would then have."""

    change: str
    margin_s: float
    feasible: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to do.

    Attributes
    ----------
    binds : str
        What limits the pace.
    text : str
        In one or a few sentences.
    changes : tuple of Change
        Each that was tried, the cheapest first.
    """

    binds: str
    text: str
    changes: tuple[Change, ...] = ()


def advise(made: Forecast, ground: Ground, runs: int = RUNS, seed: int = SEED) -> Advice:
    """Advise on a forecast; the changes are tried on the same luck as the forecast had."""
    binds = binding(made, ground, runs, seed)
    crew = made.crew
    if made.feasible:
        little = made.margin_s < 0.1 * crew.working_s
        return Advice(binds=binds, text=words.goes(made.margin_s, binds, little))
    tried: list[Change] = []
    for name, changed in changes(crew):
        try:
            then = forecast(ground, changed, runs, seed)
        except BadInput:  # a bay for every batch and more, a room full of people
            continue
        tried.append(Change(change=name, margin_s=then.margin_s, feasible=then.feasible))
        if then.feasible:
            break
    safe = next((one.change for one in tried if one.feasible), None)
    needed_s = 60.0 * math.ceil(made.age_p95_s / 60.0)
    slower = words.slower_product(needed_s)
    tried.append(Change(change=slower, margin_s=needed_s - made.age_p95_s, feasible=True))
    text = words.does_not_go(-made.margin_s, binds, safe, slower)
    return Advice(binds=binds, text=text, changes=tuple(tried))
