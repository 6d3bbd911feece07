"""The walk's sights back to its benchmark: held, drift, jolt, and what becomes of the shots."""

import math
from dataclasses import asdict, replace
from typing import Any

import pytest

from rig.devices.reading import Reading, Status
from rig.events import ShotTaken
from rig.survey.capture import Stand
from rig.survey.doubted import Begun
from rig.survey.laser.line_watch import EVERY_S, GIVE_UP_S, GIVE_UP_TYPED_S, Known, LineWatch
from tests.survey.walker import STANDS, Walker, capture

BM = Known("BM1", 900.0, 0.15, x_mm=0.0, y_mm=0.0, where="in the corner")
HEIGHTS = [1000.0, 1003.2, 998.5, 1003.1, 1000.4]


def surveyed(moved_mm: float = 0.0, after: int = 5, known: Known = BM, **more: Any) -> Walker:
    """Walk all points; the line moves after so many."""
    walker = Walker(capture(line=known, checks=True, **more))
    for n, height in enumerate(HEIGHTS):
        walker.stand(height + (moved_mm if n >= after else 0.0), 1.5).walk()
    return walker


def names(walker: Walker) -> list[str]:
    return [e.event for e in walker.said if e.event not in ("next", "armed")]


def last(walker: Walker, name: str) -> dict[str, Any]:
    return walker.heard(name)[-1].as_json()


def test_the_walk_ends_at_its_benchmark() -> None:
    walker = surveyed()
    assert not walker.machine.finished
    asked = last(walker, "check")
    assert (asked["label"], asked["expected_mm"]) == ("BM1", 900.0)
    assert "in the corner" in asked["text"]
    walker.stand(900.1, 1.5)
    checked = last(walker, "checked")
    assert checked["ok"]
    assert checked["difference_mm"] == pytest.approx(0.1, abs=0.1)
    assert walker.machine.finished
    assert walker.said[-1].as_json() == {"event": "done", "shots": 5, "skipped": []}


def test_a_job_without_a_benchmark_is_never_asked() -> None:
    walker = Walker(capture(checks=True))
    for height in HEIGHTS:
        walker.stand(height, 1.5).walk()
    assert walker.machine.finished
    assert not walker.heard("check")


def test_a_spot_shot_again_asks_for_nothing() -> None:
    walker = Walker(capture(STANDS[:2], line=BM, checks=True))
    walker.stand(1000.0, 1.5).walk().stand(1003.0, 1.5)
    assert walker.machine.finished
    assert not walker.heard("check")


def test_the_check_is_skipped_by_key_or_button() -> None:
    walker = surveyed().act("skip")
    assert last(walker, "skipped")["label"] == "BM1"
    assert walker.machine.finished
    walker = surveyed().press(3).walk(2.0)
    assert walker.machine.finished


def test_nobody_waits_for_ever() -> None:
    walker = surveyed()
    walker.walk(GIVE_UP_S + 5.0)
    assert walker.machine.finished
    assert walker.reasons()[-1] == "unchecked"


def test_whoever_types_has_more_time() -> None:
    machine = capture(line=BM, checks=True)
    machine.start(0.0)
    for n, height in enumerate(HEIGHTS):
        machine.typed(height, 0.3, 1.0 + n)
    machine.tick(GIVE_UP_TYPED_S - 10.0)
    assert not machine.finished
    said = machine.typed(900.0, 0.3, 700.0)
    assert [event.event for event in said] == ["checked", "done"]


def test_in_between_too_every_twenty_minutes() -> None:
    walker = Walker(capture(line=BM, checks=True))
    walker.stand(1000.0, 1.5).carry(EVERY_S).walk().stand(1003.2, 1.5)
    assert names(walker)[-1] == "check"
    walker.walk().stand(900.0, 1.5).walk().stand(998.5, 1.5)
    assert walker.labels == ["A1", "A2", "A3"]


def test_a_walk_resumed_after_long_begins_at_the_benchmark() -> None:
    walker = Walker(capture(line=Known("BM1", 900.0, 0.15, checked_s=-2.0 * EVERY_S), checks=True))
    assert [e.event for e in walker.said] == ["check", "armed"]
    walker.stand(900.0, 1.5).walk().stand(1000.0, 1.5)
    assert walker.labels == ["A1"]


