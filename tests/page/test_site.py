"""The pages of jobs by plain requests: who is let in, and what a form makes of bad input."""

import ast
import hashlib
import itertools
import json
import re
import ssl
import time
from base64 import b64encode
from importlib import resources
from pathlib import Path
from typing import Any

import aiohttp
import numpy as np
import pytest
from click.testing import CliRunner

from rig.cli import rig
from rig.errors import BadInput
from rig.job.folder import JobFolder
from rig.job.store import Job
from rig.page import site
from rig.page.server import Page
from rig.page.site import Site
from rig.page.steps import STEPS
from rig.page.tls import encrypted
from rig.page.work import Rods, Work
from rig.room import from_rings
from rig.study.grid import make_grid
from rig.study.pour_log import lifts_poured
from rig.study.room import outline_of
from rig.study.rooms import add_room, in_room, listed, names_of, rooms_of
from rig.study.table import import_table
from tests.page.test_server import asked, status


def origin(url: str) -> dict[str, str]:
    return {"Origin": url.rsplit("/", 2)[0]}


async def post(session: Any, url: str, path: str, **fields: str) -> Any:
    async with session.post(
        url + path, data=fields, headers=origin(url), allow_redirects=False
    ) as answer:
        return answer.status, await answer.text(), answer.headers.get("Location", "")


FT = 304.8
NEW = {"name": "Hall 3", "units": "in", "shape": "rectangle", "width": "12", "depth": "15ft 6in"}


def test_an_empty_folder_offers_a_new_job_that_needs_no_script(
    served: Page, tmp_path: Path
) -> None:
    async def work(session: Any, url: str) -> None:
        code, text = await status(session, url)
        assert code == 200
        assert re.search(r"<a [^>]*>New job</a>", text)
        code, text, _ = await post(session, url, "new", **NEW | {"width": "12 bananas"})
        assert code == 422
        assert 'value="12 bananas"' in text  # what was typed is kept
        assert 'aria-invalid="true"' in text
        code, _, to = await post(session, url, "new", **NEW)
        assert code == 303
        assert to.endswith("/j/Hall%203/room")
        code, text = await status(session, url + "j/Hall%203/")
        assert (code, "Product and covering" in text) == (200, True)
        code, text, _ = await post(session, url, "new", **NEW)
        assert (code, "There is a job Hall 3 already" in text) == (422, True)

    asked(served, work)
    with Job.open(tmp_path / "jobs" / "Hall 3.sqlite") as job:
        assert max(x for x, _ in job.outline_rings()[0]) == pytest.approx(12 * 304.8)


def routes() -> list[str]:
    """Every address that the pages know, read from how they tell them apart."""
    named = {"name": ["Hall%203"], "room": ["room%201"], "part": ["look"], "key": list(STEPS)}
    found = {"session/", "htmx.js", "language", "firm/prices", "firm/compound"}
    for function in ast.walk(ast.parse(Path(site.__file__).read_text())):
        if not isinstance(function, ast.FunctionDef):
            continue
        under = "j/Hall%203/" if function.name == "_get_of" else ""
        for pattern in ast.walk(function):
            if isinstance(pattern, ast.MatchSequence):
                parts = [
                    [str(one.value.value)]
                    if isinstance(one, ast.MatchValue) and isinstance(one.value, ast.Constant)
                    else named.get(getattr(one, "name", None) or "", [""])
                    for one in pattern.patterns
                ]
                found |= {under + "/".join(path) for path in itertools.product(*parts)}
    return sorted(found)


