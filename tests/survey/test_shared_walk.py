"""The walk of one of several rods: it shoots where it is sent and nowhere else."""

import pytest

from rig.events import Next, SurveyDone, Undone
from rig.survey.capture import Stand
from rig.survey.shared_walk import CLAIM, SharedWalk
from tests.survey.walker import Walker


@pytest.fixture
def machine() -> SharedWalk:
    stands = [Stand(label, 1000.0 * n, 0.0) for n, label in enumerate(("A1", "B1", "C1"))]
    return SharedWalk(stands, dwell_s=0.5, walk_s=0.5)


def test_it_rests_until_it_is_sent_and_shoots_that_point_alone(machine: SharedWalk) -> None:
    rod = Walker(machine)
    assert machine.rests
    assert rod.stand(1000.0, 2.0).shots == []
    rod.act(CLAIM, "B1").walk().stand(1010.0, 2.0)
    assert [shot.label for shot in rod.shots] == ["B1"]
    assert machine.rests
    rod.walk().stand(1020.0, 2.0)
    assert len(rod.shots) == 1
    assert [event.label for event in rod.said if isinstance(event, Next)] == ["B1"]


def test_a_shot_taken_back_is_asked_for_again(machine: SharedWalk) -> None:
    rod = Walker(machine).act(CLAIM, "A1").stand(1000.0, 2.0).act(CLAIM, "C1").act("undo")
    assert [event.label for event in rod.said if isinstance(event, Undone)] == ["A1"]
    assert [event.label for event in rod.said if isinstance(event, Next)] == ["A1", "C1", "A1"]
    rod.act(CLAIM)
    assert machine.rests


def test_it_ends_when_it_is_told(machine: SharedWalk) -> None:
    rod = Walker(machine).act(CLAIM, "C1").stand(1000.0, 2.0).act("quit")
    assert [event.shots for event in rod.said if isinstance(event, SurveyDone)] == [1]
    assert machine.finished
