"""Pages beside the way of a job: looks, patches, checks of the laser, as the commands do them."""

import asyncio
import contextlib
import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from rig.cli import rig
from rig.job.store import Job
from rig.page.server import Page
from rig.study.checks import CrossCheck, DriftCheck, RepeatCheck, TwoPegCheck, last_check
from rig.study.looked import edge_through, looks_of
from rig.study.room import outline_of
from tests.page.test_server import asked, status
from tests.page.test_site import post, walked

HERE = "j/Hall/"
FT = 304.8


@pytest.fixture(scope="module")
def surveyed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A planned job of 8 by 6 ft with one dip; data invented."""
    path = tmp_path_factory.mktemp("surveyed") / "Hall.sqlite"
    table = path.with_name("shots.csv")
    told("new", "--job", path, "--room", "8ft,6ft", "--door", "2ft,0ft,3ft", "--units", "in",
         "--min-cover", "1/4in", "--bag-yield", "0.45ft3")  # fmt: skip
    rows = ["label,x,y,reading,stderr"]
    for p in told("grid", "--job", path)["points"]:
        mm = 1200 + 6 * (p["label"] == "B2")
        rows.append(f"{p['label']},{p['x_mm']},{p['y_mm']},{mm},0.2")
    table.write_text("\n".join(rows) + "\n")
    told("import", "--job", path, table, "--unit", "mm")
    told("plan", "--job", path)
    return path


@pytest.fixture
def hall(served: Page, surveyed: Path, tmp_path: Path) -> Path:
    """That job among those that are served."""
    return Path(shutil.copy(surveyed, tmp_path / "jobs" / "Hall.sqlite"))


def told(*words: object) -> Any:
    done = CliRunner().invoke(rig, [*map(str, words), "--json"])
    assert done.stdout, (words, done.stderr)
    return json.loads(done.stdout)


def test_a_look_is_kept_from_a_place_that_was_picked_or_tapped(served: Page, hall: Path) -> None:
    async def work(session: Any, url: str) -> None:
        code, text = await status(session, url + HERE + "look")
        assert code == 200
        found.extend(re.findall(r'name="place" value="([^"]+)"', text))
        picked = {"place": found[0], "way": "x", "long": "6"}
        assert (await post(session, url, HERE + "look", act="flat", **picked))[0] == 303
        tapped = {"x": "4ft", "y": "3ft", "way": "y", "long": "4ft", "gap": "1/8", "under": "end"}
        assert (await post(session, url, HERE + "look", act="gap", **picked | tapped))[0] == 303
        code, text = await status(session, url + HERE + "look")
        assert "the edge rocks" in text
        assert "flat under the edge" in text
        for wrong in ({"gap": ""}, {"gap": "9in"}, {"long": "2in"}, {"x": "90ft"}, {"long": ""}):
            code, text, _ = await post(session, url, HERE + "look", act="gap", **tapped | wrong)
            assert (code, 'role="alert"' in text) == (422, True), wrong

    found: list[str] = []
    asked(served, work)
    worth = told("floor", "--job", hall)["look_between"]
    assert found[0] != f"{worth[0]['x_mm']:.0f}mm,{worth[0]['y_mm']:.0f}mm"  # a look was laid there
    with Job.open(hall) as job:
        flat, gap = looks_of(job)
    x_mm = float(found[0].split("mm")[0])
    assert flat.gap_mm == 0
    assert flat.from_mm[0] < x_mm < flat.to_mm[0]
    assert flat.to_mm[0] - flat.from_mm[0] == pytest.approx(6 * FT)
    assert (*gap.from_mm, *gap.to_mm) == pytest.approx((4 * FT, 1 * FT, 4 * FT, 5 * FT))
    assert gap.at_mm == gap.to_mm
    assert gap.gap_mm == pytest.approx(25.4 / 8)


def test_an_edge_is_moved_along_itself_to_lie_on_the_floor(hall: Path) -> None:
    with Job.open(hall) as job:
        outline, units = outline_of(job), job.units
    start, end = edge_through(outline, (300.0, 900.0), True, 1800.0, units)
    assert (start, end) == ((1.0, 900.0), (1801.0, 900.0))
    start, end = edge_through(outline, (300.0, 900.0), False, 9000.0, units)
    assert (*start, *end) == pytest.approx((300.0, 1.0, 300.0, 6 * FT - 1.0))


def test_patches_are_those_of_the_command(
    served: Page, hall: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rig.study.patching.MOST_NODES", 60)

    async def work(session: Any, url: str) -> None:
        asks = f"{HERE}patch/work?rule=din18202-1"
        page.append((await status(session, url + asks))[1])
        page.append((await status(session, url + HERE + "patch"))[1])
        for wrong in ("rule=nothing", "rule=e1155", "rule=din18202-4&grind=5",
                      "rule=din18202-4&fill=cheap"):  # fmt: skip
            assert 'class="warn"' in (await status(session, f"{url}{HERE}patch/work?{wrong}"))[1]

    page: list[str] = []
    asked(served, work)
    found = told("plan", "--job", hall, "--patch", "din18202-1")
    assert len({way["way"] for way in found["comparison"]}) == len(found["comparison"])
    for way in found["comparison"]:
        assert re.search(rf"<td>{way['way']}", page[0], re.I), way
    assert f"BUY {found['bags']['p95']} BAG" in page[0].upper()
    assert "e1155" not in page[1]  # no rule of straightedges


CHECKS = {
    "two-peg": {"a1": "48 1/4", "b1": "47 1/2", "to_a1": "10", "to_b1": "10", "a2": "50 3/8",
                "b2": "49 11/16", "to_a2": "2", "to_b2": "18"},
    "cross": {"away": "20", "at0": "48 1/4", "at90": "48 3/16", "at180": "48 1/8",
              "at270": "48 3/16"},
    "repeat": {f"r{n}": f"{48 + n % 3 / 32}" for n in range(1, 6)},
}  # fmt: skip


def test_a_laser_is_checked_as_at_the_command_line(served: Page, hall: Path) -> None:
    async def work(session: Any, url: str) -> None:
        for key, typed in CHECKS.items():
            assert (await post(session, url, HERE + "laser", act=key, **typed))[0] == 303
            part = dict(list(typed.items())[1:]) if key != "repeat" else {"r1": "48"}
            code, text, _ = await post(session, url, HERE + "laser", act=key, **part)
            assert (code, 'role="alert"' in text) == (422, True), key
        code, text = await status(session, url + HERE + "laser")
        assert text.count("GOOD ENOUGH: the limit is") == len(CHECKS)
        assert not re.search(r"--[a-z]", text)

    before = Path(shutil.copy(hall, hall.with_name("commands.sqlite")))
    asked(served, work)
    two, cross, each = CHECKS["two-peg"], CHECKS["cross"], CHECKS["repeat"]
    sights = []
    for n in "12":
        away = f"{two['to_a' + n]}ft,{two['to_b' + n]}ft"
        sights += ["--sight", f"{two['a' + n]}in,{two['b' + n]}in,{away}"]
    turns = [w for h in (0, 90, 180, 270) for w in ("--reading", f"{h},{cross[f'at{h}']}in")]
    read = [word for text in each.values() for word in ("--reading", f"{text}in")]
    job = ["--job", before]
    found = [
        told("check", "two-peg", *job, *sights),
        told("check", "cross", *job, "--dist", "20ft", "--stderr", "0.675mm", *turns),
        told("check", "repeat", *job, *read),
    ]
    with Job.open(hall) as kept:
        checks = (
            last_check(kept, TwoPegCheck),
            last_check(kept, CrossCheck),
            last_check(kept, RepeatCheck),
        )
    for check, command in zip(checks, found, strict=True):
        assert check is not None
        page = check.as_json()
        assert page["ok"] == command["ok"]
        for name in ("error_mm_per_m", "tilt_mm_per_m", "closure_mm", "sd_mm"):
            if name in page:
                assert page[name] == pytest.approx(command[name]), name


def test_a_laser_is_checked_live(served: Page, hall: Path) -> None:
    """Two pegs and the cross with a tape, the drift with a rod; each leads back to its page."""

    async def sends(reader: Any, writer: Any) -> None:
        with contextlib.suppress(ConnectionError):
            for n in range(200):
                writer.write(b"%.1f\r\n" % (1200.0 + 0.1 * (n % 2)))
                await writer.drain()
                await asyncio.sleep(0.02)

    async def work(session: Any, url: str) -> None:
        tape = {"source": "tape", "unit": "mm"}
        far = {"to_a1": "10m", "to_b1": "10m", "to_a2": "2m", "to_b2": "18m"}
        code, text, _ = await post(session, url, HERE + "laser", act="live two-peg", **tape)
        assert (code, text.count("How far is it?")) == (422, 4)
        for key, readings, more in (
            ("two-peg", [1200.0, 1250.0, 1198.0, 1251.0], far),
            ("cross", [1200.0, 1201.0, 1200.0, 1199.0, 1200.0], {"away": "10m"}),
        ):
            sent = {"act": f"live {key}", **tape, **more}
            code, _, to = await post(session, url, HERE + "laser", **sent)
            assert (code, to.endswith("session/")) == (303, True)
            await walked(session, url, readings)
        code, text, _ = await post(session, url, HERE + "laser", act="live drift", watched="1min",
                                   **tape)  # fmt: skip
        assert (code, "not with a tape" in text) == (422, True)
        rod = await asyncio.start_server(sends, "127.0.0.1", 0)
        at = f"serial:socket://127.0.0.1:{rod.sockets[0].getsockname()[1]}"
        watched = {"act": "live drift", "watched": "0.02min", "source": at, "profile": "decimal-mm"}
        assert (await post(session, url, HERE + "laser", **watched))[0] == 303
        await walked(session, url, [])
        rod.close()
        async with session.ws_connect(url + "session/live") as socket:
            await socket.send_json({"say": "hello", "phone": "b"})
            now = json.loads(await socket.receive_str(timeout=5))["state"]["now"]
        assert "too short to tell drift from noise" in now["text"]

    asked(served, work)
    with Job.open(hall) as job:
        pegs, cross = last_check(job, TwoPegCheck), last_check(job, CrossCheck)
        assert pegs is not None
        assert cross is not None
        # From half way B reads 50 mm more than A, from beside A 53 mm more, 16 m farther off.
        assert pegs.error_mm_per_m == pytest.approx(3.0 / 16.0)
        assert cross.closure_mm == pytest.approx(0.0, abs=1e-9)
        assert last_check(job, DriftCheck) is None
        assert not job.shots(kinds=["check"])
