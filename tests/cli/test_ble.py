"""Rods over Bluetooth through the command line: what is in reach, what is wrong, what is survived.

The unmodified Bluetooth library talks to a stand-in BlueZ on a private D-Bus; there is no radio.
"""

import os
import shutil
import signal
import subprocess
import sys
import time
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import pytest

from simulated_devices.private_bus import VARIABLE, private_bus
from tests.bluetooth import ROOT, SimulatedRod, rig, simulated

SPEED = "25"
FOLLOW = ["--follow", "--mistakes", "0", "--room-mm", "2000,2000"]


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    job = tmp_path_factory.mktemp("job") / "job.sqlite"
    words = ["--job", job, "--json"]
    assert rig("new", "--room", "2m,2m", "--units", "mm", *words)[0] == 0
    assert rig("grid", "--spacing", "1.8m", *words)[0] == 0
    return job


@pytest.fixture
def job(small: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(small, tmp_path / "job.sqlite"))


def rod(*words: str, **more: Any) -> AbstractContextManager[SimulatedRod]:
    return simulated("ble", "--seed", "3", "--rate", "20", "--speed", SPEED, *words, **more)


def survey(
    job: Path, there: SimulatedRod, *more: Path | str
) -> tuple[int, list[dict[str, Any]], str]:
    words = ["survey", "--job", job, *there.source, "--speed", SPEED, "--json", *more]
    return rig(*words, rod=there)


def lines(path: Path) -> int:
    return path.read_text().count("\n") if path.exists() else 0


def told_of(events: list[dict[str, Any]], name: str) -> list[dict[str, Any]]:
    return [event for event in events if event["event"] == name]


def test_what_is_in_reach_is_listed_with_its_strength() -> None:
    with rod(by_address=False) as there:
        code, (told,), _ = rig("devices", "--scan", "--json", rod=there)
        assert code == 0
        strength = pytest.approx(-58, abs=6)
        there_is = {"name": "Rod-1", "address": "00:00:5E:00:54:03", "rssi": strength}
        assert told["ble"] == [there_is]
    assert isinstance(told["serial"], list)


def test_a_rod_is_found_by_its_name_whatever_the_case(job: Path) -> None:
    with rod(*FOLLOW, by_address=False) as there:
        there.source[1] = "rod-1"
        code, events, err = survey(job, there)
    assert code == 0, err
    assert len(told_of(events, "shot")) == 4


def test_an_unknown_name_is_refused_with_the_names_in_reach(job: Path) -> None:
    with rod(by_address=False) as there:
        there.source[1] = "Rod-2"
        code, events, err = survey(job, there)
    assert code == 3
    assert "Rod-2" in err
    assert "Rod-1 (00:00:5E:00:54:03" in err
    assert not told_of(events, "reading")


def test_several_rods_of_one_name_are_told_apart_by_address(job: Path) -> None:
    with rod(*FOLLOW, "--fault", "twin", by_address=False) as there:
        code, _, err = survey(job, there)
        assert code == 3
        assert "00:00:5E:00:53:FE, 00:00:5E:00:54:03" in err
        there.source[1] = "00:00:5e:00:54:03"
        code, events, err = survey(job, there)
    assert code == 0, err
    assert len(told_of(events, "shot")) == 4


def test_a_rod_of_another_kind_is_refused_with_what_it_offers(job: Path) -> None:
    with rod("--fault", "uuids") as there:
        code, _, err = survey(job, there)
    assert code == 3
    assert "f63cdeab-b6f1-4aa1-b69f-7f0745e2787a" in err
    assert "7d1b8e52-6c0e-4f0a-9a57-2f4be04ba54c" in err


def test_a_profile_without_bluetooth_is_refused_before_the_bus_is_touched(job: Path) -> None:
    code, _, err = rig("survey", "--job", job, "--ble", "Rod-1", "--profile", "sentence")
    assert code == 2
    assert "[ble]" in err


@pytest.mark.parametrize(
    ("fault", "says"),
    [
        ("off=60:0", "Bluetooth is switched off"),
        ("unplugged=60:0", "no Bluetooth adapter"),
        ("service=60:0", "Bluetooth service (BlueZ) does not run"),
    ],
)
def test_what_is_wrong_with_this_computers_bluetooth_is_told(
    fault: str, says: str, job: Path
) -> None:
    with rod("--fault", fault) as there:
        for words in (["survey", "--job", job, *there.source, "--json"], ["devices", "--scan"]):
            code, _, err = rig(*words, "--json", rod=there)
            assert code == 3
            assert says in err


