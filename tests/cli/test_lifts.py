"""A dip of 1 1/2 in that one lift can't fill: plan, markers, pour, lift by lift."""

import math
from pathlib import Path

import pytest

from tests.cli.conftest import Run

CREW = ("--mixers", "1", "--crew", "3", "--runs", "100")


@pytest.fixture
def dipped(run: Run) -> Run:
    rows = [
        f"P{i}{j},{150 + i * 660},{150 + j * 700},"
        f"{1200 + 2 * math.sin(i) + 38 * math.exp(-(math.hypot(i - 4, j - 4) ** 2) / 2):.2f}"
        for i in range(6)
        for j in range(7)
    ]
    Path("f.csv").write_text("label,x,y,reading\n" + "\n".join(rows) + "\n")
    new = ("--room", "3.6m,4.5m", "--units", "mm", "--door", "1m,0m,0.9m", "--waste", "5%")
    assert run("new", *new, "--product", "plain example").code == 0
    assert run("import", "f.csv", "--unit", "mm").code == 0
    return run


def test_a_deep_dip_takes_two_lifts(dipped: Run) -> None:
    run = dipped
    plan = run("plan", "--json").json
    first, last = plan["lifts_plan"]
    assert plan["lifts"] == 2
    assert (last["a"], last["b"], last["c"]) == tuple(plan["plane"][key] for key in "abc")
    assert first["volume_l"] + last["volume_l"] == pytest.approx(plan["volume_l"]["mean"])
    assert first["bags"] + last["bags"] == plan["bags"]["p50"]
    assert max(first["max_mm"], last["max_mm"]) <= 25.4 + 1e-6
    assert first["area_m2"] < last["area_m2"] == pytest.approx(16.2)
    every = run("markers", "--json").json["markers"]
    low = run("markers", "--lift", "1", "--json").json["markers"]
    assert 0 < len(low) < len(every)
    assert all(one["target_reading_mm"] == pytest.approx(-first["a"]) for one in low)
    assert all(1.0 <= one["stick_out_mm"] <= first["max_mm"] + 1e-6 for one in low)
    said = run("set", "--lift", "2", "--typed", typed="")
    assert (said.code, "laid out for lift 1" in said.err) == (1, True)

    for words in (("markers",), ("pour", "plan", *CREW)):
        refused = run(*words, "--lift", "3")
        assert (refused.code, "there is no lift 3" in refused.err) == (2, True)

    assert not run("pour", "plan", *CREW, "--json").json["feasible"]  # all at once is too deep
    poured = run("pour", "plan", *CREW, "--lift", "1", "--json").json
    assert poured["lift"] == 1
    assert sum(one["volume_l"] for one in poured["batches"]) == pytest.approx(first["volume_l"])
    assert poured["feasible"]
    done = run("pour", "run", "--lift", "1", typed="batch\nfront 1\nstop\n")
    assert "Lift 2 goes on from" in done.out
    assert "rig pour plan --lift 2" in run("pour", "run", "--lift", "2", typed="").err
    second = run("pour", "plan", *CREW, "--lift", "2", "--json").json
    assert any("no sooner than 4 h" in text for text in second["warnings"])
    assert sum(one["volume_l"] for one in second["batches"]) == pytest.approx(last["volume_l"])
    assert "has not had its time" in run("pour", "run", "--lift", "2", typed="").out
    high = run("markers", "--lift", "2", "--json").json["markers"]
    assert [one["label"] for one in high] == [one["label"] for one in every]
    assert max(one["stick_out_mm"] for one in high) <= 25.4 + 1e-6  # they stand on lift 1
