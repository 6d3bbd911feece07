"""The invented crew: what it types follows from its yield, and the same seed says the same."""

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from simulated_devices import Refused
from simulated_devices.pour_crew import YIELD, read_plan, script


def plan(count: int = 20) -> dict[str, Any]:
    return {
        "batches": [{"volume_l": 12.0, "bags": 1.0} for _ in range(count)],
        "strips": [{"strip": k + 1, "share_end": (k + 1) / 10} for k in range(10)],
        "prepour": [{"key": "dam"}, {"key": "lath"}],
        "roles": {"mixing": 2},
        "yield_l": 12.0,
        "lead_s": 180.0,
        "interval_s": 90.0,
    }


def test_it_pours_until_the_floor_is_full_and_slows_while_a_mixer_is_out() -> None:
    words, truth = script(plan(), 1)
    batches = [at for at, word in words if word == "batch"]
    assert len(batches) == truth["bags"] == -(-20 * 100 // round(100 * YIELD))
    assert [word for _, word in words if word.startswith("front")][-1] == "front 10"
    assert words[-1][1] == "stop"
    assert "tick lath" not in [word for _, word in words]
    gaps = [b - a for a, b in pairwise(batches)]
    fails = truth["mixer_fails_after_batch"]
    assert min(gaps[fails - 1 : fails + 3]) > max(gaps[: fails - 1])
    assert [at for at, _ in words] == sorted(at for at, _ in words)
    assert script(plan(), 1) == (words, truth)


def test_a_file_that_is_no_plan_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    for text in ("{}", "no", json.dumps({"batches": []})):
        path.write_text(text)
        with pytest.raises(Refused, match="no plan"):
            read_plan(path)
