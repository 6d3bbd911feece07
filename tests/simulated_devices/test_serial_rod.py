import contextlib
import json
import os
import select
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.kinds import there

from .scripted_tool import SurveyTool, read_sentence


@contextlib.contextmanager
def served(*words: str, **more: Any) -> Iterator[tuple[subprocess.Popen[str], str]]:
    process = subprocess.Popen(
        [sys.executable, "-m", "simulated_devices", "serial", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **more,
    )
    try:
        yield process, there(process.stdout).readline().strip()
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
        process.communicate(timeout=10)


def read_for(port: int, seconds: float) -> list[tuple[float, bytes]]:
    """Bytes of a port, with the time at which each piece came; ends early at a hang-up."""
    end, got = time.monotonic() + seconds, []
    while (left := end - time.monotonic()) > 0:
        if select.select([port], [], [], left)[0]:
            try:
                data = os.read(port, 65536)
            except OSError:
                break
            if not data:
                break
            got.append((time.monotonic(), data))
    return got


def joined(pieces: list[tuple[float, bytes]]) -> bytes:
    return b"".join(data for _, data in pieces)


@contextlib.contextmanager
def opened(path: str) -> Iterator[int]:
    port = os.open(path, os.O_RDWR | os.O_NOCTTY)
    termios.tcflush(port, termios.TCIFLUSH)
    try:
        yield port
    finally:
        os.close(port)


@pytest.mark.parametrize(("rate", "speed"), [(20, 1), (20, 20)])
def test_readable_lines_come_at_the_asked_rate(rate: int, speed: int) -> None:
    with (
        served("--rate", str(rate), "--speed", str(speed)) as (process, path),
        opened(path) as port,
    ):
        read_for(port, 0.3)
        pieces = read_for(port, 1.2)
        lines = joined(pieces).split(b"\r\n")[1:-1]
        rows = [there(read_sentence(line)) for line in lines]
        assert [row[0] for row in rows] == list(range(rows[0][0], rows[0][0] + len(rows)))
        assert len(rows) / 1.2 == pytest.approx(rate * speed, rel=0.2)
        # Not hogging a core: the process's own time over the whole run, start-up not counted.
        with open(f"/proc/{process.pid}/stat") as file:
            before = sum(int(word) for word in file.read().rsplit(")")[1].split()[11:13])
        read_for(port, 0.8)
        with open(f"/proc/{process.pid}/stat") as file:
            after = sum(int(word) for word in file.read().rsplit(")")[1].split()[11:13])
        assert (after - before) / os.sysconf("SC_CLK_TCK") < 0.4


def test_it_stops_in_good_order_and_leaves_the_truth(tmp_path: Path) -> None:
    truth, link = tmp_path / "truth.json", tmp_path / "rod"
    with served("--truth", str(truth), "--link", str(link), "--seed", "9") as (process, path):
        assert path == str(link)
        assert os.path.realpath(path).startswith("/dev/pts/")
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=10) == 0
    assert json.loads(truth.read_text())["seed"] == 9
    assert not link.is_symlink()
    assert [path.name for path in tmp_path.iterdir()] == ["truth.json"]


def test_readers_come_and_go_and_nobody_gets_stale_heaps() -> None:
    with served("--rate", "50", "--speed", "10") as (_, path):
        for _ in range(2):
            time.sleep(2.6)  # 1300 messages, some 35 kB, that nobody reads
            port = os.open(path, os.O_RDONLY | os.O_NOCTTY)
            first = os.read(port, 65536)
            seqs = [row[0] for line in joined(read_for(port, 0.3)).splitlines()[1:-1]
                    if (row := read_sentence(line))]  # fmt: skip
            os.close(port)
            assert len(first) < 2048
            assert seqs[-1] > 600


def test_what_is_sent_to_the_rod_is_not_echoed() -> None:
    with served("--rate", "20") as (_, path), opened(path) as port:
        os.write(port, b"hello\r\n" * 50)
        assert b"hello" not in joined(read_for(port, 0.5))


