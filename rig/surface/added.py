"""What shapes added to a floor, such as a step or a slab's joints, explain of its shots."""

from __future__ import annotations

import numpy as np
from scipy.linalg import solve_triangular

from rig.surface.covariance import Floats
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.reml import lower_cholesky


def explained_by(model: GaussianProcess, shapes: Floats) -> tuple[Floats, Floats]:
    r"""What shapes explain at the parameters of a fitted floor, each shape (m,).

    Parameters
    ----------
    model : GaussianProcess
        Fitted to k shots.
    shapes : array, shape (k, m)
        What each would have added to the shots.

    Returns
    -------
    towards, precision : arrays, shape (m,)
        :math:`b^T P z` and :math:`b^T P b`, with :math:`P` of `rig.surface.reml.penalty`: the log
        of how much likelier the shots are with a times a shape is
        :math:`a\,b^T P z - \tfrac12 a^2\,b^T P b`.
    """
    (shots,) = model.parts(whole=True)
    x, y = model.x_mm, model.y_mm
    lower = lower_cholesky(model.alike(x, y, x, y) + np.diag(model.shot_variance_mm2))
    white, basis, heights = (
        solve_triangular(lower, part, lower=True) for part in (shapes, shots.basis, shots.z_mm)
    )
    # Both the heights and each shape, less what the trend explains of them.
    normal = np.linalg.inv(basis.T @ basis + np.diag(shots.precision))
    along = white.T @ basis
    towards = white.T @ heights - along @ normal @ (basis.T @ heights)
    precision = np.sum(white**2, axis=0) - np.einsum("ij,jk,ik->i", along, normal, along)
    return towards, precision
