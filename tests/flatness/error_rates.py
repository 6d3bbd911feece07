"""Do verdicts keep their stated error rates? Random floors near the limit, surveyed and judged.

`python -m tests.flatness.error_rates 300` prints the table, `--worlds 30` that of so many floors of
each kind of `tests/surface/worlds.py`, shot at 18 in and 3 ft in turn. Floors are made by other
means than the model under test (random waves, spots of roughness), scaled so that their true worst
gap under a 10 ft straightedge is 0.6 to 1.5 times the limit; what counts as true is the worst gap
on a fine raster with the roughness in it. Nothing here is from a standard but the meaning of a
verdict: of the floors called in, at least the confidence must conform, and of those called out none
more than 1 less the confidence may.
"""

import sys
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rig.flatness.field import Field, field_of
from rig.flatness.measures.edges import EdgeRule
from rig.flatness.model import fit_surface, model_of
from rig.flatness.rules import load_rule
from rig.flatness.straightedge import worst_placement
from rig.room import room
from tests.kinds import Floats, there
from tests.surface.worlds import KINDS, ROOMS, make_world

ROOM = room(3657.6, 4572.0)
RULE = load_rule("click-lock")
assert isinstance(RULE, EdgeRule)
LONGEST_MM = 5855.0
EDGES, LIMIT_MM = RULE.edges(LONGEST_MM), RULE.limits_mm[0]
FINE_MM = 50.8
SPACINGS_MM = (457.2, 914.4)


def waves(rng: np.random.Generator) -> Callable[..., Any]:
    count = 120
    wave = rng.standard_normal((count, 2)) / rng.uniform(700, 1800)
    phase = rng.uniform(0, 2 * np.pi, count)
    return lambda x, y: np.cos(np.outer(x, wave[:, 0]) + np.outer(y, wave[:, 1]) + phase).sum(1)


def grid(spacing_mm: float, span_mm: float) -> Floats:
    count = int(np.ceil((span_mm - 304.8) / spacing_mm - 1e-9)) + 1
    return np.linspace(152.4, span_mm - 152.4, count)


def sized(fine: Field, rng: np.random.Generator) -> tuple[float, bool]:
    """Factor that brings a floor's worst gap near the limit, and whether it then conforms."""
    worst = worst_placement(fine, ROOM, EDGES, 60, LONGEST_MM)
    if worst is None:  # a crown: an edge rests on it anywhere
        return 1.0, True
    size = rng.uniform(0.6, 1.5) * LIMIT_MM / worst.gap_mm
    return size, size * worst.gap_mm <= LIMIT_MM


def judged(
    x: Floats, y: Floats, z: Floats, noise: float, rng: np.random.Generator, draws: int
) -> tuple[str, float]:
    """Return the verdict on shots: its word and its chance."""
    surface = fit_surface(x, y, z, np.full(len(x), noise))
    model = model_of(surface, ROOM, x, y, noise, rng, draws, looks=(), built=True)
    verdict = RULE.judge(ROOM, model, 0.95)
    return verdict.word, verdict.chance


def one_floor(rng: np.random.Generator, spacing_mm: float, draws: int) -> tuple[str, float, bool]:
    """Return the verdict's word, its chance, and whether the floor truly conforms."""
    smooth = waves(rng)
    rough_mm = rng.choice([0.0, 0.1, 0.2])
    fine = field_of(ROOM, FINE_MM, smooth)
    size, _ = sized(fine, rng)
    rough = rough_mm * rng.standard_normal(fine.z_mm.shape)
    floor = Field(0.0, 0.0, FINE_MM, size * fine.z_mm + rough)
    conforms = there(worst_placement(floor, ROOM, EDGES, 60, LONGEST_MM)).share <= 1.0
    x, y = (a.ravel() for a in np.meshgrid(grid(spacing_mm, 3657.6), grid(spacing_mm, 4572.0)))
    # The rod's foot stands on the nearest spot of the fine raster.
    foot = floor.at(np.rint(x / FINE_MM) * FINE_MM, np.rint(y / FINE_MM) * FINE_MM)
    noise = 0.2
    z = foot + noise * rng.standard_normal(len(x))
    return *judged(x, y, z, noise, rng, draws), conforms


def one_world(kind: str, number: int, seed: int, draws: int = 200) -> tuple[str, float, bool]:
    """Return the same of a floor that was built, of a kind, scaled to near the limit."""
    rng = np.random.default_rng([seed, list(KINDS).index(kind), number])
    built = replace(ROOMS[0], spacing_mm=SPACINGS_MM[number % 2])
    world = make_world(kind, rng, built)
    size, conforms = sized(field_of(ROOM, FINE_MM, world.at), rng)
    x, y = built.grid()
    noise = 0.3
    z = size * world.at(x, y) + noise * rng.standard_normal(len(x))
    return *judged(x, y, z, noise, rng, draws), conforms


def run_worlds(each: int = 30, seed: int = 1) -> None:
    print(
        f"{'kind':<10}{'in':>4}{'wrong':>7}{'out':>5}{'wrong':>7}{'unsure':>8}{'chance':>8}{'conform':>9}"
    )
    for kind in KINDS:
        told = [one_world(kind, n, seed) for n in range(each)]
        count = [sum(word == name for word, *_ in told) for name in ("in", "out", "unsure")]
        wrong_in = sum(word == "in" and not good for word, _, good in told)
        wrong_out = sum(word == "out" and good for word, _, good in told)
        chance, good = (float(np.mean([row[n] for row in told])) for n in (1, 2))
        print(
            f"{kind:<10}{count[0]:>4}{wrong_in:>7}{count[1]:>5}{wrong_out:>7}{count[2]:>8}"
            f"{chance:>8.2f}{good:>9.2f}",
            flush=True,
        )


def rates(
    count: int, seed: int, draws: int = 200
) -> tuple[NDArray[Any], Floats, NDArray[np.bool_]]:
    """Words and truth of so many floors, both spacings in turn."""
    rng = np.random.default_rng(seed)
    told = [one_floor(rng, SPACINGS_MM[k % 2], draws) for k in range(count)]
    word = np.array([row[0] for row in told])
    return word, np.array([row[1] for row in told]), np.array([row[2] for row in told])


def run(count: int = 300, seed: int = 1) -> None:
    word, chance, conforms = rates(count, seed)
    print(f"{'spacing':<10}{'verdict':<8}{'floors':>7}{'conform':>9}{'wrong':>7}")
    for k, spacing in enumerate(SPACINGS_MM):
        for name in ("in", "unsure", "out"):
            here = word[k::2] == name
            good = int(conforms[k::2][here].sum())
            wrong = {"in": here.sum() - good, "out": good}.get(name, "")
            print(f"{spacing:<10g}{name:<8}{here.sum():>7}{good:>9}{wrong:>7}")
    expected = float(np.mean(chance))
    print(f"mean chance {expected:.3f}, share that conforms {conforms.mean():.3f}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--worlds"]:
        run_worlds(*(int(word) for word in sys.argv[2:4]))
    else:
        run(*(int(word) for word in sys.argv[1:3]))
