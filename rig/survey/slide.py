"""From the readings of a rod whose foot slid from one shot to another to a profile of the floor.

Where a reading was is told by its time alone, and a rod that leans reads long. Plain floats and
`math.fsum` only, so that a replay comes to the same.
"""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from rig.events import Extreme

LEAN_SD_DEG = 1.5
"""How far a hand lets a sliding rod lean, one standard deviation (common practice, no source)."""
MOST_LEAN_DEG = 2.0 * LEAN_SD_DEG
HAND_S, HAND_SD_S = 0.4, 0.3
"""From the beep to the first move, and from the last to the press (common practice, no source)."""
UNEVEN_SHARE = 0.07
"""How far from an even pace a foot is in the middle, of the length (common practice, no source)."""
STEP_MM = 25.0
MOST_GAP_MM = 150.0
STANDS_OUT, LEAST_MM = 3.0, 1.5
LEAST_RADIUS_MM = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """A floor between two shots: `off_mm` over their straight line, equally spaced, both ends in.

    `stderr_mm` is the doubt of one of them, `lean_mm` what the rod reads long at most by its lean,
    `place_mm` one standard deviation of a place in the middle.
    """

    off_mm: tuple[float, ...]
    stderr_mm: float
    lean_mm: float
    place_mm: float
    found: tuple[Extreme, ...]


def lean_of(reading_mm: float) -> tuple[float, float, float]:
    r"""Return mean, standard deviation and bound of what a leaning rod reads long, in mm.

    A rod that leans by :math:`t` reads :math:`h (1 / \cos t - 1) \approx h t^2 / 2` long; of a
    normal :math:`t` of standard deviation :math:`\sigma` that has the mean :math:`h \sigma^2 / 2`
    and the standard deviation :math:`h \sigma^2 / \sqrt 2`.

    Parameters
    ----------
    reading_mm : float
        The line over the rod's foot.
    """
    mean = 0.5 * reading_mm * math.radians(LEAN_SD_DEG) ** 2
    most = reading_mm * (1.0 / math.cos(math.radians(MOST_LEAN_DEG)) - 1.0)
    return mean, math.sqrt(2.0) * mean, most


def place_stderr_mm(share: float, length_mm: float, seconds: float) -> float:
    """How well a place is known by time, one standard deviation, in mm.

    Parameters
    ----------
    share : float
        Of the way, 0 to 1.
    length_mm, seconds : float
        Of the slide.
    """
    hands = HAND_SD_S * length_mm / seconds
    return math.hypot(hands, 2.0 * UNEVEN_SHARE * length_mm * math.sqrt(share * (1.0 - share)))


def shares_of(times_s: Sequence[float], begun_s: float, ended_s: float) -> list[float]:
    """Return how far along the slide each reading was, 0 to 1, at an even pace.

    Parameters
    ----------
    times_s : sequence of float
    begun_s, ended_s : float
        When the rod was told to go, and when it was told to be there.
    """
    first, last = begun_s + HAND_S, ended_s - HAND_S
    return [min(1.0, max(0.0, (t - first) / (last - first))) for t in times_s]


def gap_mm(shares: Sequence[float], length_mm: float) -> float:
    """Return the longest way without a reading, in mm."""
    return length_mm * max(b - a for a, b in pairwise([0.0, *shares, 1.0]))


def profile_of(
    shares: Sequence[float],
    readings_mm: Sequence[float],
    start_mm: float,
    rise_mm: float,
    doubt_mm: float,
    ends: tuple[tuple[float, float], tuple[float, float]],
    seconds: float,
) -> Profile:
    """Return the floor between two shots.

    Parameters
    ----------
    shares : sequence of float
        How far along each reading was, not falling.
    readings_mm : sequence of float
    start_mm : float
        What the rod read as it stood where the slide begins.
    rise_mm : float
        Height of the shot at the end over that at the start.
    doubt_mm : float
        Of both, and of that stand.
    ends : two places, (x, y) in mm
    seconds : float
    """
    lean, lean_sd, most = lean_of(start_mm)
    off = [
        start_mm - rise_mm * share - reading + lean
        for share, reading in zip(shares, readings_mm, strict=True)
    ]
    length_mm = math.dist(*ends)
    steps = max(8, round(length_mm / STEP_MM))
    nodes = [_near(shares, off, n / steps, 1.0 / steps) for n in range(steps + 1)]
    nodes[0] = nodes[-1] = 0.0  # the shots themselves
    noise = median(abs(b - a) for a, b in pairwise(off)) / 0.954
    stderr = math.sqrt(noise**2 / 2.0 + lean_sd**2 + doubt_mm**2)
    found = []
    for sign in (1.0, -1.0):
        at = max(range(steps + 1), key=lambda n: sign * nodes[n])
        if sign * nodes[at] > least_mm(stderr):
            found.append(_extreme(nodes, at, stderr, ends, seconds))
    return Profile(
        off_mm=tuple(round(one, 2) for one in nodes),
        stderr_mm=stderr,
        lean_mm=most,
        place_mm=place_stderr_mm(0.5, length_mm, seconds),
        found=tuple(found),
    )


def least_mm(stderr_mm: float) -> float:
    """Return what a hump or dip of a profile has to be to be told, in mm."""
    return max(LEAST_MM, STANDS_OUT * stderr_mm)


def _near(shares: Sequence[float], off: Sequence[float], share: float, reach: float) -> float:
    """Return the median of what was read near a place, else what lies between its neighbours."""
    low, high = bisect_left(shares, share - reach), bisect_right(shares, share + reach)
    if low < high:
        return median(off[low:high])
    if not 0 < low < len(shares):
        return off[0] if low == 0 else off[-1]
    part = (share - shares[low - 1]) / (shares[low] - shares[low - 1])
    return off[low - 1] + part * (off[low] - off[low - 1])


def _radius_mm(nodes: Sequence[float], at: int, length_mm: float) -> float:
    """Return the radius of a round hump or dip that is as wide at half its height, in mm."""
    half, sides = abs(nodes[at]) / 2.0, []
    for way in (-1, 1):
        n = at
        while 0 < n < len(nodes) - 1 and abs(nodes[n]) > half:
            n += way
        sides.append(abs(n - at))
    return max(LEAST_RADIUS_MM, sum(sides) * length_mm / (len(nodes) - 1))


def _extreme(
    nodes: Sequence[float],
    at: int,
    stderr_mm: float,
    ends: tuple[tuple[float, float], tuple[float, float]],
    seconds: float,
) -> Extreme:
    """Return a hump or dip; were it a little way off, the floor at its place would be otherwise."""
    (x0, y0), (x1, y1) = ends
    last, length_mm = len(nodes) - 1, math.dist(*ends)
    share = at / last
    place = place_stderr_mm(share, length_mm, seconds)
    reach = max(1, round(place / length_mm * last))
    beside = [nodes[max(0, at - reach)], nodes[min(last, at + reach)]]
    otherwise = math.fsum(abs(nodes[at] - one) for one in beside) / 2.0
    return Extreme(
        x_mm=round(x0 + share * (x1 - x0), 1),
        y_mm=round(y0 + share * (y1 - y0), 1),
        off_mm=nodes[at],
        stderr_mm=math.hypot(stderr_mm, otherwise),
        place_stderr_mm=place,
        radius_mm=_radius_mm(nodes, at, length_mm),
    )
