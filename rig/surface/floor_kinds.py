"""What is believed of a floor by what it is made of, where that is told.

A slab has joints, and its edges curl up there by 1/16 to 1/4 in (joints at 24 to 36 times the
thickness: ACI 302.1R; curl: ACI 360R, both from memory), so what lines along its walls add is
believed to be of that size. Joists run one way: lines are believed along them, and hardly any
across. How large each is, is common practice, no source; they were chosen with 30 floors each of
seed 31 of `tests/surface/worlds.py`: judge the table on others.
"""

from __future__ import annotations

from rig.surface.reml import Prior, Priors

_CURLED = Prior(1.0, 0.6, 0.01, 6.0)
_OVER_JOISTS, _ACROSS_JOISTS = Prior(0.6, 0.8, 0.01, 6.0), Prior(0.1, 1.0, 0.01, 6.0)


def priors_of(floor: str | None, joists_along: str | None = None, jointed: bool = True) -> Priors:
    """Beliefs of a floor made of `floor`.

    Parameters
    ----------
    floor : {'concrete', 'sheets', 'screed', 'boards', 'unknown'} or None
    joists_along : 'x' or 'y', optional
        The way that its joists run, where it has any and that is known.
    jointed : bool
        Whether joints of a slab may lie in the room.
    """
    usual = Priors()
    if floor == "concrete" and jointed:
        return Priors(lines=(_CURLED, _CURLED, *usual.lines[2:]))
    if floor in ("concrete", "screed") or joists_along is None:
        return usual
    narrow = (
        [_OVER_JOISTS, _ACROSS_JOISTS] if joists_along == "y" else [_ACROSS_JOISTS, _OVER_JOISTS]
    )
    return Priors(lines=(*narrow, *usual.lines[2:]))
