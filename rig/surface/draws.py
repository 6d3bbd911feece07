r"""Draws whole floors that the shots allow, over a raster of some 10 000 cells at once.

Conditional simulation: floors are drawn without regard to the shots from the spectrum of the
undulation, shot as the real one was, and each is corrected by what its shots say (Journel and
Huijbregts, Mining Geostatistics, 1978, section VII.A.2; the spectral sum after Shinozuka and Jan,
J. Sound and Vibration 25 (1972) 111–128).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.errors import BadInput
from rig.language import say
from rig.surface.covariance import Floats, lines_alike
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.reml import lower_cholesky

Singles = NDArray[np.float32]

# The drawn floor repeats after the room and so many lengths more: correlation is 0.5 % there.
_APART = 4.5
# Waves shorter than this carry below 0.1 % of the undulation; they are drawn as noise.
_FINEST = {1.5: 12.0, 2.5: 5.0}
_FEWEST_WAVES, _MOST_WAVES = 40, 160
_BATCH = 100
_FEW = 1_300


def conditional_draws(
    model: GaussianProcess,
    x_mm: Floats,
    y_mm: Floats,
    step_mm: float,
    n: int,
    rng: np.random.Generator,
) -> Singles:
    r"""Joint draws of the smooth floor over the cells of a square raster, shape (n, m), in mm.

    Parameters
    ----------
    model : GaussianProcess
        Fitted.
    x_mm, y_mm : arrays, shape (m,)
        One place in each cell. The mean is taken there, the departure from it at the cell's
        middle.
    step_mm : float
        Side of a cell.
    n : int
    rng : numpy.random.Generator

    Notes
    -----
    Departures are brought to the exact mean and standard deviation of every place, so that only
    correlations carry the error of a finite sum of waves.
    """
    if len(x_mm) <= _FEW:  # the joint posterior itself is quicker
        return model.sample(x_mm, y_mm, n, rng, nugget=False).astype(np.float32)
    lattice = _Lattice.under(x_mm, y_mm, step_mm)
    waves = _Waves.for_floor(model, lattice)
    mean, sd = model.predict(x_mm, y_mm, quick=True)
    at_shots = waves.at(model.x_mm, model.y_mm)
    lines = _Lines.for_floor(model, lattice) if any(model.lines_mm2) else None
    draws = np.empty((n, len(x_mm)), dtype=np.float32)
    drawn_shots = np.empty((len(model.x_mm), n))
    at_bends, bends = (model.under.bend(*at) for at in ((model.x_mm, model.y_mm), (x_mm, y_mm)))
    for start in range(0, n, _BATCH):
        count = min(_BATCH, n - start)
        size = waves.amplitudes(count, rng)
        bend = rng.standard_normal((count, at_bends.shape[1]))
        floors = waves.over(lattice, size)[:, lattice.index]
        shots = at_shots @ np.concatenate([size.real, -size.imag], axis=1).reshape(count, -1).T
        shots = shots + at_bends @ bend.T
        if lines is not None:
            over, at = lines.draw(count, rng)
            floors += over[:, lattice.index]
            shots += at.T
        error = np.sqrt(model.shot_variance_mm2 + waves.left_out_mm2)
        shots += error[:, None] * rng.standard_normal(shots.shape)
        floors += (bend @ bends.T).astype(np.float32)
        drawn_shots[:, start : start + count] = shots
        draws[start : start + count] = floors
    draws -= model.respond(x_mm, y_mm, drawn_shots)
    draws -= draws.mean(axis=0)
    spread = draws.std(axis=0)
    draws *= np.divide(sd, spread, out=np.zeros_like(sd), where=spread > 0).astype(np.float32)
    draws += mean.astype(np.float32)
    return draws


@dataclass(frozen=True, eq=False)
class _Lattice:
    """Middles of the cells of a raster: columns x rows, and where each place lies in it."""

    x_mm: Floats
    y_mm: Floats
    index: NDArray[np.intp]

    @classmethod
    def under(cls, x: Floats, y: Floats, step: float) -> _Lattice:
        column = np.floor((x - x.min()) / step + 0.5).astype(np.intp)
        row = np.floor((y - y.min()) / step + 0.5).astype(np.intp)
        rows = int(row.max()) + 1
        if (column.max() + 1.0) * rows > 40.0 * len(x) + 10_000:
            raise BadInput(
                say("The places to draw at are strewn too thinly to be cells of a raster.")
            )
        return cls(
            x.min() + step * np.arange(column.max() + 1.0),
            y.min() + step * np.arange(float(rows)),
            column * rows + row,
        )


@dataclass(frozen=True, eq=False)
class _Lines:
    """What lines along the walls add over a lattice and at the shots.

    `factors` are the Cholesky factors across them, of lattice and shots together: along y, along x.
    """

    factors: tuple[Singles, Singles]
    columns: int
    rows: int

    @classmethod
    def for_floor(cls, model: GaussianProcess, lattice: _Lattice) -> _Lines:
        factors = []
        pairs = (lattice.x_mm, model.x_mm), (lattice.y_mm, model.y_mm)
        for axis, places in enumerate(pairs):
            at = np.concatenate(places)
            lower = lower_cholesky(lines_alike(axis, at, at, model.lines_mm2))
            factors.append(lower.T.astype(np.float32))
        return cls((factors[0], factors[1]), len(lattice.x_mm), len(lattice.y_mm))

    def draw(self, count: int, rng: np.random.Generator) -> tuple[Singles, Singles]:
        """Draws over the lattice, shape (count, columns · rows), and at the shots (count, k)."""
        across, along = (
            rng.standard_normal((count, len(factor)), dtype=np.float32) @ factor
            for factor in self.factors
        )
        over = across[:, : self.columns, None] + along[:, None, : self.rows]
        return over.reshape(count, -1), across[:, self.columns :] + along[:, self.rows :]


@dataclass(frozen=True, eq=False)
class _Waves:
    """Plane waves whose sum is the undulation: frequencies (1/mm) and sd of each amplitude."""

    across: Floats
    along: Floats
    sd_mm: Floats
    left_out_mm2: float

    @classmethod
    def for_floor(cls, model: GaussianProcess, lattice: _Lattice) -> _Waves:
        nu, length = model.smoothness, model.length_mm
        finest = _FINEST[nu] * np.sqrt(2.0 * nu) / length
        steps, counts = [], []
        for places, shots in ((lattice.x_mm, model.x_mm), (lattice.y_mm, model.y_mm)):
            low, high = min(places.min(), shots.min()), max(places.max(), shots.max())
            steps.append(2.0 * np.pi / (high - low + _APART * length))
            needed = int(np.ceil(finest / steps[-1]))
            counts.append(min(max(needed, _FEWEST_WAVES), _MOST_WAVES))
        across = steps[0] * np.arange(-counts[0], counts[0] + 1.0)
        along = steps[1] * np.arange(counts[1] + 1.0)
        # Spectral density in the plane (Rasmussen and Williams 2006, eq. 4.15 with D = 2).
        a = 2.0 * nu / length**2
        square = np.add.outer(across**2, along**2)
        share = steps[0] * steps[1] * nu * a**nu / np.pi * (a + square) ** (-nu - 1.0)
        share[:, 1:] *= 2.0  # stands for the wave the other way too
        share[counts[0] + 1 :, 0] *= 2.0
        share[: counts[0], 0] = 0.0
        # The densest middle cell holds less than its middle's height says where the room is small.
        share /= max(float(share.sum()), 1.0)
        left_out = model.variance_mm2 * max(1.0 - float(share.sum()), 0.0)
        return cls(across, along, np.sqrt(model.variance_mm2 * share), left_out)

    def amplitudes(self, count: int, rng: np.random.Generator) -> NDArray[np.complex64]:
        shape = (count, *self.sd_mm.shape)
        size = np.empty(shape, dtype=np.complex64)
        size.real = rng.standard_normal(shape, dtype=np.float32)
        size.imag = rng.standard_normal(shape, dtype=np.float32)
        size *= self.sd_mm.astype(np.float32)
        return size

    def at(self, x: Floats, y: Floats) -> Singles:
        """Cosines and sines of all waves at places, shape (n, 2 waves)."""
        turn = x[:, None, None] * self.across[:, None] + y[:, None, None] * self.along
        both: Singles = np.concatenate([np.cos(turn), np.sin(turn)], axis=1).astype(np.float32)
        return both.reshape(len(x), -1)

    def over(self, lattice: _Lattice, size: NDArray[np.complex64]) -> Singles:
        """Sum of the waves over a lattice, shape (count, columns · rows)."""
        turn_y = np.exp(1j * np.outer(self.along, lattice.y_mm)).astype(np.complex64)
        turn_x = np.exp(1j * np.outer(lattice.x_mm, self.across)).astype(np.complex64)
        rows = size.reshape(-1, len(self.along)) @ turn_y
        rows = rows.reshape(len(size), len(self.across), -1)
        parts = np.concatenate([rows.real, -rows.imag], axis=1)
        floors: Singles = np.concatenate([turn_x.real, turn_x.imag], axis=1) @ parts
        return floors.reshape(len(size), -1)
