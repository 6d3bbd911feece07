"""An office in a store that speaks S3: a stand-in for one runs on this machine."""

import contextlib
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.office.company import company

KEY, SECRET = "a-crews-own-key", "never-to-be-told"


@pytest.fixture
def bucket(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[str]:
    import boto3

    for name, value in (("ACCESS_KEY_ID", KEY), ("SECRET_ACCESS_KEY", SECRET)):
        monkeypatch.setenv(f"AWS_{name}", value)
    monkeypatch.setenv("AWS_REGION", "us-east-1")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    url = f"http://127.0.0.1:{port}"
    monkeypatch.setenv("AWS_ENDPOINT_URL", url)
    # In a process of its own: a call of the table's library holds this one's lock as it waits.
    with subprocess.Popen(
        [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as server:
        try:
            for _ in range(600):
                with contextlib.suppress(OSError):
                    socket.create_connection(("127.0.0.1", port), 1.0).close()
                    break
                time.sleep(0.05)
            boto3.client("s3", region_name="us-east-1").create_bucket(Bucket="jobs")
            yield "s3://jobs/office"
        finally:
            server.kill()


def test_jobs_go_through_a_store_as_through_a_folder(run: Run, bucket: str) -> None:
    files = [made.path for made in company(Path(), 3)]
    told = run("hand-in", *files, "--to", bucket, "--json")
    assert [one["was_there"] for one in told.json["jobs"]] == [False] * 3
    again = run("hand-in", files[0], "--to", bucket, "--json").json["jobs"][0]
    assert again["was_there"]
    taken = run("office", "take", "--office", bucket, "--json").json
    assert (taken["taken"], taken["damaged"]) == (3, [])
    asked = run("office", "ask", "pace", "--office", bucket, "--json").json
    assert asked["jobs"] == sum(row["jobs"] for row in asked["rows"]) == 3
    assert run("office", "out", again["uid"], "--office", bucket, "--out", "b.sqlite").code == 0
    assert run("office", "check", "--office", bucket, "--json").json["files"] == 3


def test_a_store_that_does_not_answer_is_said_to_be_so_without_a_secret(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in (("ACCESS_KEY_ID", KEY), ("SECRET_ACCESS_KEY", SECRET)):
        monkeypatch.setenv(f"AWS_{name}", value)
    monkeypatch.setenv("AWS_REGION", "us-east-1")
    monkeypatch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:9")
    (made,) = company(Path(), 1)
    for words in (("hand-in", made.path, "--to"), ("office", "take", "--office")):
        told = run(*words, "s3://jobs/office")
        assert told.code == 3, told
        assert "cannot be reached" in told.err
        assert KEY not in told.err
        assert SECRET not in told.err
