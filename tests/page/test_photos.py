"""The site's log on the page: readings as they are typed, photos as phones take them, attacks."""

import io
import re
import struct
import zlib
from base64 import b64encode
from pathlib import Path
from typing import Any

import aiohttp
import pytest
from PIL import Image

from rig.job.store import Job
from rig.page.server import Page
from rig.page.visit import MOST_UPLOAD
from rig.study.site_log import photos_of, site_log
from tests.page.test_server import asked, status
from tests.page.test_site import NEW, origin, post

SITE = "j/Hall%203/site"


async def send(session: Any, url: str, data: bytes, name: str = "a.jpg", **fields: str) -> Any:
    """Send a photo as a form of a phone does; return the answer's status and text."""
    form = aiohttp.FormData({"act": "log", **fields})
    form.add_field("photo", data, filename=name, content_type="image/jpeg")
    async with session.post(
        url + SITE, data=form, headers=origin(url), allow_redirects=False
    ) as answer:
        return answer.status, await answer.text()


def taken(**more: Any) -> bytes:
    """A photo as a phone writes it: turned, with the place where it was taken, and a comment."""
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "MAKERNAME"
    exif.get_ifd(0x8825).update({1: "N", 2: (48.0, 51.0, 29.5), 3: "E", 4: (2.0, 17.0, 40.2)})
    out = io.BytesIO()
    Image.new("RGB", (400, 300), "red").save(
        out, "JPEG", exif=exif, comment=b"at 48.858 2.294", xmp=b"<x>GPSLatitude</x>", **more
    )
    return out.getvalue()


def png_of(width: int, height: int) -> bytes:
    """A picture of one colour that is small as a file and large in memory."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    rows = zlib.compress(bytes((width // 8 + 1) * height), 9)
    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def test_a_photo_is_pinned_kept_upright_and_without_its_place(served: Page, tmp_path: Path) -> None:
    async def work(session: Any, url: str) -> None:
        await post(session, url, "new", **NEW)
        fields = {"note": "crack by the door", "x": "3", "y": "2ft"}
        assert (await send(session, url, taken(), "../../../etc/cron.d/x", **fields))[0] == 303
        code, text = await status(session, url + SITE)
        assert (code, "crack by the door" in text, "photo-1" in text) == (200, True, True)
        async with session.get(url + SITE + "/photo-1") as answer:
            assert answer.headers["Content-Type"] == "image/jpeg"
            assert "sandbox" in answer.headers["Content-Security-Policy"]
            assert answer.headers["X-Content-Type-Options"] == "nosniff"
            told.append(await answer.read())
        for part in ("photo-0", "photo-2", "photo-", "photo-1/..", "photo-99999999999999"):
            assert "image" not in (await session.get(f"{url}{SITE}/{part}")).content_type
        async with session.get(url + "j/Hall%203/report/report.html") as answer:
            told.append(await answer.read())
        code, text = await status(session, url + "j/Hall%203/undo")
        assert "Photo crack by the door" in text

    told: list[bytes] = []
    with_place = taken()
    assert b"GPS" in with_place
    assert b"48.858" in with_place
    asked(served, work)
    with Job.open(tmp_path / "jobs" / "Hall 3.sqlite") as job:
        ((entry, jpeg),) = photos_of(job)
        assert entry.text == "crack by the door"
        assert entry.x_mm == pytest.approx(914.4)
        assert entry.y_mm == pytest.approx(609.6)
    assert jpeg == told[0]
    assert b64encode(jpeg) in told[1]
    assert b"crack by the door" in told[1]
    with Image.open(io.BytesIO(jpeg)) as image:
        assert image.size == (300, 400)  # turned upright
        assert not image.getexif()
    for secret in (b"GPS", b"48.858", b"MAKERNAME", b"Exif"):
        assert secret not in jpeg
    assert not list(tmp_path.rglob("cron.d"))


HOSTILE = {
    "svg": b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
    "html": b"\xff\xd8\xff<html><script>alert(1)</script></html>",
    "gif": b"GIF89a\x01\x00\x01\x00\x00\x00\x00;",
    "cut short": taken()[:600],
    "bomb": png_of(30_000, 30_000),
    "just too many": png_of(4100, 4100),
    "nothing but zeros": bytes(100_000),
}


def test_what_is_no_photo_is_refused_beside_its_field(served: Page, tmp_path: Path) -> None:
    async def work(session: Any, url: str) -> None:
        await post(session, url, "new", **NEW)
        for name, data in HOSTILE.items():
            code, text = await send(session, url, data, note="kept as typed")
            assert code == 422, name
            assert "The photo" in text, name
            assert 'value="kept as typed"' in text, name
        code, text = await send(session, url, bytes(MOST_UPLOAD + 1))
        assert (code, "more than 10 MB" in text) == (413, True)

        async def without_length() -> Any:
            head = b'--b\r\nContent-Disposition: form-data; name="photo"; filename="a"\r\n\r\n'
            yield head
            for _ in range(12):
                yield bytes(1_000_000)

        headers = origin(url) | {"Content-Type": "multipart/form-data; boundary=b"}
        async with session.post(url + SITE, data=without_length(), headers=headers) as answer:
            assert answer.status == 413
        # Elsewhere nothing large is taken at all.
        grid = {"act": "grid", "spacing": "3" * 100_000}
        assert (await post(session, url, "j/Hall%203/grid", **grid))[0] == 413
        bare = url.rsplit("/", 2)[0] + "/x/"
        for at, told in ((bare, origin(url)), (url, {}), (url, {"Origin": "http://evil.example"})):
            async with session.post(at + SITE, data={"act": "log", "note": "x"}, headers=told) as a:
                assert a.status == 403
        assert (await status(session, bare + SITE + "/photo-1"))[0] == 403

    asked(served, work)
    with Job.open(tmp_path / "jobs" / "Hall 3.sqlite") as job:
        assert not site_log(job).entries


def test_readings_of_the_site_are_typed_with_or_without_their_unit(
    served: Page, tmp_path: Path
) -> None:
    async def work(session: Any, url: str) -> None:
        await post(session, url, "new", **NEW | {"units": "mm", "width": "3", "depth": "4"})
        assert (await post(session, url, SITE, act="log", note="a slip"))[0] == 303
        code, text = await status(session, url + "j/Hall%203/undo")
        slip = re.search(r'value="(undo e\d+)" aria-label="Take back: logged: Note a slip"', text)
        assert slip
        assert (await post(session, url, "j/Hall%203/undo", act=slip[1]))[0] == 303
        typed = {"air": "21,5", "air_rh": "55%", "floor": "64F", "moisture": "1.8CM", "coat": "1"}
        assert (await post(session, url, SITE, act="log", **typed))[0] == 303
        for wrong in ({"air": "hot"}, {"air_rh": "140"}, {"coat": "12"}, {"x": "1m"}, {}):
            code, text, _ = await post(session, url, SITE, act="log", **wrong)
            assert (code, 'role="alert"' in text) == (422, True), wrong

    asked(served, work)
    with Job.open(tmp_path / "jobs" / "Hall 3.sqlite") as job:
        read = {one.what: one.value for one in site_log(job).entries}
    assert read == {
        "air": 21.5, "air_rh": 55.0, "floor": pytest.approx(17.78, abs=0.01), "moisture": 1.8,
        "primer": 1.0,
    }  # fmt: skip
