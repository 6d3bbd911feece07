import numpy as np
import pytest

from rig.surface.floor_kinds import priors_of
from rig.surface.floor_model import floor_model
from rig.surface.reml import Priors


@pytest.mark.parametrize("floor", ["screed", "unknown", "boards", "sheets", None])
def test_a_floor_of_which_nothing_more_is_told_is_believed_as_any(floor: str | None) -> None:
    assert priors_of(floor) == Priors()


def test_a_slab_without_a_joint_in_the_room_is_believed_as_any() -> None:
    assert priors_of("concrete", jointed=False) == Priors()
    assert priors_of("concrete") != Priors()
    assert priors_of("concrete", "x") == priors_of("concrete")  # a slab lies on no joists


@pytest.mark.parametrize("along", ["x", "y"])
def test_what_is_told_of_joists_moves_the_doubt_to_their_way(along: str) -> None:
    """Doubt grows between the joists and shrinks the other way."""
    rng = np.random.default_rng(2)
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(150, 3450, 5), np.linspace(150, 4350, 6)))
    z = rng.normal(0.0, 0.5, 30)
    told = floor_model(priors=priors_of("sheets", along)).fit(x, y, z, 0.5).lines_mm2
    any_floor = floor_model().fit(x, y, z, 0.5).lines_mm2
    theirs, other = (1, 0) if along == "x" else (0, 1)
    assert told[theirs] > any_floor[theirs]
    assert told[other] < any_floor[other]
