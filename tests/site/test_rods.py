"""Several rods in one job through a broker: who goes where, what is kept, who is let in."""

import json
import math
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from rig.devices.authority import authority_in
from rig.devices.site import read_account
from simulated_devices.site_rod import SiteRod
from tests.cli.conftest import Run
from tests.site.conftest import Place

QUICK = ("--dwell", "0.3", "--walk", "0.3")


def reading_mm(x_mm: float, y_mm: float) -> float:
    return 1000.0 + 5.0 * math.sin(x_mm / 900.0) + 4.0 * math.cos(y_mm / 700.0)


@contextmanager
def rods(place: Place, count: int, **given: Any) -> Iterator[list[SiteRod]]:
    with ExitStack() as stack:
        yield [
            stack.enter_context(
                SiteRod(
                    place.folder / f"rod-{n + 1}.site",
                    reading_mm,
                    zero_mm=3.0 * n,
                    seed=n,
                    rate_hz=30.0,
                    least_walk_s=0.4,
                    **given,
                )
            )
            for n in range(count)
        ]


def floor_of(run: Run, spacing: str = "2m") -> None:
    assert run("new", "--room", "3m,4m", "--units", "mm").code == 0
    assert run("grid", "--spacing", spacing).code == 0


def survey(run: Run, place: Place, *words: object) -> list[dict[str, Any]]:
    told = run("survey", "--site", place.folder / "kitchen.site", "--json", *QUICK, *words)
    assert told.code == 0, told.err
    return told.events


def test_three_rods_share_a_floor_though_the_broker_falls(run: Run, place: Place) -> None:
    """Each point one shot, told and kept; no point two rods'; heights that agree."""
    floor_of(run)

    def fall() -> None:
        place.kill()
        time.sleep(0.3)
        place.start()

    with rods(place, 3):
        timers = [later(wait_s, fall) for wait_s in (2.5, 5.0)]
        events = survey(run, place)
        for timer in timers:
            timer.join()
    shots = [one for one in events if one["event"] == "shot" and one["kind"] == "floor"]
    assert len({one["label"] for one in shots}) == len(shots) == 9
    assert len({one["rod"] for one in shots}) == 3
    held: dict[str, str] = {}
    for one in events:
        if one["event"] == "claim":
            assert one["label"] not in held.values()
            held[one["rod"]] = one["label"]
        elif one["event"] == "shot":
            held.pop(one["rod"], None)
    assert {one["rod"] for one in events if one["event"] == "rest"} == {"rod-1", "rod-2", "rod-3"}
    assert any(one["event"] == "gap" for one in events)
    with closing(sqlite3.connect("job.sqlite")) as kept:
        rows = kept.execute(
            "SELECT point FROM shot WHERE kind = 'floor' AND superseded_by IS NULL"
        ).fetchall()
        setups = kept.execute("SELECT name, stand FROM setup ORDER BY id").fetchall()
        sessions = kept.execute("SELECT DISTINCT rod FROM session ORDER BY rod").fetchall()
        assert kept.execute("SELECT count(*) FROM reading WHERE box_s IS NULL").fetchone() == (0,)
        clocks = kept.execute("SELECT count(*) FROM event WHERE kind = 'clock'").fetchone()
    assert sorted(one["label"] for one in shots) == sorted(label for (label,) in rows)
    assert sorted(setups) == [(f"1@rod-{n}", "1") for n in (1, 2, 3)]
    assert sessions == [("rod-1",), ("rod-2",), ("rod-3",)]
    assert clocks[0] >= 3
    floor = run("floor", "--json").json
    zero = 3.0 * (int(setups[0][0][-1]) - 1)
    for shot in shots:
        true = -(reading_mm(shot["x_mm"], shot["y_mm"]) + zero)
        own = 3.0 * (int(shot["rod"][-1]) - 1)
        assert -(shot["reading_mm"] - own + zero) == pytest.approx(true, abs=0.3)
    assert floor["shots"] == 9
    assert len(floor["setups"]) == 3


def test_a_rod_on_a_site_gives_the_shots_that_it_gives_on_a_cable(run: Run, place: Place) -> None:
    """Each message twice, late by up to half a second: replays of the same lines are the judge."""
    dwell = ("--dwell", "0.32")  # no whole number of readings
    floor_of(run, "4m")
    with rods(place, 1, twice=True, delay_s=1.0):
        events = survey(run, place, "--rod", "rod-1", *dwell)
    shots = [one for one in events if one["event"] == "shot"]
    with closing(sqlite3.connect("job.sqlite")) as kept:
        rows = kept.execute("SELECT box_s, raw FROM reading ORDER BY id").fetchall()
        profile, capture = kept.execute("SELECT profile_text, capture FROM session").fetchone()
        (claims,) = kept.execute(
            "SELECT count(*) FROM event WHERE kind = 'act' AND data LIKE '%claim%'"
        ).fetchone()
    assert claims == len(shots) == len(json.loads(capture)["points"])
    assert len({raw for _, raw in rows}) == len(rows)
    lines = "".join(f"{box_s - rows[0][0]:.6f}\t{raw}\n" for box_s, raw in rows)
    head = (
        'floor-rig trace 1\nkey = "sentence"\nstarted = 2025-06-15T15:06:40.000000+00:00\n'
        f"units = \"mm\"\nprofile = '''\n{profile}'''\n---\n"
    )
    Path("cable.trace").write_text(head + lines)
    Path("job.sqlite").rename("site.sqlite")
    floor_of(run, "4m")
    cable = run("survey", "--replay", "cable.trace", "--json", *QUICK, *dwell)
    told = [one for one in cable.events if one["event"] == "shot"]
    assert [(one["label"], one["n"]) for one in told] == [(one["label"], one["n"]) for one in shots]
    for one, other in zip(told, shots, strict=True):
        assert one["reading_mm"] == pytest.approx(other["reading_mm"], abs=0.01)

    Path("job.sqlite").unlink()
    floor_of(run, "4m")
    again = run("survey", "--replay", "site.sqlite", "--json").events
    keys = ("label", "reading_mm", "stderr_mm", "n", "time_s")

    def exactly(events: list[dict[str, Any]]) -> list[tuple[Any, ...]]:
        return [tuple(one[key] for key in keys) for one in events if one["event"] == "shot"]

    assert exactly(again) == exactly(events)


