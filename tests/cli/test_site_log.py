"""The site's log through the command line, and what the compound's sheet asks for."""

import base64
import io
import re
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

from tests.cli.conftest import Run

SHEET = (
    "--bag-yield", "12l", "--min-temperature", "10C", "--max-temperature", "30C",
    "--max-moisture", "2%CM", "--max-air-rh", "75%",
    "--working-time", "20min", "--mix-time", "2min",
)  # fmt: skip

SENSOR = r"""
text = "thermometer and hygrometer, a line each time"
framing = "line"
[line]
pattern = 'T=(?P<air>[-+.\d]+) C H=(?P<air_rh>[.\d]+) % S=(?P<floor>[-+.\d]+) C'
"""


@pytest.fixture
def site(run: Run) -> Run:
    assert run("product", "add", "Blend", *SHEET).code == 0
    assert run("new", "--room", "3m,4m", "--units", "mm", "--product", "Blend").code == 0
    return run


def test_readings_are_held_against_the_compounds_sheet(site: Run) -> None:
    asks = {one["what"]: one for one in site("log", "list", "--json").json["asks"]}
    assert set(asks) == {"air", "air_rh", "floor", "moisture"}
    assert all(one["within"] is None for one in asks.values())
    assert "not read yet" in site("pour", "list").out

    read = ("--air", "21C", "--floor", "48.2F", "--moisture", "1.8%CM", "--slab-rh", "80%")
    told = site("log", "add", *read, "--coat", "1", "--note", "primed", "--at", "1m,2m", "--json")
    entries = {one["what"]: one for one in told.json["entries"]}
    assert entries["floor"]["value"] == pytest.approx(9.0)
    assert entries["floor"]["within"] is False
    assert entries["moisture"]["within"] is True
    assert "carbide" in entries["moisture"]["method"]
    assert entries["slab_rh"]["within"] is None  # this sheet says nothing of it
    assert entries["slab_rh"]["method"].endswith("(ASTM F2170)")
    assert (entries["note"]["x_mm"], entries["note"]["y_mm"]) == (1000, 2000)
    listed = site("pour", "list", "--json").json
    assert {one["what"]: one["within"] for one in listed["asks"]} == {
        "air": True, "air_rh": None, "floor": False, "moisture": True,
    }  # fmt: skip
    site("log", "add", "--floor", "15C")
    asks = {one["what"]: one for one in site("log", "list", "--json").json["asks"]}
    assert asks["floor"]["within"] is True  # the last one counts


def test_the_customer_s_page_has_the_first_and_the_last_photo_without_their_place(
    site: Run,
) -> None:
    place = Image.Exif()
    place.get_ifd(0x8825)[2] = (48.0, 51.0, 29.5)  # latitude in a camera's GPS table (Exif 2.3)
    for name in ("before", "between", "after"):
        Image.new("RGB", (90, 60), "grey").save("p.jpg", exif=place, comment=b"taken at home")
        assert site("log", "add", "--photo", "p.jpg", "--note", f"{name} it").code == 0
    assert site("report", "--for", "customer", "--out", "r").code == 0
    page = Path("r/customer.html").read_text()
    assert [f"{name} it" in page for name in ("before", "between", "after")] == [True, False, True]
    for told in re.findall(r"data:image/jpeg;base64,([^\"]+)", page):
        data = base64.b64decode(told)
        assert b"home" not in data
        with Image.open(io.BytesIO(data)) as image:
            assert not image.getexif().get_ifd(0x8825)
    assert site("report", "--check", "r/customer.html").code == 0
    assert site("report", "--for", "customer", "--no-photos", "--out", "r").code == 0
    assert "<img" not in Path("r/customer.html").read_text()


def test_a_photo_is_kept_in_the_job(site: Run) -> None:
    Image.new("RGB", (3000, 2000), (90, 80, 70)).save("big.png")
    assert site("log", "add", "--photo", "big.png", "--note", "the dip").code == 0
    Path("big.png").unlink()
    (path,) = site("log", "photos", "--out", "out", "--json").json["files"]
    with Image.open(path) as image:
        assert image.format == "JPEG"
        assert max(image.size) == 1400
    assert "jpeg" not in site("log", "list", "--json").out
    assert site("report", "--out", "r").code == 0
    assert "the dip" in Path("r/report.html").read_text()


def test_a_sensor_on_a_port_is_read_into_the_log(site: Run) -> None:
    Path("thermo.toml").write_text(SENSOR)
    words = [sys.executable, "-m", "simulated_devices", "sensor", "--air", "31"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as sensor:
        assert sensor.stdout is not None
        port = sensor.stdout.readline().strip()
        told = site("log", "add", "--serial", port, "--profile", "thermo.toml", "--floor", "12C",
                    "--json")  # fmt: skip
        sensor.terminate()
    assert told.code == 0, told.err
    read = {one["what"]: one["value"] for one in told.json["entries"]}
    assert read["air"] == pytest.approx(31.0, abs=0.5)
    assert read["air_rh"] == pytest.approx(55.0, abs=2.0)
    assert read["floor"] == 12.0  # what was typed counts
    assert {one["what"]: one["within"] for one in told.json["asks"]}["air"] is False
    assert site("log", "add", "--serial", "nowhere", "--profile", "thermo.toml").code == 3
    assert "--profile" in site("log", "add", "--serial", port).err
    assert len(site("log", "list", "--json").json["entries"]) == 3


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "nothing to log"),
        (("--air", "21"), "write 21C or 70F"),
        (("--slab-rh", "120%"), "from 0 to 100"),
        (("--emission", "much"), "write 3lb"),
        (("--photo", "none.jpg"), "none.jpg"),
        (("--air", "21C", "--photo", "job.sqlite"), "no picture"),
    ],
)
def test_what_cannot_be_logged_is_told_and_nothing_is_kept(
    site: Run, words: tuple[str, ...], told: str
) -> None:
    said = site("log", "add", *words)
    assert said.code == 2
    assert told in said.err
    assert site("log", "list", "--json").json["entries"] == []
