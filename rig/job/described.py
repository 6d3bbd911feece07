"""What a job is about, as its file has it: settings, outline, rules for materials, grid."""

from collections.abc import Iterable, Sequence

from rig.errors import JobUnusable
from rig.job import description
from rig.job.file import JobFile
from rig.job.rows import DoorEnds, DoorGiven, Given, Json, Point, Ring
from rig.job.settings import Settings, settings_of
from rig.language import of_job, say
from rig.units import Units


class Described(JobFile):
    """The part of a job that says what it is about."""

    @property
    def settings(self) -> Settings:
        """What the job was told.

        Raises
        ------
        JobUnusable
            Where the file keeps a setting that is not as floor-rig writes it.
        """
        with self._reading() as connection:
            stored = description.read_settings(connection)
        try:
            told = settings_of(stored)
        except ValueError as error:
            raise JobUnusable(
                say(
                    "{path}: what it keeps as {error} is not as floor-rig writes it; go on "
                    "with a copy of the job from before.",
                    path=self.path,
                    error=error,
                )
            ) from error
        of_job(told.language)
        return told

    @property
    def units(self) -> Units:
        """How the job writes its quantities."""
        settings = self.settings
        return Units(settings.units, settings.denominator)

    def update_settings(self, settings: Settings) -> None:
        """Put settings in place of those there. The event `edit` keeps old and new values."""
        with self._writing(say("the settings were not changed")) as connection:
            old = description.read_settings(connection)
            description.write_settings(connection, settings)
            new = description.read_settings(connection)
            changed = [key for key in {**old, **new} if old.get(key) != new.get(key)]
            if changed:
                self._note(
                    "edit",
                    {
                        "old": {key: old.get(key) for key in changed},
                        "new": {key: new.get(key) for key in changed},
                    },
                )

    def outline_rings(self) -> tuple[Ring, tuple[Ring, ...], tuple[DoorEnds, ...]]:
        """Return walls, openings and doors (mm) in the order they were given."""
        with self._reading() as connection:
            return description.read_outline(connection)

    def set_outline(
        self,
        walls: Sequence[Sequence[float]],
        openings: Iterable[Sequence[Sequence[float]]] = (),
        doors: Iterable[DoorGiven] = (),
    ) -> None:
        """Put an outline in place of the old one, which the event `edit` keeps."""
        with self._writing(say("the outline was not changed")) as connection:
            old = description.read_outline(connection)
            description.write_outline(connection, walls, openings, doors)
            new = description.read_outline(connection)
            if new != old:
                names = ("walls", "openings", "doors")
                self._note(
                    "edit",
                    {
                        "old": dict(zip(names, old, strict=True)),
                        "new": dict(zip(names, new, strict=True)),
                    },
                )

    def material_rules(self) -> list[Json]:
        """Return the rules for materials that the job keeps, in the order they came."""
        with self._reading() as connection:
            return description.read_material_rules(connection)

    def keep_material_rules(self, rules: Iterable[Given], *, edited: bool) -> None:
        """Keep rules for materials.

        Parameters
        ----------
        rules : iterable of mappings
            `key`, `text`, `source`, `per`, `amount`, `unit`, `package`.
        edited : bool
            The user's change stands before what is there, and the event `edit` keeps both. Else
            only rules that the job does not have yet are added.
        """
        with self._writing(say("the rules for materials were not kept")) as connection:
            old = {row["key"]: row for row in description.read_material_rules(connection)}
            new = [dict(rule) for rule in rules if edited or rule["key"] not in old]
            description.write_material_rules(connection, new)
            if edited:
                names = [say("material {key}", key=rule["key"]) for rule in new]
                was = [old.get(rule["key"], {}).get("amount") for rule in new]
                now = [rule["amount"] for rule in new]
                self._note(
                    "edit",
                    {
                        "old": dict(zip(names, was, strict=True)),
                        "new": dict(zip(names, now, strict=True)),
                    },
                )

    def set_points(self, points: Iterable[tuple[str, float, float, int]]) -> None:
        """Put a grid of (label, x_mm, y_mm, order) in place of the old one, or of this room's.

        The event `grid` keeps each grid, so that a session replays over the one it walked.
        """
        with self._writing(say("the grid was not changed")) as connection:
            if self.room is not None:
                others = [
                    (p.label, p.x_mm, p.y_mm, p.order)
                    for p in description.read_points(connection)
                    if not self.room.has(p.x_mm, p.y_mm)
                ]
                last = max((order for *_, order in others), default=0)
                points = [*others, *((at, x, y, last + n) for at, x, y, n in points)]
            description.write_points(connection, points)
            rows = [(p.label, p.x_mm, p.y_mm, p.order) for p in description.read_points(connection)]
            self._note("grid", {"points": rows})

    def points(self) -> list[Point]:
        """Return the grid in the order of the walk."""
        with self._reading() as connection:
            found = description.read_points(connection)
        if self.room is None:
            return found
        return [one for one in found if self.room.has(one.x_mm, one.y_mm)]
