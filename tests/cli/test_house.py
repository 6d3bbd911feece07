"""A made-up house from the first visit to the customer's page, through the public command line.

A kitchen in L, a hall, a bath with a drain; two thresholds at different heights; a dip of 1 1/2 in
in the kitchen, which one lift can't fill.
"""

import math
import re
from decimal import Decimal
from pathlib import Path
from typing import Any

from tests.cli.conftest import Run

BOOK = """currency = "USD"
tax = "8.25%"
[[line]]
item = "compound"
unit = "bag"
price = "28.40"
[[line]]
item = "labour"
unit = "hour"
price = "65"
"""
KITCHEN = "12ft left 8ft left 5ft right 4ft left 7ft left 12ft"
HALL = ("--room", "4ft,10ft", "--at", "12ft,0ft", "--doorway", "12ft,5ft,3ft")
BATH = ("--room", "4ft,5ft", "--at", "12ft,10ft", "--doorway", "12ft6in,10ft,2ft6in")
DRAIN = ("--opening", "13ft10in,12ft4in,4in,4in")
RULE = ("--rule", "bs8204-sr3")
CREW = ("--mixers", "2", "--crew", "4", "--runs", "100", "--json")
BENCHMARK_MM = 1150.0
# In the doorways, at different heights: between kitchen and hall, between hall and bath.
THRESHOLDS = {"T1": ("12ft,3ft6in", 1188.0), "T2": ("13ft9in,10ft", 1191.0)}


def floor_mm(x_mm: float, y_mm: float) -> float:
    """Reading over the floor as found: dip in the kitchen, hall and bath a little lower."""
    dip = 36.0 * math.exp(-(((x_mm - 1000) / 750) ** 2 + ((y_mm - 2400) / 750) ** 2))
    lower = 4.0 if x_mm > 3657 else 0.0
    return 1200.0 + dip + lower + 1.5 * math.sin(x_mm / 900) + math.cos(y_mm / 800)


def tape(*readings_mm: float) -> str:
    return "".join(f"{one:.2f}mm\n" for one in readings_mm)


def test_from_quote_to_the_customers_page(run: Run) -> None:
    Path("prices.toml").write_text(BOOK)
    priced = ("--prices", "prices.toml", "--json")
    early = run("quote", "--area", "200ft2", "--depth", "1/2in", "--product", "plain example",
                *priced).json  # fmt: skip
    assert sum(Decimal(line["amount"]) for line in early["lines"]) == Decimal(
        early["total"]["likely"]
    )

    new = ("--door", "1ft,0ft,3ft", "--product", "plain example", "--floor", "concrete")
    made = run("new", "--walls", KITCHEN, *new)
    assert made.code == 0, made.err
    assert run("room", "rename", "room 1", "kitchen").code == 0
    for name, shape in (("hall", HALL), ("bath", (*BATH, *DRAIN))):
        added = run("room", "add", name, *shape)
        assert added.code == 0, added.err
    survey(run)
    late = run("quote", *priced).json
    assert width(late) < width(early)

    plan = order(run)
    assert pour(run) == ["1 kitchen", "2 bath", "2 hall", "2 kitchen"]
    prove(run, plan)
    hand_over(run, plan)


def width(quote: dict[str, Any]) -> Decimal:
    return Decimal(quote["total"]["high"]) - Decimal(quote["total"]["low"])


def survey(run: Run) -> None:
    """One walk through all rooms, typed from a tape; a fixed point first, thresholds last."""
    points = run("grid", "--spacing", "3ft", "--json").json["points"]
    assert len({p["label"] for p in points}) == len(points)
    typed = ("--typed", "--unit", "mm", "--json")
    assert run("survey", "--kind", "benchmark", "--label", "BM1", *typed,
               typed=tape(BENCHMARK_MM)).code == 0  # fmt: skip
    walk = tape(*(floor_mm(p["x_mm"], p["y_mm"]) for p in points), BENCHMARK_MM)
    walked = run("survey", *typed, typed=walk)
    shots = [event for event in walked.events if event["event"] == "shot"]
    assert len({shot["label"] for shot in shots} - {"BM1"}) == len(points)
    for label, (at, reading) in THRESHOLDS.items():
        shot = run("survey", "--kind", "threshold", "--label", label, "--at", at, *typed,
                   typed=tape(reading))  # fmt: skip
        assert shot.code == 0, shot.err


