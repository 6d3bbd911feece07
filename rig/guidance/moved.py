"""A layout of depth markers changed by hand: some moved, some added, some taken away."""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import shapely

from rig.errors import BadInput, CannotAnswer
from rig.guidance.layout import CLEAR_MM, MOST_MARKERS, MarkerPlace, Place
from rig.language import join, say
from rig.room import Outline
from rig.units import Units


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """What is asked of a layout: markers by label to new places, new places, labels to drop."""

    move: Sequence[tuple[str, Place]] = ()
    add: Sequence[Place] = ()
    drop: Sequence[str] = ()

    def __bool__(self) -> bool:
        return bool(self.move or self.add or self.drop)


def changed_layout(
    outline: Outline,
    layout: Sequence[MarkerPlace],
    changes: Changes,
    units: Units,
    gone: Collection[str] = (),
) -> list[MarkerPlace]:
    """Return a layout with markers moved, added and dropped.

    A moved marker keeps its turn; an added one comes in where it is least out of the way, under
    the next label that no marker of this layout ever had.

    Parameters
    ----------
    outline : Outline
        Walls and openings.
    layout : sequence of MarkerPlace
        In the order to set them.
    changes : Changes
    units : Units
        Of what is told in an error.
    gone : collection of str
        Labels that a new one may not have: of markers dropped earlier, whose chalk may still be
        on the floor, and of those in other rooms.

    Raises
    ------
    BadInput
        A label that is not there or named twice, a place off the floor, or two markers less than
        a hand apart.
    CannotAnswer
        When no marker is left.
    """
    drop = [_known(layout, label) for label in changes.drop]
    named = [*(_known(layout, label) for label, _ in changes.move), *drop]
    twice = next((label for label in named if named.count(label) > 1), None)
    if twice is not None:
        raise BadInput(
            say("Marker {twice} is named twice; say once what becomes of it.", twice=twice)
        )
    move = {_known(layout, label): place for label, place in changes.move}
    kept = [
        MarkerPlace(one.label, *move.get(one.label, (one.x_mm, one.y_mm)))
        for one in layout
        if one.label not in drop
    ]
    number = max((_number(label) for label in [*(m.label for m in layout), *gone]), default=0)
    for n, place in enumerate(changes.add, start=number + 1):
        new = MarkerPlace(f"M{n}", *place)
        kept.insert(_turn(kept, new), new)
        move[new.label] = place
    if not kept:
        raise CannotAnswer(say("No marker would be left; a floor needs one at least."))
    if len(kept) > MOST_MARKERS:
        raise BadInput(
            say(
                "There would be more than {most_markers} markers: nobody sets so many.",
                most_markers=MOST_MARKERS,
            )
        )
    _refuse_apart_too_little(kept, move, units)
    refuse_off_floor(outline, kept, units)
    return kept


def refuse_off_floor(outline: Outline, layout: Sequence[MarkerPlace], units: Units) -> None:
    """Refuse markers that stand outside the walls or in an opening."""
    for one in layout:
        if not shapely.covers(outline.polygon, shapely.Point(one.x_mm, one.y_mm)):
            raise BadInput(
                say(
                    "Marker {label} at x {x}, y {y} would stand outside the walls or in an "
                    "opening. Places are measured from the room's corner: --move {label}=X,Y, "
                    "or --drop {label}.",
                    label=one.label,
                    x=units.place(one.x_mm),
                    y=units.place(one.y_mm),
                )
            )


def _known(layout: Sequence[MarkerPlace], label: str) -> str:
    for one in layout:
        if one.label.upper() == label.strip().upper():
            return one.label
    raise BadInput(
        say(
            "There is no marker {label!r}; there are {layout}.",
            label=label,
            layout=join(", ", (one.label for one in layout)),
        )
    )


def _number(label: str) -> int:
    digits = label[1:]
    return int(digits) if label[:1] == "M" and digits.isascii() and digits.isdigit() else 0


def _turn(layout: Sequence[MarkerPlace], new: MarkerPlace) -> int:
    """Return before which marker a new one makes the walk longer by least; the last stays last."""

    def apart(one: MarkerPlace, other: MarkerPlace) -> float:
        return math.dist((one.x_mm, one.y_mm), (other.x_mm, other.y_mm))

    def detour(n: int) -> float:
        if n == 0:
            return apart(new, layout[0])
        return apart(layout[n - 1], new) + apart(new, layout[n]) - apart(layout[n - 1], layout[n])

    return min(range(len(layout)), key=detour, default=0)


def _refuse_apart_too_little(
    layout: Sequence[MarkerPlace], placed: Mapping[str, Place], units: Units
) -> None:
    for label, place in placed.items():
        for other in layout:
            apart_mm = math.dist(place, (other.x_mm, other.y_mm))
            if other.label != label and apart_mm < CLEAR_MM:
                raise BadInput(
                    say(
                        "Markers {label} and {label_2} would stand {apart} apart: nobody could "
                        "tell which of them the rod is on. Keep them {clear_mm} apart.",
                        label=label,
                        label_2=other.label,
                        apart=units.place(apart_mm),
                        clear_mm=units.place(CLEAR_MM),
                    )
                )
