"""The options that describe the room and the compound, shared by `rig new` and `rig edit`."""

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from rig.cli.options import MASS, PERCENT, VOLUME, JoistsGiven, Length, Lengths, Typed, stack
from rig.errors import BadInput
from rig.job.settings import FLOOR_KINDS, Joists, Settings
from rig.language import LANGUAGES, say
from rig.texts import name_of
from rig.units import System, Units

if TYPE_CHECKING:
    from rig.products import Used
    from rig.quantities.materials import Rule
    from rig.room import Outline

T = TypeVar("T")

NO_ROOM = say("Give the room: --room 12ft,15ft, or --walls, or --outline.")

shape_options = stack(
    click.option("--room", type=Lengths("X", "Y"), help="A rectangular room: 12ft,15ft."),
    click.option(
        "--walls",
        type=Typed(),
        help="Walls paced out: '12ft right 5ft left 3ft right ...', turning as you walk.",
    ),
    click.option(
        "--outline",
        "outline_file",
        type=click.Path(path_type=Path, dir_okay=False),
        help="A file: WKT polygon with holes, or CSV ring,x,y. Needs --unit.",
    ),
    click.option(
        "--unit",
        type=click.Choice(["mm", "cm", "m", "in", "ft"]),
        help="The unit of the outline file.",
    ),
    click.option(
        "--door",
        "doors",
        type=Lengths("X", "Y", "WIDTH"),
        multiple=True,
        help="A doorway: its end nearer the start of its wall, and its width. Repeatable.",
    ),
    click.option(
        "--opening",
        "openings",
        type=Lengths("X", "Y", "W", "H"),
        multiple=True,
        help="A hole in the floor area (duct, post, flange). Repeatable.",
    ),
)

room_options = stack(
    shape_options,
    click.option("--units", type=click.Choice(["in", "mm"]), help="Units to print and to type in."),
    click.option(
        "--covering",
        metavar="KEY",
        help="What will lie on the floor: tile, small tile, plank, wood, sheet or carpet. It picks "
        "the rule of flatness.",
    ),
    click.option(
        "--min-cover", type=Length(minimum=0.0), help="Least compound over the high point."
    ),
    click.option(
        "--max-cover", type=Length(above=0.0), help="Most compound in one lift, from its sheet."
    ),
    click.option("--bag-yield", type=VOLUME, help="Volume that a bag makes, from its sheet."),
    click.option("--bag-mass", type=MASS, help="Mass of a bag."),
    click.option("--bag-water", type=VOLUME, help="Water for a bag, from its sheet."),
    click.option(
        "--waste", type=PERCENT, help="Bought on top for what stays in buckets and hoses, as 5%."
    ),
    click.option(
        "--product",
        metavar="NAME",
        help="The compound, as rig product knows it; what is given beside it rules over its sheet.",
    ),
    click.option(
        "--language",
        type=click.Choice(list(LANGUAGES)),
        help="Language in which people are told of this job.",
    ),
    click.option("--crew", metavar="NAME", help="Who does the work, by the name you know them by."),
    click.option(
        "--laser-name",
        metavar="NAME",
        help="Which laser it is: its serial number, or a name of its own.",
    ),
    click.option(
        "--floor", type=click.Choice(FLOOR_KINDS), help="What the floor to be levelled is made of."
    ),
    click.option(
        "--joists",
        type=JoistsGiven(),
        help="Which way the joists run and how far apart: x,16in (with the first length of the "
        "room) or y,16in (across it).",
    ),
    click.option(
        "--joints", type=Length(above=0.0), help="How far apart the joints of a slab are."
    ),
)


