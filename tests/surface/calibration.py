"""Does the stated doubt hold? Many made-up floors are surveyed and the truth is compared.

`run(n_floors, seed)` prints a table by kind of floor; `python -m tests.surface.calibration 500`.
`run_worlds` does so over the floors of `tests.surface.worlds`, which are not made from the model:
`python -m tests.surface.calibration --worlds 500` judges so many of each kind, rooms in turn;
`--told 90 77` prints the tables of `rig guide stated` anew (`run_told`).
Nothing here is from a standard: the floors are made by other means than the model under test.
"maximum" asks whether the truth lies under `upper_mm`; what counts as true is the highest of the
2 in raster's nodes, walls and roughness included. Bowls rise 6 to 24 mm to the farthest corner;
shots stand 2 to 4 ft apart with errors of 0.2 to 1.5 mm. A ridge between two rows of shots is seen
by neither: that kind may be kept less often, down to the point where chance ends (0.1 % of the
binomial), and `broken` counts the floors of each kind that the tool itself says it does not fit.
The nugget's prior was chosen with seeds 7 and 11, smoothness and bowl with 5 and 21; of worlds, the
priors of lines with seed 11 and those of kinds that are told (`rig.surface.floor_kinds`) with 31:
judge the table on others.
`--pairs 90` prints the same with a tenth of the shots paired (`rig grid --pairs`).
"""

import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

from rig.quantities.bags import BagSheet
from rig.quantities.safety import PLANE_SD_MM, WASTE_SD_SHARE, YIELD_SD_SHARE, safety_stock
from rig.room import Outline
from rig.surface.floor_kinds import priors_of
from rig.surface.floor_model import floor_model
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.hidden import Ceiling, chance_beside_hump, chance_on_curled_slab
from rig.surface.high_point import find_extremes
from rig.surface.look_out import breaks_the_model
from rig.survey.grid import lay_out
from tests.kinds import Floats
from tests.surface.worlds import EDGE_MM as WALL_MM
from tests.surface.worlds import KINDS as WORLDS
from tests.surface.worlds import PATCH_MM, ROOMS, UNSEEN, Room, joists_along, make_world

WIDTH_MM, LENGTH_MM = 12 * 304.8, 15 * 304.8
EDGE_MM, FINE_MM = 152.4, 50.8
KINDS = ("smooth", "ridged", "crowned", "dished")
QUANTITIES = ("maximum", "volume", "marker")


