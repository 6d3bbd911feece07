"""The pour itself: the list before it, each with its why, and the live log."""

import time
from dataclasses import dataclass

from rig.errors import BadInput
from rig.language import say
from rig.page.visit import NO_ACT, Step, Visit
from rig.page.work import PourBegins, Wanted
from rig.pour.prepour import step_called
from rig.record import Record
from rig.study.fresh import fresh_plan
from rig.study.pour_answer import Prepour
from rig.study.pour_log import last_pour_plan, lifts_poured, open_pour, prepour_of
from rig.study.rooms import in_pour_order, refuse_several


@dataclass(frozen=True, slots=True, kw_only=True)
class PourStands(Record):
    """How the pour of a room stands; its name where there are several, in their order."""

    name: str
    planned: bool
    under_way: bool
    poured: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LogView(Record):
    """What the page of the pour shows."""

    listed: Prepour
    pours: tuple[PourStands, ...]
    left: int


class _Log(Step):
    key = "log"

    def view(self, visit: Visit) -> LogView:
        with in_pour_order(visit.job) as rooms:
            pours = tuple(
                PourStands(
                    name=name,
                    planned=last_pour_plan(one) is not None,
                    under_way=open_pour(one, time.time()) is not None,
                    poured=bool(lifts_poured(one)),
                )
                for name, one in rooms
            )
        left = [one for one in pours if not one.poured]
        return LogView(listed=prepour_of(visit.job), pours=pours, left=len(left))

    def act(self, visit: Visit, act: str) -> "str | Wanted":
        job, form = visit.job, visit.form
        word, _, key = act.partition(" ")
        match word:
            case "tick":
                keys = [key] if key else list(prepour_of(job).left)
                for step in [step_called(one) for one in keys]:
                    job.log_event(None, None, time.time(), "tick", {"step": step.key})
                return ""
            case "begin":
                refuse_several(job)
                bags = form.quantity("bags", _bags)
                form.check()
                if open_pour(job, time.time()) is None:
                    fresh_plan(job, bags=True)
                return Wanted(wish=PourBegins(bags=bags))
        raise BadInput(NO_ACT)


def _bags(text: str) -> float:
    try:
        bags = float(text)
    except ValueError:
        raise BadInput(say("{text!r} is no number of bags.", text=text[:20])) from None
    if not 0.0 < bags < 1e5:
        raise BadInput(say("There must be some bags on site."))
    return bags


STEP = _Log()