def test_key_origin_and_host_are_asked_for_on_every_page(served: Page) -> None:
    async def work(session: Any, url: str) -> None:
        await post(session, url, "new", **NEW)
        bare = url.rsplit("/", 2)[0] + "/x/"
        paths = routes()
        assert {"j/Hall%203/in/room%201/", "j/Hall%203/plan/look", "stop", "quote"} <= set(paths)
        for path in paths:
            assert (await status(session, bare + path))[0] == 403, path
            evil = {"Host": "evil.example"}
            assert (await status(session, url + path, headers=evil))[0] == 403, path
            for headers in ({}, {"Origin": "http://evil.example"}, {"Origin": "null"}):
                async with session.post(url + path, data=NEW, headers=headers) as answer:
                    assert answer.status == 403, (path, headers)
        async with session.get(url) as answer:
            policy = answer.headers["Content-Security-Policy"]
            assert "script-src 'self';" in policy
            assert "form-action 'self'" in policy
        for path in ("j/..%2f..%2fetc%2fpasswd/room", "j/nobody/room", "j/Hall%203/nothing"):
            assert (await status(session, url + path))[0] in (400, 404)

    asked(served, work)


def test_a_job_of_another_process_is_only_looked_at(served: Page, tmp_path: Path) -> None:
    async def work(session: Any, url: str) -> None:
        await post(session, url, "new", **NEW)
        with Job.open(tmp_path / "jobs" / "Hall 3.sqlite", write=True):
            code, text = await status(session, url + "j/Hall%203/room")
            assert code == 200
            assert re.search(r"Only to look at: another floor-rig .*is writing to", text)
            door = {"act": "door", "door_width": "3ft", "x": "2ft", "y": "0mm"}
            code, text, _ = await post(session, url, "j/Hall%203/room", **door)
            assert (code, "is writing to" in text) == (409, True)
        code, _, _ = await post(session, url, "j/Hall%203/room", **door)
        assert code == 303

    asked(served, work)


def test_rooms_are_added_behind_a_door_named_and_each_looked_at(
    served: Page, tmp_path: Path
) -> None:
    async def work(session: Any, url: str) -> None:
        here = "j/Hall%203/"

        async def done(path: str, **fields: str) -> tuple[int, str, str]:
            told: tuple[int, str, str] = await post(session, url, here + path, **fields)
            return told

        await post(session, url, "new", **NEW)
        await done("room", act="door", door_width="3ft", x="12ft", y="5ft")
        kitchen = {"act": "add", "room": "Kitchen", "door": "0", "shape": "rectangle",
                   "width": "9ft", "depth": "6ft"}  # fmt: skip
        code, text, _ = await done("rooms", **kitchen)
        assert (code, "to the corner on your left" in text) == (422, True)
        code, text, _ = await done("rooms", **kitchen | {"left": "2ft", "room": "Room 1"})
        assert (code, "There is a room Room 1 already" in text) == (422, True)
        assert (await done("rooms", **kitchen | {"left": "2ft"}))[0] == 303
        code, text, _ = await done("rooms", act="rename room 1", new="kitchen")
        assert (code, 'value="kitchen"' in text) == (422, True)  # what was typed is kept
        assert (await done("rooms", act="rename room 1", new="Hall & stair"))[0] == 303
        for path in ("room", "rooms", "grid", "floor", "plan", "log", "report"):
            code, text = await status(session, url + here + path)
            assert (code, "Hall &amp; stair" in text) == (200, True), path
        code, _, to = await done("in/Kitchen/grid", act="grid", spacing="4ft")
        assert (code, to.endswith("in/Kitchen/grid")) == (303, True)
        async with session.get(url + here + "in/Hall%20%26%20stair/") as answer:
            assert answer.url.path.endswith("/product")
        assert (await status(session, url + here + "in/Cellar/grid"))[0] == 400
        text = (await status(session, url + here + "proof/verdict?rule=a108-small"))[1]
        assert "pick one above" in text

    asked(served, work)
    with Job.open(tmp_path / "jobs" / "Hall 3.sqlite") as job:
        told = listed(job)
        walls, points = rooms_of(job)[1][1].walls, job.points()
    assert [(one.name, one.joins) for one in told.rooms] == [
        ("Hall & stair", ("Kitchen",)),
        ("Kitchen", ("Hall & stair",)),
    ]
    # Who comes in through the right wall has its start on the left: 2 ft past the door's edge.
    x_mm, y_mm = 12 * FT + 114.3, (5 + 1.5 + 2) * FT
    corners = [(x_mm, y_mm), (x_mm, y_mm - 9 * FT), (x_mm + 6 * FT, y_mm - 9 * FT)]
    assert np.asarray(walls[:3]) == pytest.approx(np.asarray(corners))
    assert points
    assert all(point.x_mm > 12 * FT for point in points)