def test_a_jolt_sets_aside_what_was_shot_since_and_asks_for_it_again() -> None:
    walker = surveyed(4.0, after=2, begun=Begun(anew="2")).stand(904.0, 1.5)
    asked = last(walker, "ask")
    assert "is the rod on BM1" in asked["text"]
    walker.press().stand(904.0, 2.0)
    assert not last(walker, "checked")["ok"]
    jolt = last(walker, "jolt")
    assert jolt["change_mm"] == pytest.approx(4.0, abs=0.2)
    assert jolt["labels"] == ["A1", "A2", "A3", "A4", "A5"]
    assert "set aside (kept, not used)" in jolt["text"]
    assert not walker.machine.finished
    walker.walk()
    # Back from where the rod is, until a point reads as it did: what lies before it was sound.
    for height in HEIGHTS[:0:-1]:
        assert not walker.heard("in_use")
        walker.stand(height + 4.0, 1.5).walk()
    assert last(walker, "in_use")["labels"] == ["A1"]
    assert walker.labels == ["A1", "A2", "A3", "A4", "A5", "A5", "A4", "A3", "A2"]
    for shot, height in zip(walker.shots[5:], HEIGHTS[:0:-1], strict=True):
        # Told as the line of before would have read it, with the doubt of the new tie.
        assert shot.reading_mm == pytest.approx(height, abs=0.4)
        assert shot.stderr_mm > 0.15
    walker.stand(904.0, 1.5)
    assert last(walker, "checked")["ok"]
    assert walker.machine.finished
    assert walker.said[-1].as_json()["shots"] == 5


def test_a_rod_that_was_stood_wrong_condemns_nothing() -> None:
    walker = surveyed().stand(950.0, 1.5).walk().stand(900.0, 1.5)
    assert walker.heard("ask")
    assert not walker.heard("jolt")
    assert last(walker, "checked")["ok"]
    assert walker.machine.finished


def test_two_stands_that_agree_need_no_press() -> None:
    walker = surveyed(4.0, after=0).stand(904.0, 1.5).walk().stand(904.0, 1.5)
    assert walker.heard("jolt")


def test_shots_before_the_last_good_sight_stay() -> None:
    stands = [Stand(f"A{n}", 100.0 * n, 50.0) for n in range(1, 7)]
    walker = Walker(capture(stands, line=BM, checks=True))
    walker.stand(1000.0, 1.5).carry(EVERY_S).walk().stand(1003.2, 1.5).walk()
    walker.stand(900.0, 1.5).walk()  # good
    for height in (998.5, 1003.1, 1000.4, 1002.0):
        walker.stand(height + 5.0, 1.5).walk()
    walker.stand(905.0, 1.5).walk().stand(905.0, 1.5)
    assert last(walker, "jolt")["labels"] == ["A3", "A4", "A5", "A6"]


def test_a_single_shot_set_aside_is_told_as_one() -> None:
    stands = [Stand(f"A{n}", 100.0 * n, 50.0) for n in range(1, 5)]
    walker = Walker(capture(stands, line=BM, checks=True))
    walker.stand(1000.0, 1.5).carry(EVERY_S).walk().stand(1003.2, 1.5).walk()
    walker.stand(900.0, 1.5).carry(EVERY_S).walk()  # good
    walker.stand(1003.5, 1.5).walk().stand(905.0, 1.5).walk().stand(905.0, 1.5)
    jolt = last(walker, "jolt")
    assert jolt["labels"] == ["A3"]
    assert "1 shot since is set aside (kept, not used): shoot it again." in jolt["text"]


