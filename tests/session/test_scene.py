import json
from typing import Any

import pytest

from rig.events import Standing
from rig.session.kind import WALK_ACTS
from rig.session.kinds.pour import POUR_ACTS, PourScene
from rig.session.scene import Scene
from rig.session.sections import PlanShown, PourShown, places_of
from rig.units import Units
from tests.events import event

PLAN = PlanShown(walls=((0, 0), (3000, 0), (3000, 4000), (0, 4000)))


def make(screen: str = "set", **more: Any) -> Any:
    labels = ["1", "2", "3"] if screen == "pour" else ["M1", "M2", "M3"]
    rows = [(label, 500.0 * n, 600.0) for n, label in enumerate(labels, 1)]
    kind, acts = (PourScene, POUR_ACTS) if screen == "pour" else (Scene, WALK_ACTS)
    units = Units("in", 32)
    return kind(screen, "Markers", units, PLAN, places_of(rows), **{"acts": acts} | more)


def shown(scene: Any, name: Any) -> Any:
    """A section as a phone is sent it."""
    return scene.sections.told({name})[name]


def reading(time_s: Any, value_mm: float | None = 1200.0, status: str = "valid") -> Any:
    return event({"event": "reading", "time_s": time_s, "value_mm": value_mm, "status": status})


def prompt(text: str = "raise 3/16", move: str = "raise", marker: str = "M1") -> Any:
    return event({"event": "prompt", "marker": marker, "move": move, "text": text, "by_mm": 4.8})


NEXT = event(
    {"event": "next", "marker": "M2", "x_mm": 1000.0, "y_mm": 600.0, "text": "2 ft from wall 1"}
)


@pytest.fixture
def scene() -> Any:
    scene = make()
    for n in range(20):
        scene.hear(reading(n / 20), n / 20)
    return scene


def test_a_prompt_is_shown_word_for_word(scene: Any) -> None:
    assert "now" in scene.hear(prompt(), 1.0)
    now = shown(scene, "now")
    assert now["shown"] == now["text"] == "raise 3/16"
    assert (now["mode"], now["move"], now["label"]) == ("prompt", "raise", "M1")


def test_no_prompt_outlives_the_beam(scene: Any) -> None:
    scene.hear(prompt(), 1.0)
    for n in range(20, 32):
        scene.hear(reading(n / 20, None, "no_beam"), n / 20)
    assert shown(scene, "now")["shown"] == "no beam"
    scene.hear(reading(1.6), 1.6)
    assert shown(scene, "now")["shown"] == "…"
    scene.hear(prompt("hold", "hold"), 1.65)
    assert shown(scene, "now")["shown"] == "hold"


def test_no_prompt_outlives_the_rod_or_its_link(scene: Any) -> None:
    scene.hear(prompt(), 1.0)
    assert scene.tick(1.2) == set()
    assert "now" in scene.tick(1.6)
    assert shown(scene, "now")["shown"] == "no readings"
    scene.hear(event({"event": "lost", "time_s": 2.0, "reason": "unplugged"}), 2.0)
    assert shown(scene, "now")["shown"] == "link lost"
    scene.hear(event({"event": "back", "time_s": 3.0, "gap_s": 1.0}), 3.0)
    scene.hear(prompt("lower 1/8", "lower"), 3.1)
    assert shown(scene, "now")["shown"] == "lower 1/8"


def test_where_to_go_stays_while_the_rod_is_carried(scene: Any) -> None:
    scene.hear(NEXT, 1.0)
    for n in range(20, 40):
        scene.hear(reading(n / 20, None, "no_beam"), n / 20)
    now = shown(scene, "now")
    assert (now["shown"], now["where"], now["stale"]) == ("M2", "2 ft from wall 1", "no beam")


def test_places_are_ticked_off_and_taken_back(scene: Any) -> None:
    scene.hear(event({"event": "set", "marker": "M1", "residual_mm": 0.3, "text": "set"}), 1.0)
    assert shown(scene, "places")[0]["state"] == "done"
    assert shown(scene, "count") == {"done": 1, "of": 3}
    scene.hear(event({"event": "unset", "marker": "M1"}), 2.0)
    scene.hear(event({"event": "skipped", "label": "M2"}), 2.0)
    assert [place["state"] for place in shown(scene, "places")] == ["todo", "skipped", "todo"]


def test_a_question_stands_until_it_is_answered(scene: Any) -> None:
    ask = {"event": "ask", "marker": "M1", "text": "already at height: is this M1?"}
    scene.hear(event(ask), 1.0)
    assert shown(scene, "ask") == {"text": ask["text"]}
    scene.hear(event({"event": "set", "marker": "M1", "residual_mm": 0.3, "text": "set"}), 1.5)
    assert shown(scene, "ask") is None


