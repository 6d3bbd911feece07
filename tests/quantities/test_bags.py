from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import BadInput
from rig.quantities.bags import bag_sheet, bags_for, refuse_impossible_bag
from rig.units import METRIC
from rig.words.plan import waste


def test_usual_bag_is_assumed_and_said() -> None:
    """50 lb yields 0.45 ft³ with 5 qt: common practice; conversions by NIST SP 811."""
    sheet = bag_sheet()
    assert sheet.yield_l == pytest.approx(12.74258, abs=1e-5)
    assert sheet.mass_kg == pytest.approx(22.67962, abs=1e-5)
    assert sheet.water_l == pytest.approx(4.731765, abs=1e-6)
    bag, waste = sheet.assumptions
    assert "yields 0.45 ft³, weighs 50 lb and takes 1.25 gal of water" in bag
    metric = bag_sheet(units=METRIC).assumptions[0]
    assert "yields 12.7 l, weighs 22.7 kg and takes 4.73 l of water" in metric
    assert "the bag's own sheet rules" in bag
    assert waste.startswith("5 % more for waste")
    assert sheet.source == "assumed, see the bag's own sheet"


def test_what_the_sheet_gives_is_not_assumed() -> None:
    sheet = bag_sheet(14.0, 25.0, 5.2, 0.0)
    assert sheet.assumptions == ()
    assert sheet.source == "the bag's sheet"
    assert (sheet.yield_l, sheet.mass_kg, sheet.water_l, sheet.waste_share) == (14, 25, 5.2, 0)
    half = bag_sheet(yield_l=12.74258096640 / 2, waste_share=0.0)
    assert half.mass_kg == pytest.approx(22.67962 / 2, abs=1e-5)
    assert "yields" not in half.assumptions[0]


def test_whole_bags_by_hand() -> None:
    """260 l and 285 l at 12 l a bag, 5 % waste: 22.75 and 24.94 bags; 23.75 without waste."""
    bags = bags_for(260.0, 285.0, bag_sheet(12.0, 20.0, 4.0, 0.05))
    assert (bags.p50, bags.p95, bags.waste) == (23, 25, 1)
    assert bags.water_l == 100.0
    assert bags.mass_kg == 500.0


def test_an_exact_number_of_bags_is_not_rounded_up() -> None:
    assert bags_for(0.3, 0.3, bag_sheet(0.1, 1.0, 1.0, 0.0)).p95 == 3
    assert bags_for(0.0, 0.0, bag_sheet()).p95 == 0


@given(st.floats(0, 5e3), st.floats(0, 500), st.floats(1, 40), st.floats(0, 0.5))
def test_bags_hold_the_volume_and_none_is_idle(
    mean: float, more: float, yield_l: float, waste: float
) -> None:
    bags = bags_for(mean, mean + more, bag_sheet(yield_l, 20.0, 4.0, waste))
    needed = (mean + more) * (1 + waste)
    assert needed - 1e-6 * yield_l <= bags.p95 * yield_l < needed + yield_l
    assert 0 <= bags.waste <= bags.p95
    assert bags.p50 <= bags.p95


@pytest.mark.parametrize("given_", [{"yield_l": 0.0}, {"mass_kg": -1.0}, {"water_l": float("nan")}])
def test_impossible_sheets_are_refused(given_: dict[str, Any]) -> None:
    with pytest.raises(BadInput, match="must be more than 0"):
        bag_sheet(**given_)


def test_impossible_waste_and_volume_are_refused() -> None:
    with pytest.raises(BadInput, match="Waste"):
        bag_sheet(waste_share=1.0)
    with pytest.raises(BadInput, match="cannot be bagged"):
        bags_for(20.0, 10.0, bag_sheet())


def test_a_bag_that_no_compound_weighs_is_refused() -> None:
    usual, light = (12.7, 22.7, 4.7), (50.0, 20.0, 8.0)
    for possible in (usual, light, (12.7, None, 4.7), (None, 22.7, 4.7), (12.7, 22.7, None)):
        refuse_impossible_bag(*possible)
    for yield_l in (127.0, 1.27):
        with pytest.raises(BadInput, match="--bag-yield"):
            refuse_impossible_bag(yield_l, 22.7, 4.7)


def test_the_compound_as_poured_weighs_what_is_in_the_bag() -> None:
    """50 lb and 5 qt of water (4.73 kg) make 0.45 ft³: 2151 kg/m³, by hand."""
    assert bag_sheet().density_kg_m3 == pytest.approx(2151.2, abs=0.1)
    assert bag_sheet(13.0, 25.0, 5.0).density_kg_m3 == pytest.approx(30_000 / 13)


def test_waste_that_is_less_than_a_bag_is_not_called_none() -> None:
    assert waste(2, 0.05) == "2 of them for waste"
    assert waste(0, 0.0) == "0 of them for waste"
    assert waste(0, 0.05) == "5 % waste in them, less than a bag"
