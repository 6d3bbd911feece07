"""Prices in decimals, and a quick look's range against made-up floors.

`python -m tests.quantities.test_prices 300` counts over that many floors.
"""

import sys
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import BadInput
from rig.quantities.prices import (
    PriceBook,
    Priced,
    Quantities,
    parse_prices,
    priced,
    total_of,
    with_compound,
)
from rig.quantities.quick_look import looked
from simulated_devices.floor import make_floor

CORNERS = np.array([[0.08, 0.08], [0.92, 0.08], [0.08, 0.92], [0.92, 0.92], [0.5, 0.5]])


def outside(floors: int) -> tuple[int, int]:
    """How many of so many made-up floors take less, and more, than a quick look's range.

    The floors are the simulator's, which the range knows nothing of; what is true is the highest
    place of a 10 cm raster over its mean.
    """
    less = more = 0
    for seed in range(floors):
        rng = np.random.default_rng(seed)
        wide, long = rng.uniform(2500, 7000, 2)
        floor = make_floor(seed, wide, long, ("subfloor", "slab")[seed % 2])
        heights = floor.raster(100.0)
        true_mm = 6.0 + float(heights.max() - heights.mean())
        x, y = (CORNERS * (wide, long) + rng.normal(0, 150, (5, 2))).T
        readings = 1200.0 - floor.height_mm(x, y) + rng.normal(0, 0.7, 5)
        depth = looked(list(readings), wide * long / 1e6, 6.0)
        less += true_mm < depth.low_mm
        more += true_mm > depth.high_mm
    return less, more


def test_a_quick_look_holds_nine_floors_in_ten() -> None:
    """Binomial(60, 0.1) is over 12 once in 100."""
    less, more = outside(60)
    assert less + more <= 12


CENTS = st.decimals(min_value=0, max_value=9999, places=2)


@given(
    prices=st.lists(CENTS, min_size=1, max_size=5),
    hundredths=st.integers(0, 10_000),
    tax=st.decimals(min_value=0, max_value=30, places=1),
    by_line=st.booleans(),
)
def test_amounts_add_up_to_the_total_to_the_cent(
    prices: list[Decimal], hundredths: int, tax: Decimal, by_line: bool
) -> None:
    """Held against exact fractions: an amount lies within half a cent of quantity times price,
    the tax within half a cent of its share of the sum, or of each line's."""
    book = PriceBook(
        tuple(Priced(f"line {n}", "m2", price) for n, price in enumerate(prices)),
        tax=tax / 100,
        tax_by_line=by_line,
    )
    lines = priced(book, Quantities(3, hundredths / 100, 1.0, 1.0))
    half = Fraction(1, 200)
    for line, price in zip(lines, prices, strict=False):
        assert Decimal(str(line.quantity)) == Decimal(hundredths) / 100
        exact = Fraction(hundredths, 100) * Fraction(price)
        assert abs(Fraction(line.amount) - exact) <= half
    net = sum(Fraction(line.amount) for line in lines[:-1])
    slack = half * (len(prices) if by_line else 1)
    assert abs(Fraction(lines[-1].amount) - net * Fraction(tax) / 100) <= slack
    assert Fraction(total_of(lines)) == net + Fraction(lines[-1].amount)


def test_halves_are_rounded_up_and_tax_as_stated() -> None:
    """0.5 · 0.05 = 0.025 → 0.03; of twice that 10 % are 0.006 → 0.01, of each 0.003 → 0."""
    lines = tuple(Priced(name, "m2", Decimal("0.05")) for name in "ab")
    takes = Quantities(1, 0.5, 1.0, 1.0)
    tenth = Decimal("0.1")
    on_sum = priced(PriceBook(lines, tax=tenth), takes)
    assert [line.amount for line in on_sum] == ["0.03", "0.03", "0.01"]
    by_line = priced(PriceBook(lines, tax=tenth, tax_by_line=True), takes)
    assert [line.amount for line in by_line] == ["0.03", "0.03", "0.00"]


LINE = {"item": "compound", "unit": "bag", "price": "18.50"}


@pytest.mark.parametrize(
    ("book", "told"),
    [
        ({}, "has no line"),
        ({"line": [{"item": "a", "unit": "bag"}]}, "line 1 has no price"),
        ({"line": [LINE, {"item": "a", "unit": "kg", "price": "1"}]}, "line 2: unit 'kg'"),
        ({"line": [{**LINE, "price": 18.5}]}, "in quotes"),
        ({"line": [{**LINE, "price": "1e3"}]}, "no sum of money"),
        ({"line": [LINE], "tax": "19"}, "percentage"),
        ({"line": [LINE], "vat": "19%"}, "'vat'"),
        ({"line": [LINE], "rounding": "0"}, "rounding"),
    ],
)
def test_a_book_that_cannot_be_is_refused(book: dict[str, object], told: str) -> None:
    with pytest.raises(BadInput, match=told):
        parse_prices(book, "prices.toml")


def test_who_prices_the_compound() -> None:
    disposal = parse_prices({"line": [{**LINE, "item": "disposal"}]}, "p")
    assert [one.item for one in with_compound(disposal, "Blend", "20").lines] == [
        "compound",
        "disposal",
    ]
    assert with_compound(disposal, "Blend", None) == disposal
    own = parse_prices({"line": [LINE]}, "p")
    assert with_compound(own, "Blend", "20") == own
    with pytest.raises(BadInput, match="no line with unit"):
        with_compound(parse_prices({"line": [{**LINE, "unit": "m2"}]}, "p"), "Blend", None)


if __name__ == "__main__":
    floors = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    less, more = outside(floors)
    print(f"of {floors} floors {less} took less than the range of a quick look, {more} took more")
