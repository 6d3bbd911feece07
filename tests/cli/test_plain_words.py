"""An inch job says no millimetre and a metric job no inch, in a helper's words."""

import re

import pytest

from tests.cli.conftest import Run, Table

METRIC = re.compile(r"\d ?(mm|cm|m|l|kg|kPa)\b|mm/m|°C|milli|litre")
INCHES = re.compile(r"\d (in|ft|lb|gal)\b(?! \d+ strips)|ft[²³]|in/ft|°F|inch|feet")
JARGON = re.compile(
    r"level plane|along [xy]\b|for surface|their squares|beyond need|dies in|sigma|"
    r"standard deviation|falling towards|undulate|residual|\d+° \(0°"
)
ROOM = {"in": ["12ft,15ft", "4ft,0ft,3ft", "1/4in"], "mm": ["3.66m,4.57m", "1.2m,0m,0.9m", "6mm"]}
PEGS = ["1200mm,1212mm,3m,20m", "1300mm,1311mm,20m,3m"]
CROSS = ["0,1200mm", "90,1204mm", "180,1207mm", "270,1203mm"]


@pytest.mark.parametrize(("units", "foreign"), [("in", METRIC), ("mm", INCHES)])
def test_a_job_speaks_its_own_units_and_no_jargon(
    run: Run, table: Table, units: str, foreign: re.Pattern[str]
) -> None:
    room, door, cover = ROOM[units]
    told = [run("new", "--room", room, "--door", door, "--units", units, "--min-cover", cover)]
    rows = "".join(
        f"P{i}{j},{200 + i * 650},{200 + j * 820},{1200 + 3 * i - 4 * j + (i * j) % 3}\n"
        for i in range(5)
        for j in range(6)
    )
    told.append(run("import", table("label,x,y,reading\n" + rows), "--unit", "mm"))
    pegs = [word for sight in PEGS for word in ("--sight", sight)]
    told.append(run("check", "two-peg", *pegs, "--job", "job.sqlite"))
    turns = [word for turn in CROSS for word in ("--reading", turn)]
    told.append(run("check", "cross", "--dist", "9m", *turns, "--job", "job.sqlite"))
    repeats = ["--reading", "1200mm", "--reading", "1200.6mm", "--reading", "1199.5mm"]
    told.append(run("check", "repeat", *repeats, "--job", "job.sqlite"))
    told.append(run("plan", "--flat", "--max-slope", "0.5%", "--why", "--laser", "1m,1m"))
    text = "\n".join(one.out + one.err for one in told)
    # Readings grow along x and shrink along y: the floor falls to the right, towards the door.
    assert re.search(r"falls .* towards the corner of the (door|right) wall and", text)
    assert [line for line in text.splitlines() if foreign.search(line)] == []
    assert [line for line in text.splitlines() if JARGON.search(line)] == []