def test_what_goes_with_a_room_is_told_before_it_goes(served: Page, tmp_path: Path) -> None:
    placed = from_rings([(4000.0, 0.0), (7000.0, 0.0), (7000.0, 3000.0), (4000.0, 3000.0)])

    async def work(session: Any, url: str) -> None:
        await post(session, url, "new", **NEW)
        with Job.open(tmp_path / "jobs" / "Hall 3.sqlite", write=True) as job:
            add_room(job, "Kitchen", placed)
            make_grid(in_room(job, "Kitchen"))
        shots = tmp_path / "shots.csv"
        shots.write_text("label,x,y,reading\nZ9,5000,1000,1200\n")
        with Job.open(tmp_path / "jobs" / "Hall 3.sqlite", write=True) as job:
            import_table(job, shots, "mm")
        code, text, _ = await post(session, url, "j/Hall%203/rooms", act="drop Kitchen")
        assert (code, "Kitchen has 1 shot" in text) == (422, True)
        sure = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', text))
        with Job.open(tmp_path / "jobs" / "Hall 3.sqlite") as job:
            assert names_of(job) == ["room 1", "Kitchen"]
        assert (await post(session, url, "j/Hall%203/rooms", **sure, sure="yes"))[0] == 303

    asked(served, work)
    with Job.open(tmp_path / "jobs" / "Hall 3.sqlite") as job:
        assert names_of(job) == ["room 1"]


def test_an_encrypted_page_installs_as_an_app(served: Page) -> None:
    async def work(session: Any, url: str) -> None:
        assert "manifest" not in (await status(session, url))[1]
        assert isinstance(served.site, Site)
        served.site.encrypted = True
        text = (await status(session, url))[1]
        found = re.search(r'rel="manifest" href="([^"]+)"', text)
        assert found
        root = url.rsplit("/", 2)[0]
        async with session.get(root + found[1]) as answer:
            assert answer.content_type == "application/manifest+json"
            told = json.loads(await answer.text())
        assert told["start_url"] == told["scope"] == "."
        for icon in told["icons"]:
            async with session.get(url + icon["src"]) as answer:
                assert (answer.status, answer.content_type) == (200, icon["type"])
        for path in ("worker.js", "app.webmanifest", "away"):
            assert (await status(session, f"{root}/x/{path}"))[0] == 403

    asked(served, work)


def test_a_style_is_not_sent_twice_and_never_an_old_one(served: Page) -> None:
    async def work(session: Any, url: str) -> None:
        async with session.get(url + "site.css") as answer:
            mark = answer.headers["ETag"]
            assert "no-cache" in answer.headers["Cache-Control"]
        for sent, code in ((mark, 304), ('"other"', 200)):
            assert (await status(session, url + "site.css", headers={"If-None-Match": sent}))[
                0
            ] == code

    asked(served, work)


def test_names_of_jobs_stay_in_their_folder(tmp_path: Path) -> None:
    folder = JobFolder(tmp_path)
    for name in ("../x", "a/b", ".hidden", "", "=1", "a\x00b", "x" * 65, "a\\b"):
        with pytest.raises(BadInput):
            folder.free(name)
    with pytest.raises(BadInput, match="no job"):
        folder.file("../jobs/a")


def test_a_phone_chooses_its_language_for_itself(served: Page) -> None:
    async def work(session: Any, url: str) -> None:
        async def chosen(key: str) -> str | None:
            async with session.post(
                url + "language",
                data={"language": key},
                headers=origin(url),
                allow_redirects=False,
            ) as answer:
                assert answer.status == 303
                kept = answer.cookies.get("language")
                return None if kept is None else str(kept.value)

        assert await chosen("de") == "de"
        assert await chosen("klingon") is None
        _, text = await status(session, url, cookies={"language": "de"})
        assert '<html lang="de">' in text
        _, text = await status(session, url)
        assert '<html lang="en">' in text

    asked(served, work)


