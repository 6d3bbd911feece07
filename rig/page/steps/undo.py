"""Undo: what was done, newest first, each to be taken back."""

import time
from dataclasses import dataclass

from rig.errors import BadInput
from rig.page.visit import NO_ACT, Step, Visit
from rig.record import Record
from rig.session.undoing import take_back
from rig.study.acts import acts_of
from rig.study.undo import act_called
from rig.words.clock import when

MOST = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class ActRow(Record):
    """An act that can be taken back."""

    id: str
    what: str
    when: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UndoView(Record):
    """What the page of undoing shows."""

    acts: tuple[ActRow, ...]


class _Undo(Step):
    key = "undo"
    of_job = True

    def view(self, visit: Visit) -> UndoView:
        now_s = time.time()
        return UndoView(
            acts=tuple(
                ActRow(id=one.id, what=one.what, when=when(one.utc_s, now_s))
                for one in acts_of(visit.job)[:MOST]
            )
        )

    def act(self, visit: Visit, act: str) -> str:
        word, _, key = act.partition(" ")
        if word != "undo":
            raise BadInput(NO_ACT)
        take_back(visit.job, act_called(visit.job, key or None))
        return ""


STEP = _Undo()
