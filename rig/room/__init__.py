"""The plan of a room: outline, doors, walls paced out, places by walls, rasters of the floor."""

from rig.room.doors import Door, wall_of
from rig.room.files import from_file
from rig.room.geometry import ON_WALL_MM, Floats, Point, Ring
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
from rig.room.walk import MOST_CLOSING, from_walls

__all__ = [
    "MOST_CLOSING",
    "ON_WALL_MM",
    "Door",
    "Floats",
    "Outline",
    "Point",
    "Raster",
    "Ring",
    "contains",
    "from_file",
    "from_rings",
    "from_walls",
    "is_within",
    "named_walls",
    "raster",
    "raster_of",
    "renamed",
    "room",
    "wall_feet",
    "wall_of",
    "wall_offsets",
    "wall_towards",
    "where",
    "with_door",
    "with_opening",
]