@dataclass(frozen=True, kw_only=True)
class RoomGiven:
    """The options of `room_options` as click hands them over; None where not given."""

    room: tuple[float, float] | None
    walls: str | None
    outline_file: Path | None
    unit: str | None
    doors: tuple[tuple[float, float, float], ...]
    openings: tuple[tuple[float, float, float, float], ...]
    units: System | None = None
    covering: str | None = None
    min_cover: float | None = None
    max_cover: float | None = None
    bag_yield: float | None = None
    bag_mass: float | None = None
    bag_water: float | None = None
    waste: float | None = None
    product: str | None = None
    language: str | None = None
    crew: str | None = None
    laser_name: str | None = None
    floor: str | None = None
    joists: tuple[str, float] | None = None
    joints: float | None = None
    at: tuple[float, float] | None = None

    @property
    def has_shape(self) -> bool:
        """Whether any of them is of the walls, doors or openings."""
        shapes = (self.room, self.walls, self.outline_file)
        return bool(self.doors or self.openings or any(one is not None for one in shapes))

    @property
    def has_settings(self) -> bool:
        """Whether any of them is kept among the job's settings."""
        sizes = (self.min_cover, self.max_cover, self.bag_yield, self.bag_mass, self.bag_water)
        names = (self.covering, self.product, self.crew, self.laser_name, self.language)
        others = (self.units, self.waste, self.floor, self.joists, self.joints)
        return any(one is not None for one in (*sizes, *names, *others))

    @cached_property
    def used(self) -> "Used | None":
        """The compound that was named, with what goes with it, from the user's list."""
        if self.product is None:
            return None
        from rig.products import Library

        return Library.load().used(self.product)

    @property
    def rules(self) -> "list[Rule]":
        """Rules for materials that the compound named brings with it."""
        if self.used is None:
            return []
        from rig.quantities.materials import rules_by

        return rules_by(self.used)

    def settings_over(self, old: Settings) -> Settings:
        """Return settings with what was given in place of what was there.

        Raises
        ------
        BadInput
            Where they contradict each other.
        """
        from rig.study.described import check_settings, with_product

        if self.covering is not None and self.covering.strip():
            from rig.flatness.coverings import known_covering

            known_covering(self.covering)
        old = replace(
            old,
            language=_given(self.language, old.language),
            crew=old.crew if self.crew is None else _crew_name(self.crew),
            laser_name=old.laser_name
            if self.laser_name is None
            else name_of(self.laser_name, "--laser-name"),
            floor=_given(self.floor, old.floor),
            joists=old.joists
            if self.joists is None
            else Joists(along=self.joists[0], spacing_mm=self.joists[1]),
            joints_mm=_given(self.joints, old.joints_mm),
        )
        if self.used is not None:
            old = with_product(old, self.used)
        new = replace(
            old,
            units=_given(self.units, old.units),
            covering=_given(self.covering, old.covering),
            min_cover_mm=_given(self.min_cover, old.min_cover_mm),
            max_cover_mm=_given(self.max_cover, old.max_cover_mm),
            bag_yield_l=_given(self.bag_yield, old.bag_yield_l),
            bag_mass_kg=_given(self.bag_mass, old.bag_mass_kg),
            bag_water_l=_given(self.bag_water, old.bag_water_l),
            waste_share=_given(self.waste, old.waste_share),
        )
        check_settings(new)
        return new

    def outline_over(
        self, current: "Outline | None", units: Units
    ) -> "tuple[Outline, float | None] | None":
        """Return the outline they make and how far paced walls failed to close, or None.

        Parameters
        ----------
        current : Outline or None
            What `edit` starts from; its doors and openings stay, also in a new room, unless others
            are given.
        units : Units
            What is wrong is told in these.
        """
        from rig import room as rooms
        from rig.study.described import refuse_no_room, with_kept

        if sum(one is not None for one in (self.room, self.walls, self.outline_file)) > 1:
            raise BadInput(say("Give the room once: --room, or --walls, or --outline."))
        if self.unit is not None and self.outline_file is None:
            raise BadInput(
                say("--unit is that of an outline file; the job's own units are --units in|mm.")
            )
        shaped = self._shape()
        if shaped is None:
            if not self.doors and not self.openings:
                return None
            if current is None:
                raise BadInput(NO_ROOM)
            shaped = rooms.from_rings(current.walls), None
        outline, closing_mm = shaped
        if self.at is not None:
            outline = rooms.moved_to(outline, *self.at)
        if current is not None:
            keeps_openings = not self.openings and not outline.openings
            outline = with_kept(outline, current, keeps_openings, not self.doors, units)
        for opening in self.openings:
            outline = rooms.with_opening(outline, *opening)
        for door in self.doors:
            outline = rooms.with_door(outline, *door, units)
        refuse_no_room(outline, units)
        return outline, closing_mm

    def _shape(self) -> "tuple[Outline, float | None] | None":
        """Walls of the one option that gives them, if any does."""
        from rig import room as rooms

        if self.room is not None:
            return rooms.room(*self.room), None
        if self.walls is not None:
            return rooms.from_walls(self.walls)
        if self.outline_file is None:
            return None
        if self.unit is None:
            raise BadInput(
                say("--outline needs --unit: say what one step in the file is, as --unit mm.")
            )
        return rooms.from_file(self.outline_file, self.unit), None


def _crew_name(given: str) -> str:
    """Return a crew's name, written as the user's own list has it where it is there."""
    from rig.products import Library

    name = name_of(given, "--crew")
    known = {one.name.casefold(): one.name for one in Library.load() if one.kind == "crew"}
    return known.get(name.casefold(), name)


def _given(new: T | None, old: T) -> T:
    return old if new is None else new
