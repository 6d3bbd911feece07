"""The whole job over a real pseudo-terminal, held against the simulated truth."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from typing import Any

import pytest


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """What the demo of one seed tells over each link; both run at once.

    Readings of this seed sit on limits, where the last bit of a number decides.
    """
    runs = {}
    for link in ("serial", "ble"):
        words = ["--seed", "6", "--link", link, "--out", str(tmp_path_factory.mktemp(link))]
        runs[link] = subprocess.Popen(
            [sys.executable, "-m", "rig.cli", "demo", *words, "--json"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
    told = {}
    for link, run in runs.items():
        out, err = run.communicate(timeout=220)
        assert (run.returncode, err) == (0, "")
        told[link] = json.loads(out)
    return told


@pytest.mark.timeout(240)
@pytest.mark.parametrize("link", ["serial", "ble"])
def test_the_demo_ends_near_its_truth(told: Any, link: Any) -> None:
    result, truth, apart = (told[link][part] for part in ("result", "truth", "apart"))
    assert result["markers_set"] >= 6
    assert apart["markers_worst_mm"] < 1.0
    assert apart["shots_worst_mm"] < 0.6
    half = (result["volume_l"]["high"] - result["volume_l"]["low"]) / 2
    assert abs(apart["volume_l"]) < 2 * half  # four standard deviations: a broken run, not bad luck
    assert truth["min_cover_mm"] > 6.35 - 1.0
    assert truth["bags"] <= result["bags"]["p95"] + 1
    assert all(os.path.exists(path) for path in told[link]["files"])
    second = result["second_room"]
    assert second["bags"]["patch"] < second["bags"]["pour"]
    assert second["chance_patched"] >= 0.95
    house = second["house"]
    assert house["bags"] <= house["bags_apart"]
    assert set(house["lifts"]) == {"room 1", "hall"}
    names = {os.path.basename(path) for path in told[link]["files"]}
    assert {"report.html", "report.pdf", "report-floor.svg", "floor.dxf", "shots.csv"} <= names
    assert {"customer.html", "customer.pdf", "buy.txt", "prices.toml"} <= names


@pytest.mark.timeout(240)
def test_a_seed_gives_the_same_numbers_over_both_links(told: Any) -> None:
    serial, ble = ({k: told[link][k] for k in ("truth", "result", "apart")} for link in told)
    assert list(numbers(serial)) == pytest.approx(list(numbers(ble)), rel=1e-9, abs=1e-9)


def numbers(told: Any) -> Iterator[Any]:
    """Every number that the demo tells, in the order of its keys."""
    if isinstance(told, dict):
        for value in told.values():
            yield from numbers(value)
    else:
        yield told