def test_without_a_bus_it_is_told(job: Path, tmp_path: Path) -> None:
    nowhere = {VARIABLE: f"unix:path={tmp_path}/none"}
    code, _, err = rig("survey", "--job", job, "--ble", "Rod-1", "--json", environment=nowhere)
    assert code == 3
    assert "D-Bus" in err


def test_a_bluetooth_service_that_is_too_old_is_told(job: Path, tmp_path: Path) -> None:
    old = tmp_path / "bluetoothctl"
    old.write_text("#!/bin/sh\necho 'bluetoothctl: 5.50'\n")
    old.chmod(0o755)
    with rod() as there:
        there.environment["PATH"] = f"{tmp_path}:{os.environ['PATH']}"
        code, _, err = survey(job, there)
    assert code == 3
    assert "5.55" in err


def test_a_rod_that_a_crashed_client_holds_is_found_all_the_same(job: Path) -> None:
    with rod(*FOLLOW, "--fault", "held") as there:
        code, events, err = survey(job, there)
    assert code == 0, err
    assert len(told_of(events, "shot")) == 4


def test_after_our_own_crash_the_rod_is_found_again(job: Path, tmp_path: Path) -> None:
    with rod(*FOLLOW) as there:
        words = [sys.executable, "-m", "rig.cli", "record", str(tmp_path / "t"), *there.source]
        held = subprocess.Popen(
            words, env=os.environ | there.environment, cwd=ROOT, stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
        )  # fmt: skip
        deadline = time.monotonic() + 10.0
        while time.monotonic() < deadline and lines(tmp_path / "t") < 60:
            time.sleep(0.05)
        held.send_signal(signal.SIGKILL)
        held.wait()
        code, events, err = survey(job, there)
    assert code == 0, err
    assert len(told_of(events, "shot")) == 4


@pytest.mark.parametrize(
    ("fault", "reason"),
    [
        ("off=15:4", "Bluetooth is switched off"),
        ("unplugged=15:4", "This computer has no Bluetooth adapter"),
        ("service=15:4", "nothing came for 3 s"),
        ("drop=60:15:2", "dropped the connection"),
    ],
)
def test_the_survey_goes_on_when_bluetooth_is_back(fault: str, reason: str, job: Path) -> None:
    with rod(*FOLLOW, "--fault", fault) as there:
        code, events, err = survey(job, there)
    assert code == 0, err
    lost, back = told_of(events, "lost"), told_of(events, "back")
    # On a busy machine the second drop may fall into the first one's gap.
    assert len(lost) == len(back)
    assert len(lost) in ((1, 2) if "drop" in fault else (1,))
    assert all(reason in event["reason"] for event in lost)
    assert all(event["gap_s"] > 14.0 for event in back)
    assert len(told_of(events, "shot")) == 4


def test_the_batterys_own_service_is_heard_where_messages_say_nothing(
    job: Path, tmp_path: Path
) -> None:
    profile = tmp_path / "plain.toml"
    text = (ROOT / "rig/devices/profiles/gatt-rod.toml").read_text()
    # A rod whose status bytes know no low battery: 3 is a plain reading.
    profile.write_text(text.replace("low_battery = [3]\n", "").replace("[0]", "[0, 3]"))
    with rod(*FOLLOW, "--fault", "battery=3") as there:
        code, events, err = survey(job, there, "--profile", profile)
    assert code == 0, err
    texts = [event["text"] for event in told_of(events, "trouble")]
    assert texts == ["the rod's battery is low: 8 %"]


def test_the_simulator_keeps_off_the_real_bus_and_away_from_another_bluez() -> None:
    words = [sys.executable, "-m", "simulated_devices", "ble"]
    real = os.environ | {VARIABLE: "unix:path=/run/dbus/system_bus_socket"}
    refused = subprocess.run(words, cwd=ROOT, env=real, capture_output=True, text=True, timeout=20)
    assert refused.returncode == 2
    assert "real bus" in refused.stderr
    with private_bus() as address:
        given = os.environ | {VARIABLE: address}
        with rod(environment={VARIABLE: address}):
            second = subprocess.run(
                words, cwd=ROOT, env=given, capture_output=True, text=True, timeout=20
            )
    assert second.returncode == 2
    assert "Another Bluetooth service" in second.stderr


def test_a_bluetooth_fault_is_refused_on_a_cable() -> None:
    words = [sys.executable, "-m", "simulated_devices", "serial", "--fault", "held"]
    refused = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, timeout=20)
    assert refused.returncode == 2
    assert "Bluetooth" in refused.stderr
