"""What is said of a room: its size, its corners, doors and numbered walls."""

import math
from typing import TYPE_CHECKING

from rig.language import put
from rig.units import Units
from rig.words import join, numeral, say, say_many

if TYPE_CHECKING:
    from rig.room import Outline


def room_lines(job: str, outline: "Outline", closing_mm: float | None, units: Units) -> list[str]:
    """Describe a room, a line for each thing."""
    from rig.room import named_walls

    def at(x_mm: float, y_mm: float) -> str:
        return put("({x}, {y})", x=units.place(x_mm), y=units.place(y_mm))

    lines = [
        say(
            "Job {job}: {area}, {perimeter} of wall.",
            job=job,
            area=units.area(outline.area_m2),
            perimeter=units.place(outline.perimeter_mm),
        )
    ]
    if closing_mm is not None:
        lines += [
            say(
                "The walls close to {apart}; the error is spread over the corners.",
                apart=units.length(closing_mm),
            ),
            say("Corners (x, y): {corners}", corners=join(" ", (at(*xy) for xy in outline.walls))),
        ]
    lines += [
        say(
            "Door from {start} to {end}.",
            start=at(door.x_mm, door.y_mm),
            end=at(door.end_x_mm, door.end_y_mm),
        )
        for door in outline.doors
    ]
    lines += wall_lines(outline, units)
    if outline.doors and not (_has_plain_walls(outline) or outline.wall_names):
        old = named_walls(outline)[1][0]
        lines.append(say("To call a wall as you do: rig edit --wall '{old}=window wall'.", old=old))
    return lines


# Few rooms have less or more floor (common practice, no source).
SMALL_ROOM_M2, LARGE_ROOM_M2 = 1.0, 1000.0


def size_warnings(outline: "Outline", units: Units) -> list[str]:
    """Doubt a floor that few rooms have: most likely in another unit than was meant."""
    if SMALL_ROOM_M2 <= outline.area_m2 <= LARGE_ROOM_M2:
        return []
    text = say("This room has {area} of floor, and few are so large. Are the units right?")
    if outline.area_m2 < SMALL_ROOM_M2:
        text = say("This room has {area} of floor, and few are so small. Are the units right?")
    return [say(text, area=units.area(outline.area_m2))]


def wall_lines(outline: "Outline", units: Units) -> list[str]:
    """Say in a line what the walls are called; nothing where the door makes that plain."""
    from rig.room import House, named_walls

    if isinstance(outline, House):  # each room has its own walls, told with the room's name
        return []
    if outline.doors:
        if _has_plain_walls(outline):
            return []
        told = (
            say("{wall} ({long})", wall=name, long=units.place(math.dist(a, b)))
            for name, a, b in named_walls(outline)
        )
        return [say("The walls, one after the other: {walls}.", walls=join(", ", told))]

    walls = (
        say("{wall} from ({x}, {y})", wall=name, x=units.place(x), y=units.place(y))
        for name, (x, y), _ in named_walls(outline)
    )
    return [
        say(
            "Without a door (--door X,Y,WIDTH) the walls go by number: {walls}.",
            walls=join(", ", walls),
        )
    ]


def _has_plain_walls(outline: "Outline") -> bool:
    """Whether no wall has another name than the four that anybody knows."""
    from rig.room import named_walls

    plain = {say("door wall"), say("left wall"), say("right wall"), say("far wall")}
    return {name for name, _, _ in named_walls(outline)} <= plain


def names_gone(outline: "Outline", before: "Outline") -> list[str]:
    """Tell which of the user's names went with walls that are no more."""
    if not before.wall_names or len(outline.walls) == len(before.walls):
        return []
    gone = join(", ", before.wall_names.values())
    return [say("The walls are others now; these names of yours are gone: {gone}.", gone=gone)]


def grid_is_old() -> str:
    """Say what becomes of a grid and its shots where the walls change."""
    return say(
        "The grid is of the old walls: lay it out again then. Shots within the new walls stay and "
        "count."
    )


def plan_is_old(markers: int) -> str:
    """Say what becomes of a plan and its markers where the walls change."""
    if not markers:
        return say("The plan would be stale: choose it again then.")
    return say(
        "The plan and {markers} would be stale: choose it and lay them out again then.",
        markers=say_many("its {count} marker", "its {count} markers", markers),
    )


def rule_line(key: str, amount: float, unit: str, units: Units) -> str:
    """Say what a rule for materials has been set to."""
    if unit == "mm":
        shown = units.length(amount)
    elif unit == "l":
        shown = units.volume(amount, liquid=True)
    else:
        shown = put("{n} {unit}", n=numeral(amount, "g"), unit=unit)
    return say("Rule changed: {key} is {amount} now.", key=key, amount=shown)