def test_a_session_of_an_older_floor_rig_is_replayed_as_it_went() -> None:
    earlier = [before("A1", 1000.0, -100.0)]
    walker = Walker(capture(line=BM, checks=True, earlier=earlier, done=["A1"]))
    walker.stand(HEIGHTS[1] + 4.0, 1.5).walk(1000.0)  # a pause in which nothing is asked
    for height in HEIGHTS[2:]:
        walker.stand(height + 4.0, 1.5).walk()
    walker.stand(904.0, 1.5).walk().stand(904.0, 1.5)
    assert last(walker, "jolt")["labels"] == ["A1", "A2", "A3", "A4", "A5"]
    assert not walker.heard("setup")
    walker.walk().stand(1004.0, 1.5)
    assert walker.labels[-1] == "A1"


def before(label: str, reading_mm: float, time_s: float) -> ShotTaken:
    """A shot of the session before."""
    x_mm = 100.0 * int(label[1:])
    return ShotTaken(
        label=label,
        x_mm=x_mm,
        y_mm=50.0,
        reading_mm=reading_mm,
        stderr_mm=0.1,
        n=9,
        kind="floor",
        time_s=time_s,
    )


KNOWN = replace(BM, setup="1")


def opened(shots: int) -> Walker:
    """A session that begins with a sight; the one before shot so many points, with no sight."""
    earlier = [
        before(f"A{n + 1}", height, -500.0 + 20.0 * n) for n, height in enumerate(HEIGHTS[:shots])
    ]
    begun = Begun(opens=True, anew="2", line_mm=0.0)
    done = [shot.label for shot in earlier]
    return Walker(capture(line=KNOWN, checks=True, earlier=earlier, done=done, begun=begun))


def test_a_change_after_a_break_is_a_laser_set_up_again() -> None:
    walker = opened(0)
    assert [e.event for e in walker.said] == ["check", "armed"]
    walker.stand(950.8, 1.5).walk().stand(950.8, 1.5)
    assert not walker.heard("jolt")
    assert not walker.heard("drift")
    setup = last(walker, "setup")
    assert (setup["name"], setup["label"]) == ("2", "BM1")
    assert setup["line_mm"] == pytest.approx(50.8, abs=0.2)
    walker.walk().stand(1050.8, 1.5)  # told as it reads in the new line
    assert walker.shots[0].reading_mm == pytest.approx(1050.8, abs=0.2)


def test_one_earlier_point_keeps_what_was_shot_without_a_closing_sight() -> None:
    walker = opened(4).stand(950.8, 1.5).walk().stand(950.8, 1.5)
    assert last(walker, "check")["label"] == "A4"
    assert last(walker, "check")["expected_mm"] == pytest.approx(HEIGHTS[3] + 50.8, abs=0.2)
    walker.walk().stand(HEIGHTS[3] + 50.8, 1.5)
    assert last(walker, "checked")["found"] == "stood"
    assert not walker.heard("set_aside")
    assert last(walker, "next")["label"] == "A5"


def test_only_what_two_points_leave_open_is_set_aside() -> None:
    """The tripod was kicked by 5 mm after A2, unseen; in the morning the laser stands anew."""
    earlier = [1000.0, 1003.2, 1003.5, 1008.1]
    shots = [before(f"A{n + 1}", mm, -500.0 + 20.0 * n) for n, mm in enumerate(earlier)]
    begun = Begun(opens=True, anew="2", line_mm=0.0)
    done = [shot.label for shot in shots]
    walker = Walker(capture(line=KNOWN, checks=True, earlier=shots, done=done, begun=begun))
    walker.stand(950.0, 1.5).walk().stand(950.0, 1.5).walk()
    walker.stand(1053.1, 1.5).walk().stand(1053.1, 1.5).walk()  # A4, looked at twice
    assert last(walker, "checked")["found"] == "moved"
    assert last(walker, "check")["label"] == "A2"
    walker.stand(1053.2, 1.5)
    assert last(walker, "set_aside")["labels"] == ["A3"]
    assert "rig undo" in last(walker, "set_aside")["text"]
    assert walker.labels == ["A4"]  # read anew by the look at it
    assert last(walker, "next")["label"] == "A3"
    walker.walk().stand(1048.5, 1.5).walk().stand(1050.4, 1.5)
    assert walker.labels == ["A4", "A3", "A5"]