def order(run: Run) -> dict[str, Any]:
    """One order for the house, each room level, its steps at the doorways told."""
    plan: dict[str, Any] = run("plan", "--json").json
    rooms = {room["name"]: room for room in plan["rooms"]}
    assert plan["bags"]["buy"] <= plan["bags_apart"]["buy"]
    assert rooms["kitchen"]["lifts"] == 2
    assert rooms["hall"]["lifts"] == rooms["bath"]["lifts"] == 1
    assert not any("screws" in one["item"] or one["item"] == "lath" for one in plan["materials"])
    assert {one["threshold"] for one in plan["doorways"]} == {"T1", "T2"}
    kitchen = rooms["kitchen"]["plane"]["a"]
    assert any(abs(one["step_mm"]) > 1 for one in plan["doorways"])
    assert kitchen > rooms["hall"]["plane"]["a"]
    return plan


def pour(run: Run) -> list[str]:
    """Both lifts of the kitchen, days apart; before the second the rooms behind it."""
    done = []
    for lift, rooms in ((1, ["kitchen"]), (2, ["bath", "hall", "kitchen"])):
        for name in rooms:
            chosen = () if name != "kitchen" else ("--lift", lift)
            markers = run("markers", "--room", name, *chosen, "--json").json["markers"]
            assert markers
            turned = [
                z for m in markers for z in (m["target_reading_mm"] + 4, m["target_reading_mm"])
            ]
            readings = tape(BENCHMARK_MM, *turned)
            run("set", "--room", name, *chosen, "--typed", "--unit", "mm", typed=readings)
            planned = run("pour", "plan", "--room", name, *chosen, *CREW)
            assert planned.code == 0, planned.out + planned.err
            batches = planned.json["batches"]
            words = "".join("batch\ny\n" for _ in batches) + "stop\n"
            poured = run("pour", "run", "--room", name, *chosen, "--json", typed=words)
            (told,) = [event for event in poured.events if event["event"] == "done"]
            assert told["batches"] >= 1
            done.append(f"{lift} {name}")
    return done


def prove(run: Run, plan: dict[str, Any]) -> None:
    """The finished floors shot, and the largest proved by itself."""
    level_mm = {room["name"]: -room["plane"]["a"] for room in plan["rooms"]}
    rows = ["label,x,y,reading,kind"]
    for n, p in enumerate(run("grid", "--spacing", "2ft", "--json").json["points"]):
        behind = "hall" if p["y_mm"] < 3048 else "bath"
        flat_mm = level_mm[behind if p["x_mm"] > 3657.6 else "kitchen"]
        rows += [f"{p['label']},{p['x_mm']},{p['y_mm']},{flat_mm + 0.1 * (n % 2):.2f},finished"]
    Path("finished.csv").write_text("\n".join(rows) + "\n")
    assert run("import", "finished.csv", "--unit", "mm").code == 0
    proof = run("flatness", "--room", "kitchen", *RULE, "--json")
    assert (proof.code, proof.json["verdict"]) == (0, "in")


def hand_over(run: Run, plan: dict[str, Any]) -> None:
    """One side of paper for the house, one for the kitchen; a marker sheet a room; one list."""
    whole = written(run, "--for", "customer", "--whose", "Ann", *RULE)
    assert "Floor of Ann, handed over" in whole
    assert "kitchen, hall, bath: The finished floor keeps the tolerance" in whole
    assert "Not measured" not in whole
    bags = sum(int(batch) for batch in re.findall(r"([0-9]+) bags of plain example, done", whole))
    one = written(run, "--room", "kitchen", "--for", "customer", *RULE)
    (of_kitchen,) = re.findall(r"([0-9]+) bags of plain example, done", one)
    assert int(of_kitchen) < bags
    sheets = written(run, "--only", "markers")
    assert all(f"{room}: Depth markers" in sheets for room in ("kitchen", "hall", "bath"))
    bought = run("report", "--only", "buy", "--json").json
    assert f"Buy {plan['bags']['buy']} bags for all rooms" in bought["text"]
    assert f"- compound: {plan['bags']['buy']} bags" in bought["text"]


def written(run: Run, *words: object) -> str:
    """Write a report; return its page as HTML, which the PDF has on as many sheets as rooms."""
    report = run("report", *words, "--out", "out", "--json")
    assert report.code == 0, report.err
    html, pdf = (Path(file) for file in report.json["files"])
    sides = 3 if "markers" in words else 1
    assert len(re.findall(rb"/Type /Page\b", pdf.read_bytes())) == sides
    return html.read_text()
