"""Which lift of the plan a page is about: those that there are, and the one that comes next."""

from dataclasses import dataclass

from rig.language import say
from rig.page.visit import Form, Visit
from rig.record import Record
from rig.study.lift_to_do import lift_to_do
from rig.study.markers_answer import laid_lift
from rig.study.rooms import each_room

MOST_LIFTS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Lifts(Record):
    """The lifts to pick from, none where all is poured at once, and the next of them."""

    choices: tuple[tuple[str, str], ...]
    next: str


def lifts_view(visit: Visit) -> Lifts:
    """Return the lifts of the plan, of the most of a room where there are several."""
    with each_room(visit.job) as rooms:
        found = [lift_to_do(one) for one in rooms]
    most = max(one.of for one in found)
    if most == 1:
        return Lifts(choices=(), next="")
    left = [one.lift for one in found if one.lift is not None]
    named = [(str(n), say("lift {n} of {of}", n=n, of=most)) for n in range(1, most + 1)]
    return Lifts(choices=(*named, ("", say("all at once"))), next=str(min(left)) if left else "")


def lift_of(form: Form) -> int | None:
    """Return the lift that a form picks; None is all at once."""
    return form.whole("lift", say("The lift"), 1, MOST_LIFTS)


def laid_for(visit: Visit) -> str:
    """Say which lift the markers are of; nothing where all is poured at once."""
    with each_room(visit.job) as rooms:
        laid = {(laid_lift(one, (found := lift_to_do(one)).of), found.of) for one in rooms}
    if all(of == 1 for _, of in laid) or len(laid) > 1:
        return ""
    ((lift, of),) = laid
    return say("These are for lift {lift} of {of}.", lift=lift, of=of)
