"""`rig look`: what a straightedge found between the shots, and what that spares."""

import json

from tests.cli.conftest import Run


def rough_room(run: Run) -> None:
    """A room of 12 by 15 ft at 3 ft, uneven from shot to shot."""
    assert (
        run("new", "--room", "12ft,15ft", "--min-cover", "1/4in", "--door", "4ft,0ft,3ft").code == 0
    )
    points = run("grid", "--json").json["points"]
    rows = [
        f"{p['label']},{p['x_mm']},{p['y_mm']},{1200 + 3 * ((7 * n) % 5 - 2) / 2}"
        for n, p in enumerate(points)
    ]
    with open("floor.csv", "w") as file:
        file.write("label,x,y,reading\n" + "\n".join(rows) + "\n")
    assert run("import", "floor.csv", "--unit", "mm").code == 0


def test_looks_that_find_nothing_lower_the_bound_and_are_taken_back(run: Run) -> None:
    rough_room(run)
    before = run("floor", "--json").json
    asked = before["look_between"]
    assert asked
    for one in asked[:4]:
        left, right = max(one["x_mm"] - 500, 10), min(one["x_mm"] + 500, 3640)
        ends = ("--from", f"{left}mm,{one['y_mm']}mm", "--to", f"{right}mm,{one['y_mm']}mm")
        assert run("look", *ends, "--flat", "--json").code == 0
    looked = run("floor", "--json").json
    assert looked["high"]["upper_mm"] < before["high"]["upper_mm"]
    assert sum(one["bags"] for one in looked["look_between"]) < sum(one["bags"] for one in asked)
    acts = run("undo", "--list", "--json").json["acts"]
    looks = [act for act in acts if "straightedge" in act["what"]]
    assert len(looks) == 4
    for act in looks:
        assert run("undo", act["id"]).code == 0
    again = run("floor", "--json").json
    assert again["high"] == before["high"]
    assert again["look_between"] == asked


def test_a_gap_is_kept_with_its_place_and_what_cannot_be_is_refused(run: Run) -> None:
    assert run("new", "--room", "12ft,15ft", "--min-cover", "1/4in").code == 0
    edge = ("--from", "2ft,3ft", "--to", "6ft,3ft")
    dip = run("look", *edge, "--gap", "1/8in", "--at", "4ft,3ft", "--json").json
    assert (dip["gap_mm"], dip["rocks"], dip["looks"]) == (3.175, False, 1)
    assert "a dip of 1/8 in under the edge" in dip["text"]
    rocks = json.loads(run("look", *edge, "--gap", "1/8in", "--at", "6ft,3ft", "--json").out)
    assert rocks["rocks"] is True
    assert "shoot its top" in rocks["text"]
    for words, said in (
        ((*edge,), "--flat, or --gap"),
        ((*edge, "--flat", "--gap", "1/8in", "--at", "4ft,3ft"), "--flat, or --gap"),
        ((*edge, "--gap", "1/8in"), "with --at X,Y"),
        ((*edge, "--gap", "1/8in", "--at", "4ft,6ft"), "beside the edge"),
        (("--from", "2ft,3ft", "--to", "2ft,3ft", "--flat"), "long"),
        (("--from", "2ft,3ft", "--to", "14ft,3ft", "--flat"), "--to lies outside"),
    ):
        refused = run("look", *words)
        assert (refused.code, said in refused.err) == (2, True), (words, refused.err)