@dataclass
class Floor:
    """Smooth part as a function, roughness as one value for each 2 in patch."""

    smooth: Callable[[Floats, Floats], Floats]
    rough: Floats

    def at(self, x: Floats, y: Floats) -> Floats:
        rows, columns = self.rough.shape
        i = np.clip((y // FINE_MM).astype(int), 0, rows - 1)
        j = np.clip((x // FINE_MM).astype(int), 0, columns - 1)
        return np.asarray(self.smooth(x, y) + self.rough[i, j])


def cells(step_mm: float) -> tuple[Floats, Floats]:
    across = np.arange(step_mm / 2, WIDTH_MM, step_mm)
    along = np.arange(step_mm / 2, LENGTH_MM, step_mm)
    x, y = np.meshgrid(across, along)
    return x.ravel(), y.ravel()


def fine_nodes() -> tuple[Floats, Floats]:
    """The 2 in raster's nodes, walls included: the truth for the highest place."""
    x, y = np.meshgrid(
        np.linspace(0, WIDTH_MM, round(WIDTH_MM / FINE_MM) + 1),
        np.linspace(0, LENGTH_MM, round(LENGTH_MM / FINE_MM) + 1),
    )
    return x.ravel(), y.ravel()


def survey_grid(spacing_mm: float) -> tuple[Floats, Floats]:
    def line(span: float) -> Floats:
        count = int(np.ceil((span - 2 * EDGE_MM) / spacing_mm - 1e-9)) + 1
        return np.linspace(EDGE_MM, span - EDGE_MM, count)

    x, y = np.meshgrid(line(WIDTH_MM), line(LENGTH_MM))
    return x.ravel(), y.ravel()


def undulation(rng: np.random.Generator, sd_mm: float, length_mm: float) -> Callable[..., Any]:
    """Gaussian bumps' spectrum by 200 random waves: infinitely smooth, so not the model's own."""
    wave = rng.standard_normal((200, 2)) / length_mm
    phase = rng.uniform(0, 2 * np.pi, 200)
    size = sd_mm * np.sqrt(2 / 200)

    def waves(x: Floats, y: Floats) -> Floats:
        turns = np.outer(x, wave[:, 0]) + np.outer(y, wave[:, 1]) + phase
        return np.asarray(size * np.cos(turns).sum(axis=1))

    return waves


def make_floor(kind: str, rng: np.random.Generator) -> Floor:
    slope = rng.normal(0, 1.5e-3, 2)
    sd = {"smooth": rng.uniform(1.5, 6)}.get(kind, rng.uniform(0.5, 1.5))
    waves = undulation(rng, sd, rng.uniform(500, 1800))
    height, turn = rng.uniform(4, 15), rng.uniform(0, np.pi)
    middle = np.array([WIDTH_MM, LENGTH_MM]) * rng.uniform(0.3, 0.7, 2)
    far2 = np.sum(np.maximum(middle, [WIDTH_MM, LENGTH_MM] - middle) ** 2)
    wide = rng.uniform(250, 600)

    def smooth(x: Floats, y: Floats) -> Floats:
        z = slope[0] * x + slope[1] * y + waves(x, y)
        right, up = x - middle[0], y - middle[1]
        if kind == "ridged":
            away = right * np.cos(turn) + up * np.sin(turn)
            z = z + height * np.exp(-0.5 * (away / wide) ** 2)
        elif kind in ("crowned", "dished"):
            bowl = 1.6 * height * (right**2 + up**2) / far2
            z = z - bowl if kind == "crowned" else z + bowl
        return np.asarray(z)

    rough_sd = rng.choice([0.0, 0.0, 0.2, 0.5])
    shape = (round(LENGTH_MM / FINE_MM), round(WIDTH_MM / FINE_MM))
    return Floor(smooth, rough_sd * rng.standard_normal(shape))


def judge(
    kind: str, rng: np.random.Generator, raster: tuple[Floats, Floats], draws: int, **options: Any
) -> tuple[NDArray[np.bool_], Floats, bool]:
    """One floor: is the maximum under its bound, volume and a marker inside their ranges."""
    floor = make_floor(kind, rng)
    x, y = survey_grid(rng.uniform(2, 4) * 304.8)
    noise = rng.uniform(0.2, 1.5)
    z = floor.at(x, y) + noise * rng.standard_normal(len(x))
    model = (options.get("model") or floor_model)().fit(x, y, z, noise)

    truth = floor.at(*cells(FINE_MM))
    highest = floor.at(*fine_nodes()).max()
    cell_x, cell_y = raster
    area = WIDTH_MM * LENGTH_MM / len(cell_x)
    high = find_extremes(model, cell_x, cell_y, area, rng, 0.95, draws).high
    volume, volume_sd = model.integral(cell_x, cell_y, np.full(len(cell_x), area))
    spot = rng.uniform(0, WIDTH_MM, 1), rng.uniform(0, LENGTH_MM, 1)
    mean, sd = model.predict(*spot, nugget=True)
    off = np.array(
        [
            highest - high.upper_mm,
            abs(truth.mean() * area * len(cell_x) - volume) / volume_sd,
            abs(floor.at(*spot)[0] - mean[0]) / sd[0],
        ]
    )
    slack = np.array([high.upper_mm - highest, volume_sd / (area * len(cell_x)), sd[0]])
    return off <= [0.0, 1.96, 1.96], slack, len(breaks_the_model(model)) > 0


def coverage(
    n_floors: int, seed: int, step_mm: float = 152.4, draws: int = 1000, **options: Any
) -> tuple[NDArray[Any], ...]:
    """Share kept, shape (n_floors, 3), kinds taken in turn; slack in mm; whether it was warned."""
    rng = np.random.default_rng(seed)
    raster = cells(step_mm)
    judged = [judge(KINDS[i % 4], rng, raster, draws, **options) for i in range(n_floors)]
    return tuple(np.array(part) for part in zip(*judged, strict=True))


def run(n_floors: int = 500, seed: int = 1, **options: Any) -> Floats:
    """Print coverage of what is stated as 95 %, by kind of floor; return the pooled shares."""
    kept, slack, warned = coverage(n_floors, seed, **options)

    def line(name: str, values: Floats | tuple[str, ...], form: str) -> None:
        print(f"{name:<24}" + "".join(format(value, form) for value in values))

    line("95 % stated; kept in %", (*QUANTITIES, "broken"), ">10")
    for start, kind in enumerate(KINDS):
        part = kept[start::4]
        shares = [*part.mean(axis=0), warned[start::4].mean()]
        few = part.sum(axis=0) < binom.ppf(0.001, len(part), 0.95)
        name = kind + ("  TOO FEW" if few.any() else "")
        line(name, 100 * np.array(shares), "10.1f")
    line(f"all {n_floors}", 100 * np.array([*kept.mean(axis=0), warned.mean()]), "10.1f")
    line("median slack or sd, mm", np.median(slack, axis=0), "10.2f")
    return np.asarray(kept.mean(axis=0))


WORLD_QUANTITIES = ("cover", "volume", "stick-out", "bags")
MIN_COVER_MM = 6.0
SPOTS = 8
SHEET = BagSheet(yield_l=13.5, mass_kg=25.0, water_l=5.0, waste_share=0.05)


@dataclass(frozen=True, eq=False)
class Judged:
    """One floor: share kept and width (mm) of cover, volume, stick-out, bags; was it warned.

    Widths are the bound over the highest place, the sd of the mean floor, the sd of a stick-out,
    and the compound that is held against doubt over the area. `told` is the chance that was told
    of nothing higher than what is highest; the others are the chances of the cover at 95 % that
    `rig plan` tells beside an unseen hump and on a slab with curled joints, where asked for.
    """

    kept: Floats
    width: Floats
    warned: bool
    told: float
    beside_hump: float | None = None
    on_slab: float | None = None


def judge_world(
    kind: str, number: int, seed: int, step_mm: float = 228.6, draws: int = 400, **options: Any
) -> tuple[Floats, Floats, bool]:
    """One floor: share kept and width of cover, volume, stick-out, bags; was it warned."""
    one = judge_floor(kind, number, seed, step_mm, draws, **options)
    return one.kept, one.width, one.warned


def judge_floor(
    kind: str,
    number: int,
    seed: int,
    step_mm: float = 228.6,
    draws: int = 400,
    model: Callable[[], GaussianProcess] = floor_model,
    *,
    hidden: bool = False,
    layout: Callable[[Room], tuple[Floats, Floats]] = Room.grid,
) -> Judged:
    """Survey one floor, state all of it at 95 %, and hold that against the truth.

    The room is `ROOMS` in turn by number. The poured plane, the bags' yield and waste stray as
    `rig.quantities.safety` states.
    """
    room = ROOMS[number % len(ROOMS)]
    rng = _rng(kind, number, seed)
    world = make_world(kind, rng, room)
    x, y = layout(room)
    noise = rng.uniform(0.3, 1.0)
    z = world.at(x, y) + noise * rng.standard_normal(len(x))
    truth_mm = float(world.at(*room.open_raster(PATCH_MM)).mean())
    highest = float(world.at(*room.open_nodes(PATCH_MM)).max())
    spots = rng.uniform(0, room.wide_mm, SPOTS), rng.uniform(0, room.long_mm, SPOTS)
    strays = rng.standard_normal(3)

    surface = model().fit(x, y, z, noise)
    cell_x, cell_y = (v.ravel() for v in np.broadcast_arrays(*room.open_raster(step_mm)))
    floor_mm2 = room.wide_mm * room.long_mm
    area = np.full(len(cell_x), floor_mm2 / len(cell_x))
    found = find_extremes(surface, cell_x, cell_y, area, rng, 0.95, draws)
    upper = found.high.upper_mm
    volume, volume_sd = surface.integral(cell_x, cell_y, area)
    mean, sd = surface.predict(*spots, nugget=True)

    plane = upper + MIN_COVER_MM
    litres = floor_mm2 * 1e-6
    stock = safety_stock(plane * litres - volume * 1e-6, volume_sd * 1e-6, litres, SHEET)
    need = (plane + PLANE_SD_MM * strays[0] - truth_mm) * litres * (1 + YIELD_SD_SHARE * strays[1])
    need *= 1 + SHEET.waste_share * (1 + WASTE_SD_SHARE * strays[2])
    kept = [
        highest <= upper,
        abs(truth_mm * floor_mm2 - volume) <= 1.96 * volume_sd,
        np.mean(np.abs(world.at(*spots) - mean) <= 1.96 * sd),
        need <= stock.need_l(0.95),
    ]
    width = [upper - highest, volume_sd / floor_mm2, float(np.mean(sd)), stock.stock_l / litres]
    over = Ceiling(cell_x, cell_y, area, found.highest_mm, np.full(len(cell_x), upper))
    return Judged(
        np.array(kept, dtype=float),
        np.array(width),
        len(breaks_the_model(surface)) > 0,
        float(np.mean(found.highest_mm.max(axis=1) <= highest)),
        chance_beside_hump(surface, over, rng) if hidden else None,
        chance_on_curled_slab(surface, over, rng) if hidden else None,
    )


def _rng(kind: str, number: int, seed: int) -> np.random.Generator:
    return np.random.default_rng([seed, list(WORLDS).index(kind), number])


def run_worlds(each: int, seed: int = 1, kinds: tuple[str, ...] = (), **options: Any) -> Floats:
    """Print what is kept of a stated 95 %, with widths, by kind and by room; return the shares.

    The last rows pool the kinds, without those that no grid sees.
    """
    kinds = kinds or tuple(WORLDS)
    judged = {k: [judge_world(k, n, seed, **options) for n in range(each)] for k in kinds}
    columns = (*WORLD_QUANTITIES, "warned")
    print(f"{'95 % stated; kept in %, width in mm':<36}" + "".join(f"{c:>14}" for c in columns))

    def row(name: str, floors: list[tuple[Floats, Floats, bool]]) -> Floats:
        kept = np.mean([floor[0] for floor in floors], axis=0)
        width = np.median([floor[1] for floor in floors], axis=0)
        told = "".join(f"{100 * k:7.1f} {w:6.2f}" for k, w in zip(kept, width, strict=True))
        print(f"{name:<36}{told}{100 * np.mean([floor[2] for floor in floors]):14.1f}")
        return np.array(kept)

    shares = []
    for kind, floors in judged.items():
        shares.append(row(kind, floors))
        for n, room in enumerate(ROOMS[: len(floors)]):
            row(f"  {room.name}", floors[n :: len(ROOMS)])
    seen = [floor for kind, floors in judged.items() if kind not in UNSEEN for floor in floors]
    for n, room in enumerate(ROOMS):
        row(
            f"all seen, {room.name}",
            [f for k, floors in judged.items() if k not in UNSEEN for f in floors[n :: len(ROOMS)]],
        )
    row("all seen", seen)
    return np.array(shares)


LEVELS = (0.50, 0.80, 0.90, 0.95, 0.98)


def run_told(each: int, seed: int = 1, kinds: tuple[str, ...] = ()) -> dict[str, list[Judged]]:
    """Print the tables of `rig guide stated` as that has them; return what they are made of.

    What is kept of a stated 95 %; what is kept of every chance that is told; what is told should
    there be a hump or a slab, beside what is kept; floors of which the kind is told.
    """
    kinds = kinds or tuple(WORLDS)
    judged = {k: [judge_floor(k, n, seed, hidden=True) for n in range(each)] for k in kinds}

    def row(name: str, *columns: str) -> None:
        print("| " + " | ".join((name, *columns)) + " |", flush=True)

    def head(*columns: str) -> None:
        row(*columns)
        row(*("---" for _ in columns))

    def share(values: Any) -> str:
        return f"{100 * float(np.mean(values)):.0f}"

    def hidden(chances: Iterable[float | None]) -> list[float]:
        return [0.95 if chance is None else chance for chance in chances]

    def whole(name: str, floors: list[Judged]) -> None:
        middle = np.median([one.width for one in floors], axis=0)
        kept = np.mean([one.kept for one in floors], axis=0)
        row(name, *(f"{share(k)} ({w:.2f})" for k, w in zip(kept, middle, strict=True)))

    seen = [one for kind in kinds if kind not in UNSEEN for one in judged[kind]]
    head("floor", *WORLD_QUANTITIES)
    for kind in kinds:
        whole(kind, judged[kind])
    whole("all that a grid sees", seen)
    for left in kinds:
        rest = [one for k in kinds if k not in (left, *UNSEEN) for one in judged[k]]
        if rest:
            kept = np.mean([one.kept for one in rest], axis=0)
            row(f"without {left}", *(share(value) for value in kept))
    print()
    head("floor, chance not unknown", *(share(level) for level in LEVELS), "beside hump", "on slab")
    for name, floors in (*judged.items(), ("all that a grid sees", seen)):
        known = [one for one in floors if not one.warned]
        if known:
            kept_of = (share([one.told <= level for one in known]) for level in LEVELS)
            row(
                f"{name} ({len(known)})",
                *kept_of,
                share(hidden(one.beside_hump for one in known)),
                share(hidden(one.on_slab for one in known)),
            )
    print()
    head("floor, told", *WORLD_QUANTITIES)
    for kind in [kind for kind in kinds if kind in TOLD]:
        models = [TOLD[kind](_rng(kind, n, seed)) for n in range(each)]
        whole(kind, [judge_floor(kind, n, seed, model=one) for n, one in enumerate(models)])
    return judged


def _told_slab(_: np.random.Generator) -> Callable[[], GaussianProcess]:
    return partial(floor_model, priors=priors_of("concrete"))


def _told_sheets(rng: np.random.Generator) -> Callable[[], GaussianProcess]:
    return partial(floor_model, priors=priors_of("sheets", joists_along(rng)))


TOLD = {"slab": _told_slab, "sheets": _told_sheets}


def with_pairs(room: Room) -> tuple[Floats, Floats]:
    """Places of the shots by `rig grid --pairs`: a tenth of them with another 9 in off."""
    width, length = room.wide_mm, room.long_mm
    outline = Outline(((0.0, 0.0), (width, 0.0), (width, length), (0.0, length)))
    points = lay_out(outline, room.spacing_mm, WALL_MM, pairs=True)
    return np.array([p.x_mm for p in points]), np.array([p.y_mm for p in points])


if __name__ == "__main__":
    if sys.argv[1:2] in (["--worlds"], ["--pairs"]):
        each, seed = [*map(int, sys.argv[2:4]), 1][:2]
        run_worlds(each, seed, layout=with_pairs if sys.argv[1] == "--pairs" else Room.grid)
    elif sys.argv[1:2] == ["--told"]:
        each, seed = [*map(int, sys.argv[2:4]), 1][:2]
        run_told(each, seed)
    else:
        run(*(int(word) for word in sys.argv[1:3]))