def test_a_job_is_copied_renamed_and_put_away_never_deleted(served: Page, tmp_path: Path) -> None:
    async def work(session: Any, url: str) -> None:
        await post(session, url, "new", **NEW)
        for act, job, new in (
            ("copy", "Hall 3", "Hall 4"),
            ("rename", "Hall 3", "Hall 5"),
            ("archive", "Hall 4", ""),
        ):
            assert (await post(session, url, "", act=act, job=job, new=new))[0] == 303
        code, text, _ = await post(session, url, "", act="rename", job="Hall 5", new="../x")
        assert (code, "no / " in text) == (422, True)

    asked(served, work)
    jobs = tmp_path / "jobs"
    assert [file.stem for file in jobs.glob("*.sqlite")] == ["Hall 5"]
    assert [file.stem for file in (jobs / "archive").glob("*.sqlite")] == ["Hall 4"]


def test_walls_are_paced_out_with_a_decimal_comma_too(served: Page, tmp_path: Path) -> None:
    async def work(session: Any, url: str) -> None:
        told = {"units": "mm", "shape": "walls", "walls": ""}
        for length in ("3,5", "2", "3,5m", "2"):
            fields = {**told, "length": length, "act": "left"}
            code, text, _ = await post(session, url, "new", **fields)
            assert code == 200
            found = re.search(r'name="walls" value="([^"]*)"', text)
            assert found
            told["walls"] = found[1]
        assert "4 walls" in text
        assert (await post(session, url, "new", **told, name="Walk", act="make"))[0] == 303

    asked(served, work)
    with Job.open(tmp_path / "jobs" / "Walk.sqlite") as job:
        walls = [(0, 0), (3500, 0), (3500, 2000), (0, 2000)]
        assert np.asarray(job.outline_rings()[0]) == pytest.approx(np.asarray(walls))


def test_a_door_is_typed_in_the_unit_of_the_room(served: Page, tmp_path: Path) -> None:
    async def work(session: Any, url: str) -> None:
        await post(session, url, "new", **NEW)
        door = {"act": "door", "door_width": "3", "x": "6", "y": "0"}
        assert (await post(session, url, "j/Hall%203/room", **door))[0] == 303

    asked(served, work)
    with Job.open(tmp_path / "jobs" / "Hall 3.sqlite") as job:
        (door,) = outline_of(job).doors
        assert door.middle == pytest.approx((6 * 304.8, 0.0))


def test_htmx_is_the_file_that_was_looked_at() -> None:
    """`npm pack htmx.org@2.0.11`, its dist/htmx.min.js, byte for byte."""
    data = (resources.files("rig.page") / "static" / "htmx.js").read_bytes()
    told = b64encode(hashlib.sha384(data).digest()).decode()
    assert told == "2OatzQy1H+Zd/IIrjr1TcuDGqLXeHhbooAyJY1KdQMKnr4LZ22k31GBLdYKHmVjg"


def test_an_encrypted_link_is_one_that_a_phone_can_trust(tmp_path: Path) -> None:
    folder = JobFolder(tmp_path / "jobs")
    folder.make()

    def serve(work: Any) -> None:
        page = Page()
        page.encrypts = lambda names: encrypted(tmp_path / "tls", names, time.time())
        page.site = Site(folder, Work(page, Rods()), Rods())
        page.start()
        asked(page, work)
        page.site.close()
        page.close()

    trusted: list[str] = []

    async def load(session: Any, url: str) -> None:
        assert url.startswith("https://")
        with pytest.raises(aiohttp.ClientConnectorCertificateError):
            await status(session, url)
        code, text = await status(session, url + "authority.crt", ssl=False)
        assert code == 200
        trusted.append(text)

    async def use(session: Any, url: str) -> None:
        trusts = ssl.create_default_context(cadata=trusted[0])  # of the start before
        assert (await status(session, url, ssl=trusts))[0] == 200
        async with session.post(url + "new", data=NEW, headers=origin(url), ssl=trusts) as answer:
            assert answer.status == 200
        plain = {"Origin": origin(url)["Origin"].replace("https", "http")}
        async with session.post(url + "new", data=NEW, headers=plain, ssl=trusts) as answer:
            assert answer.status == 403

    serve(load)
    serve(use)
    assert (tmp_path / "tls" / "authority.pem").stat().st_mode & 0o077 == 0


