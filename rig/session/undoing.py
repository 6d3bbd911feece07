"""Takes back an act: a batch by the log of its pour, all else as `rig.study.undo` does."""

from typing import TYPE_CHECKING

from rig.errors import CannotAnswer
from rig.events import Undone
from rig.session.items import Act
from rig.session.kinds.pour import KIND, PourSettings
from rig.session.source import begin_now
from rig.study.acts import Done, UndoAnswer
from rig.study.pour_log import last_pour_plan
from rig.study.undo import take_back as take_back_in_job
from rig.words import undo as words

if TYPE_CHECKING:
    from rig.job.store import Job


def take_back(job: "Job", done: Done) -> UndoAnswer:
    """Take an act back; see `rig.study.undo.take_back`.

    Raises
    ------
    CannotAnswer
        Where something later stands on it.
    """
    if done.batch is None:
        return take_back_in_job(job, done)
    _unpour(job, done)
    return UndoAnswer(undone=done.id, what=done.what, text=words.is_undone(done.what))


def _unpour(job: "Job", done: Done) -> None:
    """Take the last batch back by an act of a session of the pour, as its own `undo` does."""
    assert done.batch is not None
    made = last_pour_plan(job)
    of_pour = [one for one in job.sessions() if one.id == done.batch.session_id]
    if made is None or not of_pour or of_pour[0].capture.get("pour_plan") != made[0]:
        raise _refused(done, words.POUR_ENDED)
    last = max((one for one in job.sessions() if one.kind == "pour"), key=lambda one: one.id)
    settings = PourSettings(pour_plan=made[0], bags=last.capture["bags"])
    begun = begin_now(job, settings, last.setup)
    machine = KIND.machine(begun)
    machine.start(0.0)
    told = machine.act("undo", 0.0)
    label = next((event.label for event in told if isinstance(event, Undone)), "")
    if not label:
        raise _refused(done, words.POUR_ENDED)
    if label != f"batch {done.batch.n}":
        raise _refused(done, words.pour_goes_by_its_own(label))
    log = KIND.log(begun, KIND.start(begun, "undo"))
    log.item(Act(0.0, begun.utc_s, "undo"))
    log.keep(*told)
    log.flush()


def _refused(done: Done, by: str) -> CannotAnswer:
    return CannotAnswer(words.changed_since(done.what, by))
