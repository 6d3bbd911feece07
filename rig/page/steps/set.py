"""Setting the markers: with what, from which set-up; the session is shown on its own page."""

from dataclasses import dataclass

from rig.errors import BadInput, CannotAnswer
from rig.language import say
from rig.page.steps.lifts import laid_for
from rig.page.steps.source import SourceView, keep_profile, source_of, source_view
from rig.page.visit import NO_ACT, Step, Visit
from rig.page.work import Wanted
from rig.record import Record
from rig.session.begin import SetWish
from rig.study.fresh import fresh_plan
from rig.study.rooms import each_room


@dataclass(frozen=True, slots=True, kw_only=True)
class SetView(Record):
    """What the page of the setting shows."""

    source: SourceView
    left: tuple[str, ...]
    set: tuple[str, ...]
    markers: int
    tolerance: str
    laid_for: str


class _Set(Step):
    key = "set"

    def view(self, visit: Visit) -> SetView:
        markers = visit.job.markers()
        return SetView(
            source=source_view(visit),
            left=tuple(marker.label for marker in markers if not marker.is_set),
            set=tuple(marker.label for marker in markers if marker.is_set),
            markers=len(markers),
            tolerance="1mm",  # as the command line has it; in fractions it would be another
            laid_for=laid_for(visit) if markers else "",
        )

    def act(self, visit: Visit, act: str) -> "str | Wanted | None":
        form = visit.form
        if keep_profile(visit, act):
            return None
        source = source_of(visit)
        setup = form.name("setup", say("The set-up"), needed=False)
        tolerance = form.length("tolerance", say("The tolerance"), visit.cover_unit, above=0.0)
        form.check()
        again = act.removeprefix("again ") if act.startswith("again ") else None
        if again is None and act != "set":
            raise BadInput(NO_ACT)
        with each_room(visit.job) as rooms:
            for one in rooms:
                fresh_plan(one)
        if not visit.job.markers():
            raise CannotAnswer(say("The job has no markers yet: lay them out first."))
        label = again or form.text("marker") or None
        wish = SetWish(setup=setup, tolerance=tolerance or 1.0, marker=label)
        return Wanted(wish=wish, source=source)


STEP = _Set()
