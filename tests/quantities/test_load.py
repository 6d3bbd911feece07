import pytest

from rig.errors import BadInput
from rig.quantities.load import STRUCTURE_CAUTION, dead_load


def test_one_inch_weighs_some_ten_pounds_a_square_foot() -> None:
    """Some 10 lb/ft² an inch of depth (from memory); 1 lbf/ft² = 47.880 26 Pa (NIST SP 811)."""
    load = dead_load(25.4, 50.8)
    assert load.mean_kpa / 0.04788026 == pytest.approx(10.0, rel=0.02)
    assert load.max_kpa == pytest.approx(2 * load.mean_kpa)
    assert load.mean_kpa == pytest.approx(0.0254 * 1900 * 9.80665 / 1000)


def test_it_never_calls_a_structure_adequate() -> None:
    assert dead_load(10.0, 20.0).cautions == (STRUCTURE_CAUTION,)
    assert "licensed engineer" in STRUCTURE_CAUTION
    assert "nothing here says that it is adequate" in STRUCTURE_CAUTION


@pytest.mark.parametrize(("mean", "most"), [(-1.0, 5.0), (6.0, 5.0), (float("nan"), 5.0)])
def test_impossible_covers_are_refused(mean: float, most: float) -> None:
    with pytest.raises(BadInput, match="impossible"):
        dead_load(mean, most)
    with pytest.raises(BadInput, match="density"):
        dead_load(1.0, 2.0, 0.0)
