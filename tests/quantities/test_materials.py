import math

import pytest

from rig.errors import BadInput
from rig.quantities.bags import bag_sheet
from rig.quantities.materials import (
    RULES,
    Material,
    Rule,
    changed_rule,
    materials_for,
    rules_of,
    rules_with,
)
from rig.room import Outline, room, with_door, with_opening
from rig.units import L_PER_GAL, System, Units

ROOM = with_door(room(3000.0, 4000.0), 500.0, 0.0, 900.0)


def by_item(
    outline: Outline = ROOM,
    bags: int = 10,
    rules: list[Rule] | tuple[Rule, ...] = RULES,
    units: System = "mm",
) -> dict[str, Material]:
    sheet = bag_sheet(12.0, 22.0, 5.0)
    return {m.item: m for m in materials_for(outline, bags, sheet, rules, Units(units))}


def with_rules(*texts: str) -> list[Rule]:
    return rules_with([vars(changed_rule(text)) for text in texts], Units("in"))


def test_quantities_by_hand() -> None:
    """12 m², 14 m of wall, a door of 0.9 m; worked by hand from the rules as printed."""
    found = by_item()
    assert found["primer"].amount == pytest.approx(12 * 0.15 / 4)  # 3 of water to 1
    assert found["lath"].amount == math.ceil(12e6 / ((685.8 - 25.4) * (2438.4 - 25.4)))
    assert found["staples"].amount == math.ceil(12e6 / 152.4**2)
    assert found["screws along joists"].amount == math.ceil(12e6 / (406.4 * 152.4))
    assert found["edge strip"].amount == pytest.approx(13.1)
    assert ": 1 roll, 2.14 m left over" in found["edge strip"].text
    assert (found["staples"].packs, found["staples"].pack, found["staples"].leftover) == (
        1,
        "box",
        1000 - found["staples"].amount,
    )
    assert found["primer"].packs == 1  # a gallon
    assert found["primer"].leftover == pytest.approx(L_PER_GAL - 12 * 0.15 / 4)
    # A 4 ft by 8 ft panel has 12 ft of seam of its own: 0.375 ft a square foot.
    seams_m = 12 * 0.375 / 0.3048
    assert found["seam sealer"].amount == pytest.approx(seams_m * 0.03)
    assert found["water"].amount == pytest.approx(10 * 5.0 + 20.0)
    assert found["mixing buckets"].amount == 3


def test_a_metric_job_has_metric_lengths() -> None:
    found = by_item(rules=rules_of(Units("mm")))
    assert found["lath"].amount == math.ceil(12e6 / ((700.0 - 25.0) * (2400.0 - 25.0)))
    assert "of 700 mm by 2400 mm, overlapping by 25 mm" in found["lath"].text
    assert "every 150 mm each way" in found["staples"].text
    assert " of 50 mm, every 150 mm" in found["screws along joists"].text
    assert "of 32 mm" in found["screws between joists"].text
    assert "plywood of 28 mm" in found["screws between joists"].text
    inches = by_item(rules=rules_of(Units("in")), units="in")
    assert "of 27 in by 96 in, overlapping by 1 in" in inches["lath"].text
    assert "plywood of 1 1/8 in" in inches["screws between joists"].text


def test_a_closet_takes_one_sheet_of_lath() -> None:
    closet = by_item(room(600.0, 600.0))["lath"]
    assert closet.text.startswith("1 sheet of ")


def test_an_opening_gets_edge_strip_round_it_too() -> None:
    more = by_item(with_opening(ROOM, 1000.0, 1000.0, 300.0, 200.0))["edge strip"].amount
    assert more == pytest.approx(13.1 + 1.0)


def test_every_material_says_where_its_rule_is_from() -> None:
    assert all(m.source for m in by_item().values())
    assert all(rule.source for rule in RULES)
    assert by_item()["lath"].source == "common practice, no source: the product's own sheet rules"


def test_a_changed_rule_stands_before_the_given_one_and_says_so() -> None:
    found = by_item(rules=with_rules("primer=0.2l", "primer_dilution=1"))
    assert found["primer"].amount == pytest.approx(12 * 0.2 / 2)
    assert found["primer"].source == "as set in this job"
    assert by_item(rules=with_rules("lath_overlap=4in"))["lath"].amount > by_item()["lath"].amount


def test_what_is_set_to_nothing_is_left_out() -> None:
    rules = with_rules("lath=0", "screws=0", "edge_strip=0", "primer=0l", "bucket=0")
    assert list(by_item(rules=rules)) == ["water"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("glue=1", "keys: primer"),
        ("primer", "KEY=VALUE"),
        ("primer=1", "unit is missing"),
        ("lath=two", "number from 0"),
        ("lath=-1", "number from 0"),
        ("lath_width=0mm", "more than 0"),
        ("bucket=nan", "number from 0"),
    ],
)
def test_a_rule_that_cannot_be_is_refused(text: str, told: str) -> None:
    with pytest.raises(BadInput, match=told):
        changed_rule(text)


def test_an_overlap_as_wide_as_the_sheet_is_refused() -> None:
    with pytest.raises(BadInput, match="overlap"):
        by_item(rules=with_rules("lath_overlap=30in"))


@pytest.mark.parametrize(
    ("floor", "there"),
    [
        ("sheets", {"lath", "staples", "screws along joists", "seam sealer"}),
        ("boards", {"lath", "staples", "screws along joists"}),
        ("concrete", set()),
        ("screed", set()),
        (None, set()),
    ],
)
def test_screws_and_lath_are_for_wood(floor: str | None, there: set[str]) -> None:
    sheet = bag_sheet(12.0, 22.0, 5.0)
    found = materials_for(ROOM, 10, sheet, RULES, Units("mm"), floor)
    wood = {"lath", "staples", "screws along joists", "seam sealer"}
    assert {one.item for one in found} & wood == there
    asked = materials_for(ROOM, 10, sheet, with_rules("lath=1"), Units("mm"), floor)
    assert "lath" in {one.item for one in asked}