def test_drop_hangs_up_and_comes_back_under_the_same_name() -> None:
    with served("--rate", "50", "--fault", "drop=50:0.5") as (_, path):
        with opened(path) as port:
            began = time.monotonic()
            read_for(port, 5.0)
            assert time.monotonic() - began < 3.0  # ended by a hang-up
        assert not os.path.exists(path)
        end = time.monotonic() + 5.0
        while not os.path.exists(path) and time.monotonic() < end:
            time.sleep(0.02)
        with opened(path) as port:
            lines = joined(read_for(port, 0.5)).split(b"\r\n")[1:-1]
            assert there(read_sentence(lines[-1]))[0] > 60


def test_listed_points_wait_for_a_reader(tmp_path: Path) -> None:
    points = tmp_path / "points.csv"
    points.write_text("label,x_mm,y_mm\nA1,500,500\nA2,500,1500\n")
    with served("--points", str(points), "--speed", "5", "--stand", "2") as (_, path):
        time.sleep(1.0)
        with opened(path) as port:
            rows = [read_sentence(line) for line in joined(read_for(port, 1.6)).splitlines()[1:-1]]
    statuses = "".join(row[2] for row in rows if row)
    assert statuses.startswith("N")
    assert "NVVVVVVVVVVVVVVVVVVV" in statuses
    assert statuses.count("NV") >= 2


def test_follow_takes_events_and_ends_with_its_input(tmp_path: Path) -> None:
    truth = tmp_path / "truth.json"
    tool = SurveyTool([("A1", 500.0, 500.0), ("A2", 500.0, 1400.0), ("A3", 500.0, 2300.0)])
    words = ("--follow", "--speed", "10", "--truth", str(truth), "--mistakes", "0")
    with served(*words, stdin=subprocess.PIPE) as (process, path), opened(path) as port:

        def say(events: list[dict[str, Any]]) -> None:
            for told in events:
                there(process.stdin).write(json.dumps(told) + "\n")
            there(process.stdin).flush()

        say([{"event": "reading", "value_mm": 1.0}, *tool.start()])
        begun, rest = time.monotonic(), b""
        while not tool.finished and time.monotonic() - begun < 10.0:
            for at, data in read_for(port, 0.05):
                *lines, rest = (rest + data).split(b"\r\n")
                for line in lines:
                    if row := read_sentence(line):
                        say(tool.reading((at - begun) * 10, row[1], row[2]))
        assert tool.finished
        there(process.stdin).close()
        assert process.wait(timeout=10) == 0
        process.stdin = None
    shots = json.loads(truth.read_text())["shots"]
    assert [shot["label"] for shot in shots] == ["A1", "A2", "A3"]
    for shot in shots:
        assert tool.readings[shot["label"]] == pytest.approx(shot["true_reading_mm"], abs=0.5)


@pytest.mark.parametrize(
    "words",
    [
        ["--rate", "fast"],
        ["--rate", "0"],
        ["--rate", "nan"],
        ["--profile", "morse"],
        ["--fault", "gremlin"],
        ["--floor", "/no/such/file"],
        ["--points", "/no/such/file"],
        ["--room-mm", "12"],
        ["--room-mm", "0,4000"],
        ["--seed", "-1"],
        ["--truth", "/no/such/folder/truth.json"],
        ["--link", "/etc/hostname"],
        ["--nonsense"],
    ],
)
def test_wrong_options_are_told_in_a_sentence(
    words: list[str], capfd: pytest.CaptureFixture[str]
) -> None:
    from simulated_devices.__main__ import main

    code: Any
    try:
        code = main(["serial", *words])
    except SystemExit as exit_:
        code = exit_.code
    told = capfd.readouterr()
    assert code == 2
    assert told.err.count("\n") == 1
    assert "Traceback" not in told.err
    assert told.err.startswith("simulated_devices")


def test_in_lockstep_one_word_is_one_message_whatever_the_clock_does() -> None:
    with (
        served("--follow", "--lockstep", stdin=subprocess.PIPE) as (process, path),
        opened(path) as port,
    ):
        assert read_for(port, 0.3) == []
        for n in range(3):
            there(process.stdin).write('{"do": "go"}\n')
            there(process.stdin).flush()
            end = time.monotonic() + 5.0
            line = b""
            while not line.endswith(b"\r\n") and time.monotonic() < end:
                line += joined(read_for(port, 0.05))
            assert there(read_sentence(line))[0] == n
        assert read_for(port, 0.2) == []