def test_points_that_are_skipped_leave_all_open() -> None:
    walker = opened(4).stand(950.8, 1.5).walk().stand(950.8, 1.5).act("skip").act("skip")
    assert [e.as_json()["label"] for e in walker.heard("check")] == ["BM1", "A4", "A3"]
    assert last(walker, "set_aside")["labels"] == ["A1", "A2", "A3", "A4"]


def test_what_was_shot_after_a_break_before_any_sight_is_open() -> None:
    earlier = before("A1", 1000.0, -100.0)
    begun = Begun(anew="2", line_mm=0.0)
    line: Any = {"line": KNOWN, "earlier": [earlier], "done": ["A1"], "begun": begun}
    walker = Walker(capture(checks=True, **line))
    for height in HEIGHTS[1:]:
        walker.stand(height + 4.0, 1.5).walk()
    walker.stand(904.0, 1.5).walk().stand(904.0, 1.5)
    assert last(walker, "set_aside")["labels"] == ["A2", "A3", "A4", "A5"]
    assert last(walker, "check")["label"] == "A1"
    walker.walk().stand(1004.0, 1.5)
    assert last(walker, "checked")["found"] == "stood"
    assert last(walker, "next")["label"] == "A2"


def test_a_pause_in_the_walk_is_a_break_and_nothing_is_spread_over_it() -> None:
    walker = Walker(capture(line=KNOWN, checks=True, begun=Begun(anew="2", line_mm=0.0)))
    for height in HEIGHTS[:3]:
        walker.stand(height, 1.5).walk()
    walker.walk(2.0 * 3600.0)  # lunch: the change would do for a slow drift
    walker.stand(902.0, 1.5).walk().stand(902.0, 1.5)
    assert not walker.heard("drift")
    assert last(walker, "setup")["change_mm"] == pytest.approx(2.0, abs=0.2)
    assert last(walker, "check")["label"] == "A3"
    assert walker.walk().stand(HEIGHTS[2] + 2.0, 1.5).heard("set_aside") == []


def test_to_quit_asks_for_a_closing_sight() -> None:
    walker = Walker(capture(line=BM, checks=True)).stand(1000.0, 1.5).act("quit")
    asked = last(walker, "check")
    assert (asked["label"], asked["closing"]) == ("BM1", True)
    assert not walker.machine.finished
    walker.walk().stand(900.0, 1.5)
    assert last(walker, "checked")["ok"]
    assert walker.machine.finished
    for act in ("quit", "skip"):
        walker = Walker(capture(line=BM, checks=True)).stand(1000.0, 1.5).act("quit").act(act)
        assert walker.machine.finished
    assert Walker(capture(line=BM, checks=True)).act("quit").machine.finished
    walker = Walker(capture(line=BM, checks=True)).stand(1000.0, 1.5).act("quit").act("undo")
    walker.walk().stand(1000.0, 1.5)
    assert not walker.machine.finished


def test_a_jolt_found_on_leaving_is_mended_first_unless_one_leaves_all_the_same() -> None:
    walker = Walker(capture(line=BM, checks=True, begun=Begun(anew="2")))
    walker.stand(1000.0, 1.5).walk().stand(1007.2, 1.5).act("quit").walk()  # kicked by 4 mm
    walker.stand(904.0, 1.5).walk().stand(904.0, 1.5)
    assert last(walker, "jolt")["labels"] == ["A1", "A2"]
    assert last(walker, "next")["label"] == "A2"
    assert walker.act("quit").machine.finished


def test_a_skip_is_taken_back_by_undo() -> None:
    walker = Walker(capture()).stand(1000.0, 1.5).act("skip").act("undo")
    assert last(walker, "undone") == {"event": "undone", "label": "A2", "what": "skip"}
    walker.walk().stand(1003.2, 1.5)
    assert walker.labels == ["A1", "A2"]
    assert walker.act("undo").act("undo").heard("undone")[-1].as_json()["label"] == "A1"


def test_a_line_that_will_not_stand_ends_the_walk() -> None:
    walker = surveyed(4.0, after=0).stand(904.0, 1.5).walk().stand(904.0, 1.5).walk()
    for height in HEIGHTS:
        walker.stand(height + 14.0, 1.5).walk()
    walker.stand(914.0, 1.5).walk().stand(914.0, 1.5)
    assert walker.reasons()[-1] == "restless"
    assert walker.machine.finished
    assert walker.said[-1].as_json()["shots"] == 0