READINGS = [1000.0 + (7 * n) % 11 for n in range(40)]


async def walked(session: Any, url: str, readings: list[float]) -> None:
    """Type readings into the session that runs until it has come to its end."""
    async with session.ws_connect(url + "session/live") as socket:
        await socket.send_json({"say": "hello", "phone": "a"})
        said, taken = iter(readings), None
        while True:
            state = json.loads(await socket.receive_str(timeout=20)).get("state", {})
            if (state.get("home") or {}).get("over"):
                return
            now = state.get("now") or {}
            if now.get("mode") in ("hold", "go", "check") and now["label"] != taken:
                taken = now["label"]
                await socket.send_json({"say": "type", "line": f"{next(said):.0f} mm"})


def test_a_job_made_by_pages_is_the_one_made_by_commands(served: Page, tmp_path: Path) -> None:
    async def work(session: Any, url: str) -> None:
        here = "j/Hall/"
        for path, fields in (
            ("new", {"name": "Hall", "units": "mm", "shape": "rectangle", "width": "3",
                     "depth": "4"}),
            (here + "room", {"act": "door", "x": "1.5m", "y": "0m", "door_width": "900mm"}),
            (here + "room", {"act": "door", "x": "1.5m", "y": "4m", "door_width": "900mm"}),
            (here + "rooms", {"act": "add", "room": "Bath", "door": "1", "left": "500mm",
                              "shape": "rectangle", "width": "2", "depth": "1.5"}),
            (here + "product", {"act": "keep", "covering": "plank", "min_cover": "6mm",
                                "bag_mass": "25kg", "bag_yield": "14l", "bag_water": "6l"}),
            (here + "grid", {"act": "grid", "spacing": "2m"}),
            (here + "survey", {"act": "benchmark", "label": "BM1", "source": "tape", "unit": "mm"}),
        ):  # fmt: skip
            assert (await post(session, url, path, **fields))[0] == 303, path
        await walked(session, url, [1200.0])
        typed = {"act": "survey", "source": "tape", "unit": "mm"}
        assert (await post(session, url, here + "survey", **typed))[0] == 303
        await walked(session, url, [*READINGS[:points], 1200.0, 1200.0])
        plan = {"act": "plan", "target": "level", "cover": "6", "confidence": "95"}
        assert (await post(session, url, here + "plan", **plan))[0] == 303
        assert (await post(session, url, here + "markers", act="lay"))[0] == 303
        pour = {"act": "plan", "mixers": "2", "crew": "4", "mix_time": "2", "working_time": "20"}
        assert (await post(session, url, here + "pour", **pour))[0] == 303
        for at in (here, here + "in/Bath/"):
            report.append((await status(session, url + at + "report/look"))[1])

    job = tmp_path / "Hall.sqlite"

    def command(*words: str, typed: str = "") -> Any:
        done = CliRunner().invoke(rig, [*words, "--job", str(job)], input=typed)
        assert done.exit_code == 0, (words, done.output)
        return done

    command("new", "--room", "3m,4m", "--units", "mm", "--door", "1050mm,0m,900mm", "--door",
            "1950mm,4m,900mm", "--covering", "plank", "--min-cover", "6mm", "--bag-mass", "25kg",
            "--bag-yield", "14l", "--bag-water", "6l")  # fmt: skip
    command("room", "add", "Bath", "--room", "2m,1.5m", "--at", "550mm,4100mm", "--doorway",
            "1050mm,4100mm,900mm")  # fmt: skip
    points = len(json.loads(command("grid", "--spacing", "2m", "--json").output)["points"])
    tape = ["survey", "--typed", "--unit", "mm"]
    command(*tape, "--kind", "benchmark", "--label", "BM1", typed="1200 mm\n")
    lines = [f"{mm:.0f} mm" for mm in (*READINGS[:points], 1200.0, 1200.0)]
    command(*tape, typed="\n".join(lines) + "\n")
    command("plan")
    command("markers")
    command("pour", "plan", "--mixers", "2", "--crew", "4", "--mix-time", "2min",
            "--working-time", "20min")  # fmt: skip
    command("report", "--out", str(tmp_path / "report.html"))
    command("report", "--room", "Bath", "--out", str(tmp_path / "bath.html"))
    report: list[str] = []
    asked(served, work)

    def told(html: str) -> list[str]:
        """Its words, less what says when and by which file it was made."""
        text = re.sub(r"<style>.*?</style>", "", html, flags=re.S)
        text = re.sub(
            r"\d{4}-\d\d-\d\d|\d?\d:\d\d(:\d\d)?|\b[0-9a-f]{16,64}\b|\b1\d{9}\b", "-", text
        )
        return [line.strip() for line in text.splitlines() if line.strip()]

    assert "Bath" in report[0]
    for html, file in zip(report, ("report.html", "bath.html"), strict=True):
        assert told(html) == told((tmp_path / file).read_text())


