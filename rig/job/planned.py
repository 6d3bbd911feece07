"""What a job shall become, as its file has it: plans, markers, the pour."""

import time
from collections.abc import Iterable

from rig.job import batches, markers, plans
from rig.job.file import JobFile
from rig.job.rows import Batch, Given, Marker, Plan
from rig.language import say


class Planned(JobFile):
    """The part of a job that says what is to be done, and what of it was."""

    def save_plan(
        self,
        inputs: Given,
        result: Given,
        a: float,
        b: float,
        c: float,
        *,
        shot_ids: Iterable[int] | None = None,
    ) -> Plan:
        """Keep a plan, with the shots, the outline and the settings it stands on.

        Parameters
        ----------
        inputs, result : mapping
            As JSON holds them, arrays as lists.
        a, b, c : float
            The finished plane z = a + b·x + c·y in mm.
        shot_ids : iterable of int, optional
            The shots it was made from; else the current floor, benchmark and threshold shots, which
            is right where the job was open for writing since they were read.
        """
        with self._writing(say("the plan was not kept")) as connection:
            return plans.save(
                connection, inputs, result, (a, b, c), shot_ids, time.time(), self.room
            )

    def current_plan(self) -> Plan | None:
        """Return the last plan, or None where there is none yet."""
        with self._reading() as connection:
            return plans.current(connection, self.room)

    def plan(self, plan_id: int) -> Plan | None:
        """Return a plan by its number, or None where there is none."""
        with self._reading() as connection:
            return plans.of_id(connection, plan_id)

    def first_plan(self) -> Plan | None:
        """Return the first plan, or None where there is none yet."""
        with self._reading() as connection:
            return plans.first(connection, self.room)

    def changed_since(self, plan: Plan, bags: bool = False) -> list[str]:
        """Name what has changed under a plan's plane; empty where it still stands.

        Labels of floor, benchmark and threshold shots that are new, gone, moved or read otherwise,
        in the order of their labels; then "outline", "covering", "minimum cover", "maximum cover";
        with `bags` also what changes only the count of bags ("bag yield", "waste", …). A benchmark
        sighted from a set-up that has no shot in the plan is no change.
        """
        with self._reading() as connection:
            return plans.changed_since(connection, plan, bags, self.room)

    # Markers

    def save_markers(self, layout: Iterable[Given], *, plan_id: int | None = None) -> None:
        """Keep a layout of markers, in its order, in place of the old one.

        Parameters
        ----------
        layout : iterable of mappings
            `label`, `x_mm`, `y_mm`, `target_reading_mm`, `stick_out_mm`, `stick_out_stderr_mm`.
            A marker that was set stays so where its label, place and target stay.
        plan_id : int, optional
            The plan it is for; else the current one.

        Raises
        ------
        CannotAnswer
            If there is no plan.
        """
        with self._writing(say("the markers were not kept")) as connection:
            markers.save(connection, layout, plan_id, self.room)

    def markers(self) -> list[Marker]:
        """Return the current layout in its order."""
        with self._reading() as connection:
            found = markers.select(connection)
        if self.room is None:
            return found
        return [one for one in found if self.room.has(one.x_mm, one.y_mm)]

    def set_marker(
        self,
        label: str,
        residual_mm: float,
        reading_mm: float,
        stderr_mm: float,
        n: int,
        session_id: int,
        time_s: float,
        utc_s: float,
    ) -> int:
        """Commit that a marker stands at its height, with the shot that shows it and all before.

        Returns the id of the shot, of kind marker at the marker's place.
        """
        setup_id = self._setup(session_id)
        with self._writing(say("the last marker was not kept")) as connection:
            return markers.mark_set(
                connection,
                label,
                residual_mm,
                session_id=session_id,
                setup_id=setup_id,
                reading_mm=reading_mm,
                stderr_mm=stderr_mm,
                n=n,
                time_s=time_s,
                utc_s=utc_s,
            )

    def unset_marker(self, label: str) -> None:
        """Take back that a marker was set; its shot counts as undone."""
        with self._writing(say("the marker was not changed")) as connection:
            markers.unset(connection, label)

    # The pour

    def save_pour_plan(self, rows: Iterable[Given], plan: Given) -> None:
        """Keep the schedule of a pour; the event `pour_plan` keeps each whole.

        Parameters
        ----------
        rows : iterable of mappings
            The batches: `n`, `bags`, `water_l`, `volume_l`, `mix_s`, `pour_s`, `x_mm`, `y_mm`.
        plan : mapping
            What the live log goes by, as JSON holds it.
        """
        with self._writing(say("the plan of the pour was not kept")) as connection:
            batches.save(connection, rows)
            self._note("pour_plan", plan)

    def batches(self) -> list[Batch]:
        """Return the batches poured, in their order, then those that are planned."""
        with self._reading() as connection:
            return batches.select(connection)

    def pour_batch(self, n: int, bags: float, session_id: int, utc_s: float) -> None:
        """Commit that a batch was poured, with all that was logged before."""
        self._setup(session_id)
        with self._writing(say("the last batch was not kept")) as connection:
            batches.pour(connection, n, bags, session_id, utc_s)

    def unpour_batch(self) -> None:
        """Take back the batch that was poured last; it is planned again."""
        with self._writing(say("the batch was not taken back")) as connection:
            batches.unpour(connection)

    def unpour_batches(self, ids: Iterable[int]) -> None:
        """Commit that batches, by their ids, were not poured."""
        with self._writing(say("the batches were not taken back")) as connection:
            batches.unpour_all(connection, ids)
