"""What any room's floor is believed to be before a shot is taken: the one model the tool uses."""

from __future__ import annotations

from rig.surface.gaussian_process import GaussianProcess
from rig.surface.reml import Priors
from rig.surface.trend import Bells

# How far a crown or dish of the whole floor departs from a plane at the walls, as a standard
# deviation: common practice, no source. Without it the corners of a dish are doubted too little
# (`tests/surface/calibration.py`); 12 mm gives the same answers.
BOWL_MM = 6.0


def floor_model(
    length_mm: float | None = None,
    variance_mm2: float | None = None,
    nugget_mm2: float | None = None,
    lines_mm2: tuple[float, ...] | None = None,
    priors: Priors | None = None,
    bells: Bells = (),
) -> GaussianProcess:
    """Make the model of a floor, not fitted yet; parameters given are kept as they are.

    `priors` are those of a kind of floor that was told (`rig.surface.floor_kinds`), `bells` humps
    and dips that were found, one height at least measured on each.

    Smoothness 5/2: wood and concrete bend, they do not kink. Joists, rails and joints run along the
    walls; what they add is averaged over what the shots leave open of it. Where a floor kinks, the
    leave-one-out look-out may say so (`rig.surface.look_out`); how seldom it does and what is kept
    of a stated 95 % tells `python -m tests.surface.calibration --worlds 100`.
    """
    model = GaussianProcess(
        2.5, "plane", variance_mm2, length_mm, nugget_mm2, priors, BOWL_MM, lines_mm2
    )
    model.bells = bells
    return model
