"""Set-ups tied by least squares: sparse beside numpy's dense solution, and how it grows.

The dense reference is `numpy.linalg.lstsq` on as many sights as it can take in a few seconds; both
must say the same to a thousandth of a micrometre.
"""

import time

import numpy as np

from rig.survey.setups import Sight, adjust


def run() -> list[dict[str, object]]:
    adjust([], network(5, 60, 6))  # imports
    rows = [_beside_dense()]
    for sights in (5_000, 10_000, 20_000, 40_000):
        took = _best(network(200, sights, sights // 10))
        rows.append(
            {
                "what": f"200 set-ups, {sights} sights",
                "value": f"{1000 * took:.0f} ms",
                "against": f"{1e6 * took / sights:.1f} µs a sight",
            }
        )
    return rows


def network(setups: int, sights: int, marks: int) -> list[Sight]:
    """Set-ups that each see many of the benchmarks; all see the first. Invented."""
    rng = np.random.default_rng(6)
    line, height = rng.uniform(-100.0, 100.0, setups), rng.uniform(-1000.0, -700.0, marks)
    at, of = rng.integers(0, setups, sights), rng.integers(0, marks, sights)
    at[:setups], of[:setups] = np.arange(setups), 0
    sd = rng.uniform(0.1, 1.0, sights)
    return [
        Sight(f"S{s}", f"B{b}", float(line[s] - height[b] + rng.normal(0.0, e)), float(e))
        for s, b, e in zip(at, of, sd, strict=True)
    ]


def _best(sights: list[Sight]) -> float:
    times = []
    for _ in range(3):
        begun = time.perf_counter()
        adjust([], sights)
        times.append(time.perf_counter() - begun)
    return min(times)


def _beside_dense() -> dict[str, object]:
    sights = network(100, 3_000, 300)
    took = _best(sights)
    names = list(dict.fromkeys(s.setup for s in sights))
    labels = list(dict.fromkeys(s.benchmark for s in sights))
    design = np.zeros((len(sights), len(names) + len(labels)))
    for row, s in enumerate(sights):
        design[row, names.index(s.setup)] = 1.0
        design[row, len(names) + labels.index(s.benchmark)] = -1.0
    weight = 1.0 / np.array([s.stderr_mm for s in sights])
    reading = np.array([s.reading_mm for s in sights])
    begun = time.perf_counter()
    dense, *_ = np.linalg.lstsq(design[:, 1:] * weight[:, None], reading * weight, rcond=None)
    reference = time.perf_counter() - begun
    found = [line.line_mm for line in adjust([], sights).lines[1:]]
    apart = float(np.max(np.abs(np.array(found) - dense[: len(found)])))
    assert apart < 1e-6, apart
    return {
        "what": "100 set-ups, 3000 sights, beside numpy.linalg.lstsq",
        "value": f"{1000 * took:.0f} ms",
        "against": f"{reference / took:.0f} times as fast, {apart:.0e} mm apart",
    }
