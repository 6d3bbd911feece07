"""An invented crew that pours by a plan: what it would type, and when; one of its mixers fails."""

import json
import math
import random
from pathlib import Path
from typing import Any

from simulated_devices import Refused

YIELD = 0.90
"""What a bag of this crew makes of what the plan counts on."""
FAILS_AFTER = 0.4
REPAIR_S = 15 * 60.0
LEFT_UNTICKED = "lath"


def script(plan: dict[str, Any], seed: int) -> tuple[list[tuple[float, str]], dict[str, Any]]:
    """Return (seconds, word) pairs, and what is really so.

    Parameters
    ----------
    plan : dict
        As `rig pour plan --json` prints it.
    seed : int
    """
    rng = random.Random(seed)
    batches, strips = plan["batches"], plan["strips"]
    volume_l = sum(batch["volume_l"] for batch in batches)
    yield_l = YIELD * plan["yield_l"]
    words = [
        (0.5 * k, f"tick {step['key']}")
        for k, step in enumerate(plan["prepour"])
        if step["key"] != LEFT_UNTICKED
    ]
    at = 60.0 + plan["lead_s"]
    fails = max(2, round(FAILS_AFTER * len(batches)))
    mends_s = math.inf
    share, row, n = 0.0, 0, 0
    while share < 1.0 and n < 3 * len(batches):
        n += 1
        words.append((at, "batch"))
        share += yield_l * plan["batches"][min(n, len(batches)) - 1]["bags"] / volume_l
        passed = sum(strip["share_end"] <= share + 1e-9 for strip in strips)
        if passed > row:
            row = passed
            words.append((at + 8.0, f"front {strips[row - 1]['strip']}"))
        if n == fails:
            mends_s = at + REPAIR_S
        slow = fails <= n and at < mends_s
        mixers = plan["roles"]["mixing"]
        pace = plan["interval_s"] * (mixers / max(mixers - 1, 0.5) if slow else 1.0)
        at += max(20.0, pace * rng.lognormvariate(0.0, 0.12))
    words.append((at, "stop"))
    return words, {"bags": n, "yield_l": yield_l, "mixer_fails_after_batch": fails}


def read_plan(path: Path) -> dict[str, Any]:
    """Read a pour plan's JSON, or refuse it."""
    try:
        plan = json.loads(path.read_text())
        if not plan["batches"]:
            raise KeyError("batches")
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise Refused(f"{path} is no plan of a pour: {error}.") from None
    return dict(plan)