def test_a_slow_change_is_drift_and_is_spread_over_the_time() -> None:
    rate = 2.0  # mm an hour
    walker = Walker(capture(line=BM, checks=True))
    truth = {}
    for stand, height in zip(STANDS, HEIGHTS, strict=True):
        truth[stand.label] = height
        walker.stand(height + rate * walker.time_s / 3600.0, 1.5).walk(5.0)
        while len(walker.heard("check")) > len(walker.heard("checked")):
            walker.stand(900.0 + rate * walker.time_s / 3600.0, 1.5).walk(3.0)
        walker.walk(400.0)
    assert walker.machine.finished
    drift, drift_s = last(walker, "drift"), last(walker, "checked")["time_s"]
    assert drift["change_mm"] == pytest.approx(rate * drift_s / 3600.0, abs=0.4)
    assert not walker.heard("jolt")
    told = {shot.label: (shot.reading_mm, shot.stderr_mm) for shot in walker.shots}
    told |= {s["label"]: (s["reading_mm"], s["stderr_mm"]) for e in walker.heard("drift")
             for s in e.as_json()["shots"]}  # fmt: skip
    for label, (reading, stderr) in told.items():
        assert abs(reading - truth[label]) < 3.0 * stderr


def test_the_doubt_of_a_spread_drift_is_that_of_a_step_at_an_unknown_time() -> None:
    """A step c at a moment u, uniform over the interval: the error of the straight line at f has
    the variance c²·f(1 − f), that of a Bernoulli variable (any text on probability)."""
    watch = LineWatch(BM)
    found = watch.compare(901.0, 0.15, 3600.0)
    assert found.word == "drift"
    assert found.allowed_mm == pytest.approx(3.0 * math.hypot(0.15, 0.15))
    reading, stderr = watch.spread(found, 1000.0, 0.0, 900.0, 3600.0)
    assert reading == pytest.approx(999.75)
    assert stderr == pytest.approx(math.hypot(math.sqrt(0.25 * 0.75), 0.25 * found.stderr_mm))


def test_what_is_shot_after_drift_is_told_in_the_line_as_it_was() -> None:
    known = Known("BM1", 900.0, 0.15, offset_mm=0.8, offset_stderr_mm=0.2)
    walker = Walker(capture(line=known, checks=True)).stand(1000.8, 1.5)
    assert walker.shots[0].reading_mm == pytest.approx(1000.0, abs=0.15)
    assert walker.shots[0].stderr_mm > 0.2


def test_undo_and_goto_go_before_the_check() -> None:
    walker = surveyed().act("undo").walk().stand(1000.4, 1.5)
    assert walker.labels[-1] == "A5"
    assert names(walker)[-1] == "check"
    walker.act("goto", "A2").walk().stand(1003.3, 1.5)
    assert walker.labels[-1] == "A2"
    walker.walk().stand(900.0, 1.5)
    assert walker.machine.finished


@pytest.mark.parametrize("seed", range(5))
def test_ticks_change_nothing(seed: int) -> None:
    def events(tick: bool) -> list[dict[str, Any] | dict[str, int] | dict[str, str]]:
        machine = capture(line=BM, checks=True)
        out = list(machine.start(0.0))
        source = Walker(capture())  # for its noise only
        source.random.seed(seed)
        time_s = 0.0
        for height in [*HEIGHTS, 904.0, 904.0, *(h + 4.0 for h in HEIGHTS), 904.0]:
            for n in range(40):
                time_s += 0.1
                value = height + source.random.gauss(0.0, 0.05)
                status: Status = "valid" if n < 20 else "no_beam"
                reading = Reading(time_s, time_s, "", status, value if n < 20 else None)
                if tick:
                    out += machine.tick(time_s - 0.05 * source.random.random())
                else:
                    source.random.random()
                out += machine.reading(reading)
        return [asdict(event) for event in out]

    assert events(True) == events(False)
