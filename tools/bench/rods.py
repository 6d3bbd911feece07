"""Several rods at 50 readings a second through a broker: what each reading costs, and how it grows.

Rods and boxes are simulated, on the same machine; each prompts at every reading.
"""

import statistics
import tempfile
from pathlib import Path

import numpy as np

from tools.endurance.site import Prompts, a_place, by_broker, lay_markers

RODS = (1, 2, 4, 8)
RATE_HZ, SECONDS = 50.0, 6.0


def run() -> list[dict[str, object]]:
    found = [_prompts(rods) for rods in RODS]
    rows = []
    for name, spent in (("session", "session_s"), ("broker", "broker_s")):
        each_ms = [1000.0 * getattr(one, spent) / one.readings for one in found]
        whole_s = [getattr(one, spent) for one in found]
        grows = float(np.polyfit(np.log(RODS), np.log(np.maximum(whole_s, 0.01)), 1)[0])
        shown = ", ".join(f"{ms:.2f}" for ms in each_ms)
        rows.append(
            {
                "what": f"growth of: {name}'s processor time, rods 1 to 8, exponent",
                "value": round(grows, 2),
                "against": f"aim 1 or less; {shown} ms a reading",
            }
        )
    for name in ("session", "box"):
        took = [1000.0 * statistics.median(getattr(one, f"at_{name}")) for one in found]
        rows.append(
            {
                "what": f"reading to prompt at the {name}, 8 rods, median ms",
                "value": round(took[-1], 1),
                "against": "rods 1, 2, 4: " + ", ".join(f"{ms:.1f}" for ms in took[:-1]) + " ms",
            }
        )
    return rows


def _prompts(rods: int) -> Prompts:
    with tempfile.TemporaryDirectory() as name, a_place(Path(name), rods) as place:
        job = Path(name, "set")
        job.mkdir()
        lay_markers(job)
        return by_broker(job, place, rods, RATE_HZ, SECONDS)
