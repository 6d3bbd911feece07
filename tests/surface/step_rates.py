"""Are steps of floors named where they are, and never where there are none?

`python -m tests.surface.step_rates 60` names steps on so many floors of each kind of
`tests/surface/worlds.py`, rooms in turn. Nothing here is from a standard. `SURE` of
`rig.surface.steps` was chosen with seed 31: judge the table on others.
"""

import sys

import numpy as np

from rig.surface.floor_model import floor_model
from rig.surface.steps import Step, find_step
from tests.surface.worlds import KINDS, ROOMS, World, make_world

_FINE_MM = 10.0


def off_mm(step: Step, world: World) -> float:
    """How far the greatest jump of a floor across the line of a step lies beside it, median.

    Looked for at nine places along the line, as far as half a metre to either side of where the
    step may lie.
    """
    turn = np.radians(step.bearing_deg)
    reach = step.within_mm + 500.0
    side = np.arange(-reach, reach, _FINE_MM)
    found = []
    for along in np.linspace(-1000.0, 1000.0, 9):
        x = step.x_mm + along * np.cos(turn) - side * np.sin(turn)
        y = step.y_mm + along * np.sin(turn) + side * np.cos(turn)
        jump = np.abs(np.diff(world.built(x, y)))
        found.append(abs(side[int(np.argmax(jump))] + _FINE_MM / 2.0))
    return float(np.median(found))


def named(kind: str, number: int, seed: int) -> tuple[Step | None, float]:
    """The step that is named on a floor, and how far off the line of it the floor's jump is."""
    room = ROOMS[number % len(ROOMS)]
    rng = np.random.default_rng([seed, list(KINDS).index(kind), number])
    world = make_world(kind, rng, room)
    x, y = room.grid()
    noise = rng.uniform(0.3, 1.0)
    z = world.at(x, y) + noise * rng.standard_normal(len(x))
    step = find_step(floor_model().fit(x, y, z, noise))
    return step, np.nan if step is None else off_mm(step, world)


def run(each: int = 60, seed: int = 1) -> dict[str, float]:
    """Print the share of floors of each kind on which a step is named; return the shares."""
    print(f"{'kind':<10}{'named %':>9}{'where it is %':>15}")
    shares = {}
    for kind in KINDS:
        told = [named(kind, n, seed) for n in range(each)]
        steps = [(step, off) for step, off in told if step is not None]
        shares[kind] = len(steps) / each
        near = [off <= step.within_mm + 150.0 for step, off in steps]
        where = f"{100 * np.mean(near):15.0f}" if kind == "step" and near else ""
        print(f"{kind:<10}{100 * shares[kind]:9.1f}{where}", flush=True)
    others = [share for kind, share in shares.items() if kind != "step"]
    print(f"{'no step':<10}{100 * np.mean(others):9.1f}")
    return shares


if __name__ == "__main__":
    run(*(int(word) for word in sys.argv[1:3]))
