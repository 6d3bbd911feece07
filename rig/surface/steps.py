r"""Looks for a step by name: a fit with a line of discontinuity against one without.

A cold joint, the edge of an old pour or of a sheet that lies high parts the floor along a straight
line. The line is not known, so every line between two rows of shots is tried at the floor's own
roughness; the few that explain most are fitted anew with the step among the coefficients, and the
best is held against the fit without by their marginal likelihoods (Kass and Raftery, J. American
Statistical Association 90 (1995) 773-795).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import solve_triangular

from rig.surface.added import explained_by
from rig.surface.covariance import Floats, correlation
from rig.surface.gaussian_process import GaussianProcess
from rig.surface.reml import Shots, find, lower_cholesky, parts_of, penalty

STEP_SD_MM = 5.0
"""How high a step is before any shot, as a standard deviation (common practice, no source)."""
# Log of how much likelier the shots are with the step, lines tried counted; chosen with floors of
# seed 31 of `tests/surface/worlds.py` (`python -m tests.surface.step_rates`).
SURE = 0.5
FEWEST_SHOTS = 16
_BEARINGS = 24
_LEAST_SIDE = 4
_APART_MM, _APART_SHARE = 100.0, 0.1
_FITTED = 3
_MOST_SHOTS = 300


@dataclass(frozen=True)
class Step:
    """A straight step: (x, y) on it, its bearing in degrees from x, and how high it is.

    `rise_mm` is how much higher the floor is on the left of the bearing; it is known to
    `stderr_mm`. The line may lie anywhere within `within_mm` to either side. `evidence` is the log
    of how much likelier the shots are with it.
    """

    x_mm: float
    y_mm: float
    bearing_deg: float
    rise_mm: float
    stderr_mm: float
    within_mm: float
    evidence: float


@dataclass(frozen=True, eq=False)
class _Line:
    turn_rad: float
    at_mm: float
    within_mm: float
    side: Floats


def find_step(model: GaussianProcess) -> Step | None:
    """Return the step that the shots of a fitted floor speak for, or None.

    Parameters
    ----------
    model : GaussianProcess
        Fitted to single shots; of a dense scan, or of fewer than 16 shots, nothing is said.
    """
    if model.binned or not FEWEST_SHOTS <= model.shots <= _MOST_SHOTS:
        return None
    lines = _lines(model.x_mm, model.y_mm)
    if not lines:
        return None
    gain = _gains(model, lines)
    tried = float(np.log(len(lines)))
    parts, (whole,) = model.parts(), model.parts(whole=True)
    fixed = (None,) * (3 + len(whole.lines))
    alone = find(parts, model.smoothness, model.priors, fixed)
    without = penalty(np.log(alone), whole, model.smoothness, model.priors)[0] - tried
    likeliest = np.argsort(-gain)[: _FITTED if len(parts) == 1 else 1]
    best = max((_held(model, lines[n], without) for n in likeliest), key=_evidence)
    return best if best.evidence > SURE else None


def _lines(x_mm: Floats, y_mm: Floats) -> list[_Line]:
    """Lines between shots that part them in two ways not tried before."""
    found: list[_Line] = []
    area = np.ptp(x_mm) * np.ptp(y_mm)
    least = min(_APART_MM, _APART_SHARE * float(np.sqrt(area / len(x_mm))))
    seen: set[bytes] = set()
    for turn in np.pi * np.arange(_BEARINGS) / _BEARINGS:
        across = -x_mm * np.sin(turn) + y_mm * np.cos(turn)
        order = np.sort(across)
        for n in range(_LEAST_SIDE, len(order) - _LEAST_SIDE + 1):
            apart = order[n] - order[n - 1]
            left = across >= order[n]
            key = np.packbits(left).tobytes()
            if apart < least or key in seen:
                continue
            seen.add(key)
            at = 0.5 * (order[n] + order[n - 1])
            found.append(_Line(float(turn), float(at), 0.5 * float(apart), left - 0.5))
    return found


def _gains(model: GaussianProcess, lines: list[_Line]) -> Floats:
    """How much likelier the shots are with each line at the floor's parameters as they are."""
    towards, precision = explained_by(model, np.column_stack([line.side for line in lines]))
    precision += STEP_SD_MM**-2
    gain: Floats = 0.5 * towards**2 / precision - 0.5 * np.log(precision * STEP_SD_MM**2)
    return gain


def _held(model: GaussianProcess, line: _Line, without: float) -> Step:
    """Fit a floor anew with a step on a line, and hold it against the penalty without."""
    priors, smoothness = model.priors, model.smoothness
    (whole,) = model.parts(whole=True)
    parted = _parted(whole, line.side)
    numbers = parts_of(model.x_mm, model.y_mm)
    pairs = zip(model.parts(), numbers, strict=True)
    parts = [_parted(part, line.side[n]) for part, n in pairs]
    found = find(parts, smoothness, priors, (None,) * (3 + len(whole.lines)))
    more = penalty(np.log(found), parted, smoothness, priors)[0] + np.log(STEP_SD_MM)
    return _step(line, *_rise(parted, found, smoothness), float(without - more))


def _parted(shots: Shots, side: Floats) -> Shots:
    """The same shots with a step among the coefficients of their trend."""
    precision = shots.precision if len(shots.precision) else np.zeros(shots.basis.shape[1])
    return replace(
        shots,
        basis=np.column_stack([shots.basis, side]),
        precision=np.append(precision, STEP_SD_MM**-2),
    )


def _step(line: _Line, rise_mm: float, stderr_mm: float, evidence: float) -> Step:
    return Step(
        float(-line.at_mm * np.sin(line.turn_rad)),
        float(line.at_mm * np.cos(line.turn_rad)),
        float(np.degrees(line.turn_rad)),
        rise_mm,
        stderr_mm,
        line.within_mm,
        evidence,
    )


def _evidence(step: Step) -> float:
    return step.evidence


def _rise(shots: Shots, parameters: Floats, smoothness: float) -> tuple[float, float]:
    """Height of the step, the last coefficient, and its standard error, by generalised least
    squares at given parameters.
    """  # noqa: D205
    length, sd, nugget, *lines = parameters
    matrix = sd**2 * correlation(shots.distance_mm, length, smoothness)
    for size, line in zip(lines, shots.lines, strict=True):
        matrix += size**2 * line
    matrix.flat[:: len(matrix) + 1] += shots.noise_mm2 + nugget**2 * shots.roughness
    lower = lower_cholesky(matrix)
    white = solve_triangular(lower, shots.basis, lower=True)
    normal = np.linalg.inv(white.T @ white + np.diag(shots.precision))
    rise = normal[-1] @ (white.T @ solve_triangular(lower, shots.z_mm, lower=True))
    return float(rise), float(np.sqrt(normal[-1, -1]))