L_SHAPE = "POLYGON ((0 0, 4 0, 4 2, 2 2, 2 3, 0 3, 0 0), (1 1, 1.2 1, 1.2 1.2, 1 1.2, 1 1))"


async def with_file(session: Any, url: str, path: str, data: bytes, **fields: str) -> Any:
    """Send an outline with a form."""
    form = aiohttp.FormData({"shape": "file", **fields})
    form.add_field("outline", data, filename="../../plan.exe")
    kept = {"data": form, "headers": origin(url), "allow_redirects": False}
    async with session.post(url + path, **kept) as answer:
        return answer.status, await answer.text()


def test_an_outline_comes_as_a_file_and_is_known_by_its_content(
    served: Page, tmp_path: Path
) -> None:
    async def work(session: Any, url: str) -> None:
        new = {"name": "Shop", "units": "mm", "act": "make", "outline_unit": "m"}
        comb = [b"%d %d" % (n, n % 2) for n in range(601)] + [b"600 9", b"0 9", b"0 0"]
        for data, told in (
            (b"\xff\xd8\xff\xe0", "no text file"),
            (b"GIF89a not a plan", "is missing; the heading is ring,x,y"),
            (b"POLYGON ((0 0, 4 0))", "not sound WKT"),
            (b"POLYGON ((" + b", ".join(comb) + b"))", "500 corners at most"),
        ):
            code, text = await with_file(session, url, "new", data, **new)
            assert (code, told in text) == (422, True), (
                told,
                re.findall(r"role=.alert.>([^<]*)", text),
            )
        code, text = await with_file(session, url, "new", L_SHAPE.encode(), **new | {"name": ""})
        assert (code, "The file that you sent is kept" in text) == (422, True)
        kept = re.search(r'name="outline_kept" value="([^"]+)"', text)
        assert kept
        again = new | {"shape": "file", "outline_kept": kept[1]}
        assert (await post(session, url, "new", **again))[0] == 303
        assert (await with_file(session, url, "new", b" " * 10_000_001, **new))[0] == 413
        with_room = {"act": "add", "room": "Store", "outline_unit": "mm"}
        store = b"ring,x,y\nw,4100,0\nw,6000,0\nw,6000,2000\nw,4100,2000\n"
        assert (await with_file(session, url, "j/Shop/rooms", store, **with_room))[0] == 303

    asked(served, work)
    with Job.open(tmp_path / "jobs" / "Shop.sqlite") as job:
        (_, shop), (name, store) = rooms_of(job)
    assert shop.area_m2 == pytest.approx(9.96)
    assert (len(shop.walls), len(shop.openings)) == (6, 1)
    assert store.area_m2 == pytest.approx(3.8)
    assert (name, min(store.walls)) == ("Store", (4100.0, 0.0))


