import json

import pytest

from rig.page.scene import POUR_ACTS, WALK_ACTS, Scene, places_of
from rig.survey.stillness import StillWindow

PLAN = {"walls": [[0, 0], [3000, 0], [3000, 4000], [0, 4000]], "openings": [], "doors": []}


def make(screen="set", **more):
    labels = ["1", "2", "3"] if screen == "pour" else ["M1", "M2", "M3"]
    rows = [(label, 500.0 * n, 600.0) for n, label in enumerate(labels, 1)]
    return Scene(screen, "Markers", "in", 32, PLAN, places_of(rows, []), acts=True, **more)


def reading(time_s, value_mm=1200.0, status="valid"):
    return {"event": "reading", "time_s": time_s, "value_mm": value_mm, "status": status}


def prompt(text="raise 3/16", move="raise", marker="M1"):
    return {"event": "prompt", "marker": marker, "move": move, "text": text, "by_mm": 4.8}


NEXT = {"event": "next", "marker": "M2", "x_mm": 1000.0, "y_mm": 600.0, "text": "2 ft from wall 1"}


@pytest.fixture
def scene():
    scene = make(window=StillWindow(1.0, 0.5, 0.1, 0.1))
    for n in range(20):
        scene.hear(reading(n / 20), n / 20)
    return scene


def test_a_prompt_is_shown_word_for_word(scene):
    assert "now" in scene.hear(prompt(), 1.0)
    now = scene.sections["now"]
    assert now["shown"] == now["text"] == "raise 3/16"
    assert (now["mode"], now["move"], now["label"]) == ("prompt", "raise", "M1")


def test_no_prompt_outlives_the_beam(scene):
    scene.hear(prompt(), 1.0)
    for n in range(20, 32):
        scene.hear(reading(n / 20, None, "no_beam"), n / 20)
    assert scene.sections["now"]["shown"] == "no beam"
    scene.hear(reading(1.6), 1.6)
    assert scene.sections["now"]["shown"] == "…"
    scene.hear(prompt("hold", "hold"), 1.65)
    assert scene.sections["now"]["shown"] == "hold"


def test_no_prompt_outlives_the_rod_or_its_link(scene):
    scene.hear(prompt(), 1.0)
    assert scene.tick(1.2) == set()
    assert "now" in scene.tick(1.6)
    assert scene.sections["now"]["shown"] == "no readings"
    scene.hear({"event": "lost", "time_s": 2.0, "reason": "unplugged"}, 2.0)
    assert scene.sections["now"]["shown"] == "link lost"
    scene.hear({"event": "back", "time_s": 3.0, "gap_s": 1.0}, 3.0)
    scene.hear(prompt("lower 1/8", "lower"), 3.1)
    assert scene.sections["now"]["shown"] == "lower 1/8"


def test_where_to_go_stays_while_the_rod_is_carried(scene):
    scene.hear(NEXT, 1.0)
    for n in range(20, 40):
        scene.hear(reading(n / 20, None, "no_beam"), n / 20)
    now = scene.sections["now"]
    assert (now["shown"], now["where"], now["stale"]) == ("M2", "2 ft from wall 1", "no beam")


def test_places_are_ticked_off_and_taken_back(scene):
    scene.hear({"event": "set", "marker": "M1", "residual_mm": 0.3, "text": "set"}, 1.0)
    assert scene.sections["places"][0]["state"] == "done"
    assert scene.sections["count"] == {"done": 1, "of": 3}
    scene.hear({"event": "unset", "marker": "M1"}, 2.0)
    scene.hear({"event": "skipped", "label": "M2"}, 2.0)
    assert [place["state"] for place in scene.sections["places"]] == ["todo", "skipped", "todo"]


def test_a_question_stands_until_it_is_answered(scene):
    ask = {"event": "ask", "marker": "M1", "text": "already at height: is this M1?"}
    scene.hear(ask, 1.0)
    assert scene.sections["ask"] == {"text": ask["text"]}
    scene.hear({"event": "set", "marker": "M1", "residual_mm": 0.3, "text": "set"}, 1.5)
    assert scene.sections["ask"] is None


def test_the_same_prompt_sounds_each_time_but_is_not_spoken_each_time(scene):
    said = []
    for n in range(16):
        scene.hear(prompt(), 1.0 + n)
        cue = scene.sections["cues"][-1]
        assert cue["tone"] == "raise"
        said.append(cue["say"])
    assert said[0] == "raise three sixteenths"
    assert 2 <= sum(bool(words) for words in said) <= 3
    before = scene.sections["cues"][-1]["n"]
    scene.hear(prompt("lower 1/8", "lower"), 20.0)
    assert scene.sections["cues"][-1] == {
        "n": before + 1, "say": "lower an eighth", "tone": "lower", "text": "lower 1/8",
    }  # fmt: skip


