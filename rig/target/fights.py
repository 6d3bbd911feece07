"""Explains wishes of a plane that fight: which two, and the least change that reconciles them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from rig.language import both, changed, either, join, put, say
from rig.target.level import Floats, Plane
from rig.target.lowest import Give, Wishes, least
from rig.target.programme import Hold, slope_of
from rig.units import Units

SayPlace = Callable[[float, float], str]
_NONE = np.empty(0)


def why_not(wishes: Wishes, say_place: SayPlace, units: Units) -> str:
    """Name the two wishes that fight, and the least change of each that would reconcile them.

    Parameters
    ----------
    wishes : Wishes
        That no plane keeps, even by the best estimate.
    say_place : function of x and y in mm
        Words for a place.
    units : Units
    """
    fight = _Fight(wishes, units)
    holds = list(wishes.holds)
    for n, one in enumerate(holds):
        for two in holds[n + 1 :]:
            if fight.solve([one, two], cover=False) is None:
                return _two_fight(fight, one, two)
    if len(holds) > 2 and fight.solve(holds, cover=False) is None:
        names = both(hold.name for hold in holds)
        text = say("{names} cannot all lie on one plane.", names=_cap(names))
        return join(" ", [text, fight.limit(), fight.advice(holds, cover=False)])
    alone = next((hold for hold in holds if fight.solve([hold], cover=True) is None), None)
    at_odds = [alone] if alone else holds
    names, place = both(hold.name for hold in at_odds), fight.worst_place(at_odds, say_place)
    if len(at_odds) == 1:
        text = say(
            "{name} and the minimum cover fight: too little cover is left {place}.",
            name=_cap(names),
            place=place,
        )
    else:
        text = say(
            "{names} together and the minimum cover fight: too little cover is left {place}.",
            names=_cap(names),
            place=place,
        )
    return join(" ", [text, fight.limit(), fight.advice(at_odds, cover=True)])


@dataclass(frozen=True, eq=False)
class _Fight:
    """What is asked of the programme again and again, of some of the wishes at a time."""

    wishes: Wishes
    units: Units

    @property
    def bound_mm(self) -> Floats:
        return self.wishes.floor_mm + self.wishes.min_cover_mm

    def limit(self) -> str:
        """Say how much the plane may slope."""
        slope = self.wishes.max_slope
        return (
            say("A level floor is asked for.")
            if slope == 0
            else say("A slope of at most {slope} is asked for.", slope=self.units.slope(slope))
        )

    def length(self, mm: float) -> str:
        """Write a length rounded up, so that the change said is enough."""
        step = 0.1 if self.units.is_metric else 25.4 / self.units.denominator
        return self.units.length(math.ceil(mm / step - 1e-6) * step)

    def solve(
        self, holds: Sequence[Hold], cover: bool, give: Give | None = None, level: bool = False
    ) -> tuple[Plane, float] | None:
        """Plane through holds, over the floor where cover is to be kept."""
        asked = self.wishes
        cells = (_NONE, _NONE, _NONE, _NONE)
        if cover:
            cells = (asked.x_mm, asked.y_mm, self.bound_mm, asked.area_mm2)
        return least(*cells, 0.0 if level else asked.max_slope, holds, give or Give())

    def advice(self, holds: Sequence[Hold], cover: bool) -> str:
        options = self._changes(holds, cover)
        if not options:
            return say("No single change reconciles them: leave out one of the held heights.")
        return put("{options}.", options=_cap(either(options)))

    def _changes(self, holds: Sequence[Hold], cover: bool) -> list[str]:
        told: list[tuple[float, str]] = []
        for n, hold in enumerate(holds):
            moves = []
            for up in (1.0, -1.0):
                solved = self.solve(holds, cover, Give(hold=n, up=up))
                if solved is not None:
                    by = self.length(solved[1])
                    move = (
                        say("raise {name} by {by}", name=hold.name, by=by)
                        if up > 0
                        else say("lower {name} by {by}", name=hold.name, by=by)
                    )
                    moves.append((solved[1], move))
            told += [min(moves)] if moves else []
        options = [text for _, text in sorted(told)]
        if self.wishes.max_slope > 0 or len(holds) > 1:
            solved = self.solve(holds, cover, Give(slope=1.0), level=True)
            if solved is not None:
                ratio = slope_of(solved[1])
                options.append(
                    say("allow a slope of {ratio}", ratio=self.units.slope(ratio, up=True))
                )
        if cover:
            solved = self.solve(holds, cover, Give(cover=1.0))
            if solved is not None and solved[1] <= self.wishes.min_cover_mm:
                options.append(
                    say("lower the minimum cover by {solved}", solved=self.length(solved[1]))
                )
        return options

    def worst_place(self, holds: Sequence[Hold], say_place: SayPlace) -> str:
        """Where the cover is least on the plane that comes closest to keeping it."""
        solved = self.solve(holds, True, Give(cover=1.0))
        if solved is None:
            return say("somewhere")
        x, y = self.wishes.x_mm, self.wishes.y_mm
        worst = int(np.argmax(self.bound_mm - solved[0].at(x, y)))
        return say_place(float(x[worst]), float(y[worst]))


def _two_fight(fight: _Fight, one: Hold, two: Hold) -> str:
    """Say why two held heights leave no plane within the slope limit."""
    apart = math.dist((one.x_mm, one.y_mm), (two.x_mm, two.y_mm))
    off = abs(one.height_mm - two.height_mm)
    if apart < 1.0:
        return say(
            "{one} and {other} are one place with two heights, {off} apart; leave one out.",
            one=_cap(one.name),
            other=two.name,
            off=fight.length(off),
        )
    text = say(
        "{one} and {other} fight: between them the plane would slope {slope}.",
        one=_cap(one.name),
        other=two.name,
        slope=fight.units.slope(off / apart),
    )
    return join(" ", [text, fight.limit(), fight.advice([one, two], cover=False)])


def _cap(text: str) -> str:
    return changed(text, lambda written: written[:1].upper() + written[1:])