def test_what_becomes_of_the_shots_is_told_before_the_walls_change(
    served: Page, planned: Path, tmp_path: Path
) -> None:
    path = tmp_path / "jobs" / "Hall.sqlite"
    path.write_bytes((planned / "job.sqlite").read_bytes())

    async def work(session: Any, url: str) -> None:
        walls = {"act": "walls", "shape": "rectangle", "width": "6", "depth": "6"}
        code, text, _ = await post(session, url, "j/Hall/room", **walls)
        assert code == 422
        for told in ("outside the walls", "The grid is of the old walls", "would be stale"):
            assert told in text, told
        before = path.read_bytes()
        sure = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', text))
        assert walls.items() <= sure.items()
        assert path.read_bytes() == before
        assert (await post(session, url, "j/Hall/room", **sure, sure="yes"))[0] == 303
        name = {"act": "name-wall", "named": "3", "wall_name": "window wall"}
        assert (await post(session, url, "j/Hall/room", **name))[0] == 303  # it moves nothing
        code, text, _ = await post(session, url, "j/Hall/grid", act="grid", spacing="2ft")
        assert (code, "shots so far stay and count" in text) == (422, True)

    asked(served, work)
    with Job.open(path) as job:
        outline = outline_of(job)
        assert outline.area_m2 == pytest.approx(36 * 0.3048**2)
        assert outline.wall_names == {2: "window wall"}
        assert len(outline.doors) == 1


def test_the_shots_of_a_point_are_told_and_one_is_set_aside(
    served: Page, planned: Path, tmp_path: Path
) -> None:
    path = tmp_path / "jobs" / "Hall.sqlite"
    path.write_bytes((planned / "fresh.sqlite").read_bytes())

    def used() -> list[float]:
        with Job.open(path) as job:
            return [one.reading_mm for one in job.shots(kinds=["floor"]) if one.point == "A1"]

    async def work(session: Any, url: str) -> None:
        at = "j/Hall/shot"
        for reading in (1200.0, 1210.0):
            again = {"act": "again", "label": "A1", "source": "tape", "unit": "mm"}
            code, _, to = await post(session, url, at, **again)
            assert (code, to.endswith("session/")) == (303, True)
            await walked(session, url, [reading])
        code, text = await status(session, url + at + "?label=A1")
        assert (code, text.count("in use"), text.count("shot again since")) == (200, 1, 1)
        code, _, to = await post(session, url, at, act="aside", label="A1")
        assert (code, to.endswith("shot?label=A1")) == (303, True)
        assert used() == []  # and the earlier one does not come back
        assert "set aside" in (await status(session, url + at + "?label=A1"))[1]
        code, text, _ = await post(session, url, at, act="aside", label="A1")
        assert (code, "No shot of A1 counts" in text) == (422, True)
        text = (await status(session, url + "j/Hall/undo"))[1]
        found = re.search(r'value="undo (e\d+)" aria-label="[^"]*set aside: A1"', text)
        assert found
        assert (await post(session, url, "j/Hall/undo", act=f"undo {found[1]}"))[0] == 303
        assert used() == [1210.0]
        assert (await post(session, url, at, act="undo", label="A1"))[0] == 303
        assert used() == [1200.0]
        assert (await post(session, url, at, act="aside", label="A1"))[0] == 303
        assert (await status(session, url + at + "?label=Z9"))[0] == 200

    asked(served, work)
    again = tmp_path / "again.sqlite"
    again.write_bytes((planned / "fresh.sqlite").read_bytes())
    words = ("survey", "--job", str(again), "--replay", str(path))
    assert CliRunner().invoke(rig, words).exit_code == 0
    with Job.open(path) as one, Job.open(again) as other:
        for current in (True, False):
            told = [
                [(shot.point, shot.reading_mm) for shot in job.shots(current=current)]
                for job in (one, other)
            ]
            assert told[0] == told[1]


