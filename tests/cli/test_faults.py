"""Each fault of the simulator's table, met by the command line over a cable and over Bluetooth."""

import json
import shutil
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import pytest

from simulated_devices.faults import FAULTS
from tests.bluetooth import SimulatedRod, rig, simulated

SPEED = "25"  # the whole world, installer included, so much faster than life

# fault → what must be told of it, by reason; None where all is as without it.
TOLD = {
    "drop=120:10": None,
    "lose=7": None,
    "corrupt=7": "damaged",
    "noise=7": "damaged",
    "flicker=0.05": None,
    "coarse": None,
    "stick=7:27": "stuck",
    "jump=60:11": "step",
    "battery": "battery",
    "duplicate=10": "repeated",
    "double": "repeated",
    "reorder=10": "repeated",
    "beam=6:5": None,
    "clock=8": None,
    "wrap=60": None,
    "unit=11": "unit",
}
# The true readings no longer tell the floor's height: told, and left to the installer.
UNTRUE = {"jump", "unit", "stick"}
LINES_ONLY = {"noend"}
ELSEWHERE = {"drift", "noisy", "jolt"}


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> dict[int, Path]:
    """Jobs of a small room with four and with nine points, made once."""
    folder = tmp_path_factory.mktemp("jobs")
    made = {}
    for points, spacing in ((4, "1.8m"), (9, "0.9m")):
        made[points] = folder / f"{points}.sqlite"
        words = ["--job", made[points], "--json"]
        assert rig("new", "--room", "2m,2m", "--units", "mm", *words)[0] == 0
        assert len(rig("grid", "--spacing", spacing, *words)[1][0]["points"]) == points
    return made


def simulator(
    link: str, *faults: str, words: list[str] | tuple[Any, ...] = ()
) -> AbstractContextManager[SimulatedRod]:
    given = [word for fault in faults for word in ("--fault", fault)]
    return simulated(link, "--seed", "3", "--rate", "20", "--speed", SPEED, *given, *words)


FOLLOW = ["--follow", "--mistakes", "0", "--room-mm", "2000,2000"]


def survey(
    job: Path,
    link: str,
    *faults: str,
    words: list[str] | tuple[Any, ...] = (),
    options: list[str] | tuple[Any, ...] = (),
) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    truth = job.parent / "truth.json"
    with simulator(link, *faults, words=[*FOLLOW, "--truth", str(truth), *words]) as rod:
        code, told, err = rig(
            "survey", "--job", job, *rod.source, "--speed", SPEED, "--json", *options, rod=rod
        )
    assert code == 0, err
    return told, json.loads(truth.read_text())


def worst_mm(told: list[dict[str, Any]], truth: dict[str, Any]) -> float:
    shots = {event["label"]: event["reading_mm"] for event in told if event["event"] == "shot"}
    true = {row["label"]: row["true_reading_mm"] for row in truth["shots"] if not row["undone"]}
    assert len(shots) == len(true) >= 4
    return float(max(abs(shots[label] - true[label]) for label in shots))


def reasons(told: list[dict[str, Any]]) -> list[str]:
    return [event["reason"] for event in told if event["event"] == "trouble"]


def of_the_line(told: list[dict[str, Any]]) -> list[str]:
    """Troubles but that of a walk: half a second of a held-up machine is twelve of this rod's."""
    return [reason for reason in reasons(told) if reason != "no_beam"]


def test_the_table_is_tested_whole() -> None:
    tested = {fault.partition("=")[0] for fault in TOLD} | LINES_ONLY | ELSEWHERE
    assert tested == {name for name, fault in FAULTS.items() if "serial" in fault.over}


@pytest.mark.parametrize("link", ["serial", "ble"])
@pytest.mark.parametrize("fault", TOLD)
def test_a_survey_outlives(fault: str, link: str, jobs: dict[int, Path], tmp_path: Path) -> None:
    points = 9 if fault.startswith("stick") else 4  # how a display flutters is learnt first
    told, truth = survey(copied(jobs[points], tmp_path), link, fault)
    assert told[-1]["event"] == "done"
    assert told[-1]["skipped"] == []
    name, reason = fault.partition("=")[0], TOLD[fault]
    if reason is not None:
        assert reasons(told).count(reason) >= 1
    if reason in ("battery", "damaged", "repeated"):
        assert reasons(told).count(reason) == 1
    if name not in UNTRUE:
        half_a_step_mm = 1.5875 / 2 if name == "coarse" else 0.0
        assert worst_mm(told, truth) < 1.0 + half_a_step_mm
    check = globals().get(f"check_{name}")
    if check:
        check([event for event in told if event["event"] != "armed"])


def check_drop(told: list[dict[str, Any]]) -> None:
    lost = [event for event in told if event["event"] == "lost"]
    back = [event for event in told if event["event"] == "back"]
    assert len(lost) == len(back) == 1
    assert back[0]["gap_s"] >= 10.0
    # The gap began with the last reading, a while of simulated time before the loss was noticed.
    noticed_s = back[0]["gap_s"] - (back[0]["time_s"] - lost[0]["time_s"])
    assert -0.5 <= noticed_s < 30.0
    # Nothing on both sides of the gap in one shot: each shot's readings lie on one side.
    for shot in (event for event in told if event["event"] == "shot"):
        assert not back[0]["time_s"] < shot["time_s"] < back[0]["time_s"] + 0.8