def test_what_comes_at_one_moment_all_reaches_the_ear(scene):
    scene.hear({"event": "set", "marker": "M1", "residual_mm": 0.3, "text": "set"}, 1.0)
    scene.hear(NEXT, 1.0)
    assert [(cue["tone"], cue["say"]) for cue in scene.sections["cues"][-2:]] == [
        ("set", "set"),
        ("next", "next, M 2: two feet from wall 1"),
    ]


def test_how_still_the_rod_is_comes_in_a_word_and_a_share():
    scene = make("survey", window=StillWindow(1.0, 0.5, 0.1, 0.1))
    for n in range(30):
        scene.hear(reading(n / 20, 1200.0 + 9.0 * (n % 2)), n / 20)
    moving = scene.sections["rod"]
    for n in range(30, 60):
        scene.hear(reading(n / 20), n / 20)
    assert moving["state"] in ("moving", "unsteady")
    assert moving["still"] < 0.5
    assert scene.sections["rod"] == {"shown": "47 1/4 in", "state": "still", "still": 1.0}


def pour_state():
    return {
        "batches": 3, "poured": 0, "next": 1, "strip": 1, "strips": [], "front": 0, "dry": [],
        "should": 0,
        "bags_used": 0.0, "bags_left": 12.0, "edges": [], "left_s": None, "working_s": 1200.0,
        "estimate": "", "short": 0, "unticked": ["primer"],
    }  # fmt: skip


def test_a_pour_shows_bags_edge_and_what_comes_next():
    scene = make("pour", pour=pour_state())
    assert scene.acts == POUR_ACTS
    scene.hear(
        {"event": "batch", "n": 1, "strip": 1, "bags": 2.0, "bags_used": 2.0, "bags_left": 10.0,
         "front_should": 1, "time_s": 60.0, "text": "Batch 1 poured; 10 bags left."}, 60.0
    )  # fmt: skip
    scene.hear(
        {"event": "edges", "strips": [1], "ages_s": [60.0], "left_s": 1140.0, "time_s": 60.0,
         "text": "edge"}, 60.0
    )  # fmt: skip
    scene.hear(
        {"event": "next", "n": 2, "strip": 1, "x_mm": 1000.0, "y_mm": 600.0, "text": "batch 2: x"},
        60.0,
    )
    pour = scene.sections["pour"]
    assert (pour["bags_left"], pour["left_s"], pour["next"]) == (10.0, 1140.0, 2)
    assert scene.sections["now"]["mode"] == "batch"
    scene.hear({"event": "ticked", "step": "primer", "text": "primer ticked"}, 61.0)
    assert scene.sections["pour"]["unticked"] == []
    scene.hear({"event": "undone", "label": "batch 1"}, 62.0)
    assert scene.sections["places"][0]["state"] == "todo"
    assert scene.sections["pour"]["poured"] == 0


def test_a_pour_keeps_what_was_passed_over_and_a_front_answers_what_was_asked():
    scene = make("pour", pour=pour_state())
    front = {"event": "front", "strip": 3, "share": 0.3, "markers": [], "time_s": 1.0, "text": "f"}
    dry = {"event": "dry", "markers": ["M1", "M2"], "text": "Behind the front: M1, M2"}
    scene.hear(front, 1.0)
    assert {"pour", "notes"} <= scene.hear(dry, 1.0)
    assert scene.sections["pour"]["dry"] == ["M1", "M2"]
    scene.hear({"event": "ask", "text": "Strip 1 lies behind"}, 2.0)
    assert "ask" in scene.hear(front | {"strip": 1}, 3.0)
    assert scene.sections["ask"] is None
    assert (scene.sections["pour"]["front"], scene.sections["pour"]["dry"]) == (1, [])


def test_a_page_that_may_not_act_has_no_acts():
    assert make().acts == WALK_ACTS
    assert Scene("set", "", "in", 32, PLAN, []).acts == ()


def test_everything_that_is_shown_is_plain_json(scene):
    for told in (NEXT, prompt(), {"event": "trouble", "text": "x", "reason": "y"}):
        scene.hear(told, 1.0)
    json.dumps(scene.sections, allow_nan=False)


def test_a_jolt_asks_for_its_shots_again_on_the_plan(scene):
    for label in ("M1", "M2"):
        scene.hear({"event": "set", "marker": label, "residual_mm": 0.1}, 2.0)
    assert scene.sections["count"]["done"] == 2
    text = "the line was knocked"
    assert "places" in scene.hear({"event": "jolt", "labels": ["M2"], "text": text}, 3.0)
    assert scene.sections["count"]["done"] == 1
    assert scene.sections["notes"][0] == {"text": text, "level": "warn"}