def test_heights_follow_a_marker_that_is_dragged(
    served: Page, planned: Path, tmp_path: Path
) -> None:
    path = tmp_path / "jobs" / "Hall.sqlite"
    path.write_bytes((planned / "job.sqlite").read_bytes())

    async def work(session: Any, url: str) -> None:
        at = "x=1200mm&y=800mm"
        code, text = await status(session, url + f"j/Hall/markers/height?{at}")
        found = re.search(r"a marker here stands (.+?) out of the floor and reads (.+?)\.<", text)
        assert found
        height.extend(found.groups())
        code, text = await status(session, url + "j/Hall/markers/height?x=9m&y=1m")
        assert (code, "not in the room" in text) == (200, True)
        move = {"act": "move", "label": "M1", "x": "1200mm", "y": "800mm"}
        assert (await post(session, url, "j/Hall/markers", **move))[0] == 303

    height: list[str] = []
    asked(served, work)
    with Job.open(path) as job:
        moved = next(one for one in job.markers() if one.label == "M1")
        units = job.units
    assert (moved.x_mm, moved.y_mm) == (1200.0, 800.0)
    assert height == [units.length(moved.stick_out_mm), units.length(moved.target_reading_mm)]


def test_lifts_are_laid_set_and_poured_one_after_the_other(
    served: Page, planned: Path, tmp_path: Path
) -> None:
    path = tmp_path / "jobs" / "Hall.sqlite"
    path.write_bytes((planned / "job.sqlite").read_bytes())
    pour = {"act": "plan", "mixers": "1", "crew": "3", "mix_time": "2", "working_time": "30"}

    def chosen(text: str) -> str:
        picked = re.search(r'<option value="(\d*)" selected>[^<]*lift', text)
        return picked[1] if picked else "none"

    async def first(session: Any, url: str) -> None:
        at = "j/Hall/"
        told = {"act": "keep", "min_cover": "1/4in", "max_cover": "9mm", "bag_yield": "0.45ft3"}
        assert (await post(session, url, at + "product", **told))[0] == 303
        plan = {"act": "plan", "target": "level", "cover": "0.25", "confidence": "95"}
        assert (await post(session, url, at + "plan", **plan))[0] == 303
        assert chosen((await status(session, url + at + "markers"))[1]) == "1"
        code, text, _ = await post(session, url, at + "markers", act="lay", lift="7")
        assert (code, "there is no lift 7" in text) == (422, True)
        assert (await post(session, url, at + "markers", act="lay", lift="1"))[0] == 303
        assert "lift 1 of 2" in (await status(session, url + at + "set"))[1]
        assert (await post(session, url, at + "pour", **pour, lift="1"))[0] == 303

    async def second(session: Any, url: str) -> None:
        at = "j/Hall/"
        async with session.get(url + at) as answer:  # the next thing to do
            assert answer.url.path.endswith("/markers")
            assert chosen(await answer.text()) == "2"
        assert (await post(session, url, at + "markers", act="lay", lift="2"))[0] == 303
        assert chosen((await status(session, url + at + "pour"))[1]) == "2"
        assert (await post(session, url, at + "pour", **pour, lift="2"))[0] == 303
        async with session.get(url + at) as answer:
            assert answer.url.path.endswith("/set")

    asked(served, first)
    words = ("pour", "run", "--job", str(path), "--json")
    done = CliRunner().invoke(rig, words, input="batch\nyes\nstop\nyes\n" * 4)
    assert '"event": "done"' in done.output, done.output
    asked(served, second)
    with Job.open(path) as job:
        assert lifts_poured(job) == [1]


def test_a_new_job_is_metric_where_another_language_is_spoken(served: Page) -> None:
    async def work(session: Any, url: str) -> None:
        assert "a number alone is in feet" in (await status(session, url + "new"))[1]
        text = (await status(session, url + "new", headers={"Cookie": "language=de"}))[1]
        assert '<option value="mm" selected>' in text
        assert "eine Zahl allein ist in Metern" in text

    asked(served, work)