def check_lose(told: list[dict[str, Any]]) -> None:
    readings = [event for event in told if event["event"] == "reading"]
    missed = sum(event.get("missed", 0) for event in readings)
    assert missed / (missed + len(readings)) == pytest.approx(1 / 7, abs=0.02)


def check_double(told: list[dict[str, Any] | dict[str, str]]) -> None:
    readings = [event for event in told if event["event"] == "reading"]
    twice = [event for event in readings if event.get("problem") == "duplicate"]
    assert len(twice) == pytest.approx(len(readings) / 2, abs=2)


def check_wrap(told: list[dict[str, Any]]) -> None:
    assert not [event for event in told if event.get("missed") or event.get("problem")]


def check_clock(told: list[dict[str, Any]]) -> None:
    assert not [event for event in told if event.get("missed")]


@pytest.mark.parametrize("profile", ["sentence", "decimal-mm"])
def test_a_survey_outlives_lines_without_end(
    profile: str, jobs: dict[int, Path], tmp_path: Path
) -> None:
    spoken = ["--profile", profile]
    job = copied(jobs[4], tmp_path)
    told, truth = survey(job, "serial", "noend=4:5", words=spoken, options=spoken)
    assert worst_mm(told, truth) < 1.0


@pytest.mark.parametrize("link", ["serial", "ble"])
def test_a_rod_that_is_too_noisy_gives_no_shot(
    link: str, jobs: dict[int, Path], tmp_path: Path
) -> None:
    # Nobody moves this rod: it stands in the middle of the room and scatters.
    trace = tmp_path / "noisy.trace"
    with simulator(link, "noisy=3") as rod:
        assert rig("record", trace, *rod.source, "--seconds", "2", "--json", rod=rod)[0] == 0
    words = ["--job", copied(jobs[4], tmp_path), "--replay", trace, "--dwell", "0.1", "--json"]
    code, told, _ = rig("survey", *words)
    assert code == 0
    assert len([event for event in told if event["event"] == "reading"]) > 100
    assert not [event for event in told if event["event"] == "shot"]


@pytest.mark.parametrize("link", ["serial", "ble"])
def test_a_line_that_creeps_is_told_at_the_benchmark(
    link: str, jobs: dict[int, Path], tmp_path: Path
) -> None:
    job = copied(jobs[4], tmp_path)
    with simulator(link, "drift=20", words=FOLLOW) as rod:
        words = ["survey", "--job", job, *rod.source, "--speed", SPEED, "--json"]
        benchmark = [*words, "--kind", "benchmark", "--label", "BM1"]
        first = rig(*benchmark, rod=rod)[1]
        assert of_the_line(first) == []
        code, told, _ = rig(*words, rod=rod)
        assert code == 0
        assert [event["event"] for event in told].count("jolt") == 2
        assert of_the_line(told)[-1] == "restless"  # it asks again once, not for ever
        again = rig(*benchmark, rod=rod)[1]
    assert of_the_line(again) == ["moved"]


@pytest.mark.parametrize("link", ["serial", "ble"])
def test_a_tripod_that_is_kicked_is_told_and_the_shots_asked_for_again(
    link: str, jobs: dict[int, Path], tmp_path: Path
) -> None:
    job, truth_path = copied(jobs[4], tmp_path), tmp_path / "truth.json"
    with simulator(link, "jolt=4:3", words=[*FOLLOW, "--truth", str(truth_path)]) as rod:
        words = ["survey", "--job", job, *rod.source, "--speed", SPEED, "--json"]
        assert rig(*words, "--kind", "benchmark", "--label", "BM1", rod=rod)[0] == 0
        code, told, err = rig(*words, rod=rod)
    assert code == 0, err
    (jolt,) = (event for event in told if event["event"] == "jolt")
    assert jolt["change_mm"] == pytest.approx(4.0, abs=3 * jolt["stderr_mm"])
    shots = [event for event in told if event["event"] == "shot"]
    # Back from the last shot to the first that reads as it did; what lies before it stands.
    assert jolt["labels"] == ["A1", "B1", "B2", "A2"]
    assert [shot["label"] for shot in shots] == [*jolt["labels"], "A2", "B2", "B1"]
    (stands,) = (event for event in told if event["event"] == "in_use")
    assert (stands["label"], stands["labels"]) == ("B1", ["A1"])
    assert [event["ok"] for event in told if event["event"] == "checked"] == [False, True]
    truth = json.loads(truth_path.read_text())
    (kick,) = truth["line"]["jolts"]
    floor = {s["label"]: s["true_reading_mm"] for s in truth["shots"]}  # the last of each label
    for shot in shots[4:]:
        assert shot["reading_mm"] == pytest.approx(floor[shot["label"]] - kick["up_mm"], abs=1.0)


def copied(job: Path, folder: Path) -> Path:
    return Path(shutil.copy(job, folder / "job.sqlite"))