def later(wait_s: float, do: Callable[[], object]) -> threading.Timer:
    timer = threading.Timer(wait_s, do)
    timer.start()
    return timer


def test_a_rod_that_is_long_silent_is_lost_and_goes_on(run: Run, place: Place) -> None:
    floor_of(run, "4m")
    with rods(place, 1) as (rod,):

        def be_silent() -> None:
            while not any(one.get("event") == "shot" for one in rod.heard):
                time.sleep(0.02)
            rod.silent.set()
            time.sleep(3.6)
            rod.silent.clear()

        quiet = later(0.0, be_silent)
        events = survey(run, place)
        quiet.join()
    lost = [one for one in events if one["event"] == "lost"]
    assert "3 s" in lost[0]["reason"]
    assert {one["rod"] for one in lost} == {"rod-1"}
    assert any(one["event"] == "back" and one["gap_s"] > 3.0 for one in events)
    shots = [one for one in events if one["event"] == "shot"]
    assert len({one["label"] for one in shots}) == len(shots) == 4


def test_who_is_not_let_in_hears_why(run: Run, place: Place) -> None:
    floor_of(run, "4m")
    good = place.invite("guest", "session").read_text()
    wrong = Path("wrong.site")
    words = ("survey", "--site", wrong, "--json")
    secret = next(line for line in good.splitlines() if line.startswith("password"))
    wrong.write_text(good.replace(secret, 'password = "guess"'))
    told = run(*words)
    assert told.code == 3
    assert "does not let guest in" in told.err
    wrong.write_text(good.replace("guest", "nobody"))
    assert run(*words).code == 3
    theirs = authority_in(Path("elsewhere")).cert_pem.bytes().decode()
    start, end = good.index("-----BEGIN"), good.rindex('"""')
    wrong.write_text(good[:start] + theirs + good[end:])
    told = run(*words)
    assert told.code == 3
    assert "is not the site" in told.err
    wrong.write_text(good.replace(f":{place.port}", ":9"))
    told = run(*words)
    assert told.code == 3
    assert "is rig site up running there?" in told.err
    wrong.write_text("nothing")
    assert run(*words).code == 2


def test_no_secret_is_in_a_log_a_process_list_or_a_job(run: Run, place: Place) -> None:
    floor_of(run, "4m")
    told = run("site", "invite", "--folder", place.site.folder, "yard", "--session", "--json")
    assert told.code == 0
    yard = Path("yard.site")
    password = read_account(yard).password
    assert password not in told.out + told.err
    found = run("site", "rods", "--site", yard, "--json")
    wrong = Path("wrong.site")
    wrong.write_text(yard.read_text().replace("mqtts://", f"mqtts://yard:{password}@"))
    refused = run("survey", "--site", wrong)  # an address with a secret in it is none
    assert (found.code, refused.code) == (0, 2)
    for heard in (found, refused):
        assert password not in heard.out + heard.err
    secrets = [read_account(path).password for path in place.folder.glob("*.site")] + [password]
    lists = [path.read_bytes() for path in place.site.folder.iterdir()]
    lists += [Path("job.sqlite").read_bytes()]
    for process in Path("/proc").glob("[0-9]*/cmdline"):
        with suppress(OSError):
            lists.append(process.read_bytes())
    assert not any(secret.encode() in told for told in lists for secret in secrets)
    kept = [yard, place.site.folder, *place.site.folder.glob("*.json")]
    assert not [path for path in kept if path.stat().st_mode & 0o077]


def test_a_rod_cannot_speak_for_another(run: Run, place: Place) -> None:
    floor_of(run, "4m")
    invitation = place.folder / "rod-1.site"
    with SiteRod(invitation, reading_mm, name="rod-9", job="0" * 32):
        told = run("site", "rods", "--site", place.folder / "kitchen.site", "--json")
    assert told.code == 0
    assert "rod-9" not in [one["rod"] for one in told.json["rods"]]


def test_a_second_session_is_refused_unless_it_takes_over(run: Run, place: Place) -> None:
    from rig.job import Job

    floor_of(run, "4m")
    with Job.open("job.sqlite") as job:
        job.copy_to("copy.sqlite")
    site = place.folder / "kitchen.site"
    place_of_one = ("--at", "1m,1m", "--label", "P1")
    words = ("survey", "--job", "copy.sqlite", "--site", site, "--json", *QUICK, *place_of_one)
    second: list[int] = []

    def come() -> None:
        import subprocess
        import sys

        for more in ((), ("--take-over",)):
            command = [sys.executable, "-m", "rig.cli", *map(str, words), *more]
            second.append(subprocess.run(command, capture_output=True, timeout=60).returncode)

    with rods(place, 1) as (rod,):
        rod.silent.set()
        thread = threading.Thread(target=come)
        later(1.5, thread.start)
        told = run("survey", "--site", site, "--json", *QUICK, *place_of_one)
        rod.silent.clear()
        thread.join()
    assert told.code == 5
    assert "taken this job over" in told.err
    assert second == [5, 0]
