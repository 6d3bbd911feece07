"""Says what a forecast means: what limits its pace, and the cheapest change that makes it safe."""

import math
from dataclasses import dataclass
from typing import Any

from rig.errors import BadInput
from rig.pour.clock_text import minutes
from rig.pour.forecast import RUNS, SEED, Forecast, Ground, binding, changes, forecast

_THING = {
    "buckets": "The buckets limit the pace",
    "mixers": "The mixers limit the pace",
    "crew": "One pair of hands for everything limits the pace",
    "mixing": "Those at the mixers limit the pace",
    "helpers": "Measuring water limits the pace",
    "carrying": "Those who carry and pour hold it up",
    "spreading": "Those who spread limit the pace",
}


@dataclass(frozen=True)
class Advice:
    """What to do.

    Attributes
    ----------
    binds : str
        What limits the pace.
    text : str
        In one or a few sentences.
    changes : list of dict
        Each change that was tried: `change`, `margin_s`, `feasible`; the cheapest first.
    """

    binds: str
    text: str
    changes: list[dict[str, Any]]


def advise(made: Forecast, ground: Ground, runs: int = RUNS, seed: int = SEED) -> Advice:
    """Advise on a forecast; the changes are tried on the same luck as the forecast had."""
    binds = binding(made, ground, runs, seed)
    crew = made.crew
    held = f"{_THING[binds]}."
    if made.feasible:
        text = (
            f"One pour goes: the wet edge keeps {minutes(made.margin_s)} in hand, 95 times in 100. "
            f"{held}"
        )
        if made.margin_s < 0.1 * crew.working_s:
            text += " That is little: time one batch before you begin."
        return Advice(binds, text, [])
    tried = []
    for name, changed in changes(crew):
        try:
            then = forecast(ground, changed, runs, seed)
        except BadInput:  # a bay for every batch and more, a room full of people
            continue
        tried.append({"change": name, "margin_s": then.margin_s, "feasible": then.feasible})
        if then.feasible:
            break
    safe = next((one for one in tried if one["feasible"]), None)
    needed_s = 60.0 * math.ceil(made.age_p95_s / 60.0)
    slower = f"a product with at least {minutes(needed_s)} of working time"
    tried.append({"change": slower, "margin_s": needed_s - made.age_p95_s, "feasible": True})
    text = (
        f"Not in one pour: the wet edge would be {minutes(-made.margin_s)} too old at its worst "
        f"place. {held} "
    )
    if safe is not None:
        text += f"Cheapest change that makes it safe: {safe['change']}. Or {slower}."
    else:
        text += f"No change of crew or bays that was tried makes it safe: take {slower}."
    return Advice(binds, text, tried)
