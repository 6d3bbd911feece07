"""The shots of a point: its history; shot again, taken back, or set aside."""

import time
from dataclasses import dataclass
from urllib.parse import quote

from rig.errors import BadInput
from rig.language import say
from rig.page.steps.source import SourceView, keep_profile, source_of, source_view
from rig.page.visit import NO_ACT, Step, Visit
from rig.page.work import Wanted
from rig.record import Record
from rig.session.begin import SurveyWish
from rig.session.undoing import take_back
from rig.study.acts import acts_of
from rig.study.aside import PastShot, history_of, set_aside
from rig.study.undo import act_called
from rig.words.clock import when

STATES = {
    "used": say("in use"),
    "replaced": say("shot again since"),
    "aside": say("set aside"),
    "undone": say("taken back"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Past(Record):
    """A shot as the page tells it."""

    reading: str
    doubt: str
    setup: str
    when: str
    state: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotView(Record):
    """What the page of a point shows; `undo` is whether its last shot can be taken back."""

    label: str
    past: tuple[Past, ...]
    counts: bool
    undo: bool
    source: SourceView


class _Shot(Step):
    key = "shot"
    of_job = True

    def view(self, visit: Visit) -> ShotView:
        label, now_s, units = visit.form.text("label"), time.time(), visit.units
        past = history_of(visit.job, label)
        acts = {one.id for one in acts_of(visit.job)}
        used = _used(past)
        return ShotView(
            label=label,
            past=tuple(
                Past(
                    reading=units.length(one.reading_mm),
                    doubt=units.doubt(2 * one.stderr_mm),
                    setup=one.setup,
                    when=when(one.utc_s, now_s),
                    state=STATES[one.state],
                )
                for one in past
            ),
            counts=used is not None,
            undo=used is not None and f"s{used.id}" in acts,
            source=source_view(visit),
        )

    def act(self, visit: Visit, act: str) -> "str | Wanted | None":
        if keep_profile(visit, act):
            return None
        label = visit.form.text("label")
        match act:
            case "again":
                setup = visit.form.name("setup", say("The set-up"), needed=False)
                source = source_of(visit)
                visit.form.check()
                return Wanted(wish=SurveyWish(labels=(label,), setup=setup), source=source)
            case "aside":
                set_aside(visit.job, label)
            case "undo":
                used = _used(history_of(visit.job, label))
                key = "" if used is None else f"s{used.id}"
                take_back(visit.job, act_called(visit.job, key))
            case _:
                raise BadInput(NO_ACT)
        return f"shot?label={quote(label, safe='')}"


def _used(past: list[PastShot]) -> PastShot | None:
    return next((one for one in past if one.state == "used"), None)


STEP = _Shot()
