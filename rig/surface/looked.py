"""What a straightedge or a sliding rod says of humps and dips that no shot has seen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rig.surface.covariance import Floats

SEEN_MM = 1.0
"""A gap under a straightedge, or its rocking, of this is seen by one look in three or so, of twice
this by most: one standard deviation (common practice, no source)."""
HUMP_RADIUS_MM = 457.2
"""Half of a hump 3 ft across, such as a patch or a crowned sheet (common practice, no source)."""
AT_AN_END = 0.15
"""A gap so near to an end, as a share of the edge, is that of an edge that rocks on what is high
between."""
_SAMPLES = 13


@dataclass(frozen=True)
class Looked:
    """A straightedge's finding, from one place to another: flat, or a gap at a place.

    Or a profile that a rod's foot slid along: `profile_mm` over the straight line between its ends,
    equally spaced. `seen_mm` is one standard deviation of what is seen.
    """

    from_mm: tuple[float, float]
    to_mm: tuple[float, float]
    gap_mm: float = 0.0
    at_mm: tuple[float, float] | None = None
    seen_mm: float = SEEN_MM
    profile_mm: tuple[float, ...] = ()

    @property
    def share(self) -> float:
        """How far along the edge the gap is, 0 to 1; without one the middle."""
        if self.at_mm is None:
            return 0.5
        along = np.subtract(self.to_mm, self.from_mm)
        off = np.subtract(self.at_mm, self.from_mm)
        return float(np.clip(off @ along / (along @ along), 0.0, 1.0))

    @property
    def rocks(self) -> bool:
        """Whether the edge stood on something high between its ends."""
        return self.at_mm is not None and not AT_AN_END <= self.share <= 1.0 - AT_AN_END


def bell(away_mm: Floats, radius_mm: Floats | float) -> Floats:
    r"""Height of a hump of height 1, :math:`\tfrac12 (1 + \cos \pi r / R)`, so far off its middle.

    Parameters
    ----------
    away_mm : array
    radius_mm : array that goes with it, or float
    """
    near = np.minimum(away_mm / radius_mm, 1.0)
    height: Floats = 0.5 * (1.0 + np.cos(math.pi * near))
    return height


def shown(look: Looked, x_mm: Floats, y_mm: Floats, radius_mm: Floats | float) -> Floats:
    """What an edge shows of bells of height 1: how far they leave the chord of its ends, (k,).

    Parameters
    ----------
    look : Looked
    x_mm, y_mm, radius_mm : arrays, shape (k,)
        Middles and radii of the bells (`bell`).
    """
    share = np.linspace(0.0, 1.0, _SAMPLES)
    along_x = look.from_mm[0] + share * (look.to_mm[0] - look.from_mm[0])
    along_y = look.from_mm[1] + share * (look.to_mm[1] - look.from_mm[1])
    away = np.hypot(np.subtract.outer(x_mm, along_x), np.subtract.outer(y_mm, along_y))
    height = bell(away, np.asarray(radius_mm)[..., None])
    chord = (1.0 - share) * height[:, :1] + share * height[:, -1:]
    off: Floats = np.max(np.abs(height - chord), axis=1)
    return off


def found_mm(look: Looked, x_mm: Floats, y_mm: Floats, *, dips: bool = False) -> Floats | float:
    """How much of humps, or dips, at places (k,) a look found, which another may be the cause of.

    Of a dip under a straightedge that is its gap, of a slide what its profile has beside the place.
    """
    if not look.profile_mm:
        return look.gap_mm if dips and not look.rocks else 0.0
    along = np.subtract(look.to_mm, look.from_mm)
    share = ((x_mm - look.from_mm[0]) * along[0] + (y_mm - look.from_mm[1]) * along[1]) / (
        along @ along
    )
    profile = np.array(look.profile_mm)
    there = np.interp(share, np.linspace(0.0, 1.0, len(profile)), -profile if dips else profile)
    found: Floats = np.maximum(there, 0.0)
    return found


def passed(
    looks: Sequence[Looked],
    x_mm: Floats,
    y_mm: Floats,
    radius_mm: Floats,
    height_mm: Floats,
    *,
    dips: bool = False,
) -> Floats:
    """Chance that humps, or dips, would have gone with what the looks found, (k,).

    A gap between the ends is that of a dip; an edge that rocks stands on a hump, and says nothing
    of any other.
    """
    chance = np.ones(len(x_mm))
    for look in looks:
        if look.rocks and not dips:
            continue
        found = found_mm(look, x_mm, y_mm, dips=dips)
        off = height_mm * shown(look, x_mm, y_mm, radius_mm)
        # Of a dip that is smaller than the gap another may be the cause.
        chance *= np.exp(-0.5 * (np.maximum(off - found, 0.0) / look.seen_mm) ** 2)
    return chance
