import math

import numpy as np
import pytest

from rig.errors import BadInput
from rig.quantities.bags import bag_sheet
from rig.quantities.safety import best_purchase, safety_stock

SHEET = bag_sheet(12.0, 22.0, 5.0, 0.06)


def test_the_budget_adds_up_by_hand() -> None:
    """JCGM 100:2008, 5.1.2: independent parts add in squares; worked by hand.

    200 l ± 3 l of surface, 16 m² poured within 0.5 mm, yield within 2 %, waste 6 % ± 2 %:
    1.06·3 = 3.18; 1.06·8 = 8.48; 1.06·4 = 4.24; 4.0 l; together 10.770 l.
    """
    stock = safety_stock(200.0, 3.0, 16.0, SHEET)
    parts = [3.18, 8.48, 4.24, 4.0]
    assert stock.sd_l == pytest.approx(math.sqrt(sum(p * p for p in parts)))
    assert stock.sd_l == pytest.approx(10.770, abs=0.001)
    assert stock.mean_l == pytest.approx(212.0)
    assert stock.stock_l == pytest.approx(1.6448536 * stock.sd_l, rel=1e-6)
    assert list(stock.shares) == ["surface", "plane", "yield", "waste"]
    assert sum(stock.shares.values()) == pytest.approx(1.0)
    assert stock.shares["plane"] == pytest.approx(8.48**2 / stock.sd_l**2)
    assert stock.need_l(0.5) == pytest.approx(212.0)


def test_the_cheapest_number_of_bags_is_the_one_that_simulation_finds() -> None:
    stock = safety_stock(200.0, 9.0, 16.0, SHEET)
    need = stock.mean_l + stock.sd_l * np.random.default_rng(0).standard_normal(200_000)
    for short, spare in ((300.0, 30.0), (30.0, 30.0), (5.0, 60.0)):
        cost = {
            n: np.mean(
                short * np.maximum(need / 12.0 - n, 0) + spare * np.maximum(n - need / 12.0, 0)
            )
            for n in range(10, 30)
        }
        bought = best_purchase(stock, SHEET, short, spare)
        assert cost[bought.bags] == pytest.approx(min(cost.values()), rel=0.01)
        assert bought.expected_cost == pytest.approx(cost[bought.bags], rel=0.02)
        assert bought.chance_short == pytest.approx(np.mean(need > 12.0 * bought.bags), abs=0.01)


def test_nonsense_is_refused() -> None:
    with pytest.raises(BadInput, match="bought"):
        safety_stock(float("nan"), 1.0, 1.0, SHEET)
    with pytest.raises(BadInput, match="spare"):
        best_purchase(safety_stock(100.0, 1.0, 9.0, SHEET), SHEET, 10.0, 0.0)
