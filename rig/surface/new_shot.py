"""One shot more: what a fitted surface keeps of it, for a running picture to follow."""

from dataclasses import dataclass

from rig.surface.covariance import Floats


@dataclass(frozen=True, eq=False)
class NewShot:
    """A shot that was added: its place, its row of the Cholesky factor, its whitened trend."""

    x_mm: float
    y_mm: float
    row: Floats
    pivot: float
    trend: Floats
