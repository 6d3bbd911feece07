"""The plan of a room: outline, doors, walls paced out, places by walls, rasters of the floor."""

from rig.room.doors import Door, wall_of
from rig.room.files import from_file, from_text
from rig.room.geometry import ON_WALL_MM, Floats, Point, Ring
from rig.room.house import Doorway, House, behind_door, doorways, house_of, moved_to, way_out
from rig.room.outline import (
    Outline,
    contains,
    from_rings,
    is_within,
    room,
    with_door,
    with_opening,
)
from rig.room.places import named_walls, wall_feet, wall_offsets, wall_towards, where
from rig.room.rasters import Raster, raster, raster_of
from rig.room.sides import renamed
from rig.room.walk import MOST_CLOSING, from_walls, walk_so_far

__all__ = [
    "MOST_CLOSING",
    "ON_WALL_MM",
    "Door",
    "Doorway",
    "Floats",
    "House",
    "Outline",
    "Point",
    "Raster",
    "Ring",
    "behind_door",
    "contains",
    "doorways",
    "from_file",
    "from_rings",
    "from_text",
    "from_walls",
    "house_of",
    "is_within",
    "moved_to",
    "named_walls",
    "raster",
    "raster_of",
    "renamed",
    "room",
    "walk_so_far",
    "wall_feet",
    "wall_of",
    "wall_offsets",
    "wall_towards",
    "way_out",
    "where",
    "with_door",
    "with_opening",
]