def test_the_same_prompt_sounds_each_time_but_is_not_spoken_each_time(scene: Any) -> None:
    said = []
    for n in range(16):
        scene.hear(prompt(), 1.0 + n)
        cue = shown(scene, "cues")[-1]
        assert cue["tone"] == "raise"
        said.append(cue["say"])
    assert said[0] == "raise three sixteenths"
    assert 2 <= sum(bool(words) for words in said) <= 3
    before = shown(scene, "cues")[-1]["n"]
    scene.hear(prompt("lower 1/8", "lower"), 20.0)
    assert shown(scene, "cues")[-1] == {
        "n": before + 1, "say": "lower an eighth", "tone": "lower", "text": "lower 1/8",
    }  # fmt: skip


def test_what_comes_at_one_moment_all_reaches_the_ear(scene: Any) -> None:
    scene.hear(event({"event": "set", "marker": "M1", "residual_mm": 0.3, "text": "set"}), 1.0)
    scene.hear(NEXT, 1.0)
    assert [(cue["tone"], cue["say"]) for cue in shown(scene, "cues")[-2:]] == [
        ("set", "set"),
        ("next", "next, M 2: two feet from wall 1"),
    ]


def test_how_still_the_rod_is_comes_in_a_word_and_a_share_from_the_machine() -> None:
    scene = make("survey")
    scene.hear(reading(0.0), 0.0)
    scene.hear(Standing(time_s=0.0, state="unsteady", armed=True, still=0.3), 0.0)
    assert shown(scene, "rod") == {"shown": "47 1/4 in", "state": "unsteady", "still": 0.3}
    scene.hear(Standing(time_s=1.0, state="still", armed=True, still=1.0), 1.0)
    scene.hear(reading(1.0), 1.0)
    assert shown(scene, "rod") == {"shown": "47 1/4 in", "state": "still", "still": 1.0}


def pour_state() -> Any:
    return PourShown(
        batches=3, strip=1, strips=(), bags_left=12.0, working_s=1200.0, unticked=("primer",)
    )


def test_a_pour_shows_bags_edge_and_what_comes_next() -> None:
    scene = make("pour", pour=pour_state())
    assert scene.acts == POUR_ACTS
    for told in (
        {
            "event": "batch",
            "n": 1,
            "strip": 1,
            "bags": 2.0,
            "bags_used": 2.0,
            "bags_left": 10.0,
            "front_should": 1,
            "time_s": 60.0,
            "text": "Batch 1 poured; 10 bags left.",
        },
        {
            "event": "edges",
            "strips": [1],
            "ages_s": [60.0],
            "left_s": 1140.0,
            "time_s": 60.0,
            "text": "edge",
        },
        {"event": "next", "n": 2, "strip": 1, "x_mm": 1000.0, "y_mm": 600.0, "text": "batch 2: x"},
    ):
        scene.hear(event(told), 60.0)  # fmt: skip
    pour = shown(scene, "pour")
    assert (pour["bags_left"], pour["left_s"], pour["next"]) == (10.0, 1140.0, 2)
    assert shown(scene, "now")["mode"] == "batch"
    scene.hear(event({"event": "ticked", "step": "primer", "text": "primer ticked"}), 61.0)
    assert shown(scene, "pour")["unticked"] == []
    scene.hear(event({"event": "undone", "label": "batch 1"}), 62.0)
    assert shown(scene, "places")[0]["state"] == "todo"
    assert shown(scene, "pour")["poured"] == 0


def test_a_pour_keeps_what_was_passed_over_and_a_front_answers_what_was_asked() -> None:
    scene = make("pour", pour=pour_state())
    front = {"event": "front", "strip": 3, "share": 0.3, "markers": [], "time_s": 1.0, "text": "f"}
    dry = {"event": "dry", "markers": ["M1", "M2"], "text": "Behind the front: M1, M2"}
    scene.hear(event(front), 1.0)
    assert {"pour", "notes"} <= scene.hear(event(dry), 1.0)
    assert shown(scene, "pour")["dry"] == ["M1", "M2"]
    scene.hear(event({"event": "ask", "text": "Strip 1 lies behind"}), 2.0)
    assert "ask" in scene.hear(event(front | {"strip": 1}), 3.0)
    assert shown(scene, "ask") is None
    assert (shown(scene, "pour")["front"], shown(scene, "pour")["dry"]) == (1, [])


def test_a_page_that_may_not_act_has_no_acts() -> None:
    assert make().acts == WALK_ACTS
    assert Scene("set", "", Units("in", 32), PLAN).acts == ()


def test_everything_that_is_shown_is_plain_json(scene: Any) -> None:
    for told in (NEXT, prompt(), event({"event": "trouble", "text": "x", "reason": "y"})):
        scene.hear(told, 1.0)
    json.dumps(scene.sections.told(scene.sections.names), allow_nan=False)


def test_a_jolt_asks_for_its_shots_again_on_the_plan(scene: Any) -> None:
    for label in ("M1", "M2"):
        scene.hear(event({"event": "set", "marker": label, "residual_mm": 0.1}), 2.0)
    assert shown(scene, "count")["done"] == 2
    text = "the line was knocked"
    assert "places" in scene.hear(event({"event": "jolt", "labels": ["M2"], "text": text}), 3.0)
    assert shown(scene, "count")["done"] == 1
    assert shown(scene, "notes")[0] == {"text": text, "level": "warn"}
