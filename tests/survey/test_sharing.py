"""Rods that share a walk: nearest first, never one point to two."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.survey.sharing import FREED_S, Sharing

PLACES = {f"{'ABCDEF'[i]}{j}": (1000.0 * i, 1000.0 * j) for i in range(6) for j in range(1, 8)}


def test_a_rod_goes_to_the_nearest_point_that_nobody_has() -> None:
    sharing = Sharing(PLACES)
    assert [sharing.ask(rod) for rod in ("one", "two")] == ["A1", "A2"]
    sharing.done("one", "A1")
    assert sharing.ask("one") == "B1"  # A2 is as near and another's
    assert sharing.ask("one") == "B1"


def test_a_rod_that_is_alone_goes_along_the_walk() -> None:
    walk = {"A1": (0.0, 0.0), "A9": (9000.0, 0.0), "A2": (1000.0, 0.0), "A3": (2000.0, 0.0)}
    sharing, seen = Sharing(walk), []
    sharing.take("one", "A2")
    while (label := sharing.ask("one")) is not None:
        seen.append(label)
        sharing.done("one", label)
    assert seen == ["A2", "A3", "A1", "A9"]


def test_a_point_that_another_has_is_not_given() -> None:
    sharing = Sharing(PLACES)
    sharing.ask("one")
    assert not sharing.take("two", "A1")
    assert sharing.take("two", "F7")
    sharing.ask("two")
    assert sharing.holder("F7") == "two"
    sharing.done("two", "F7")
    assert sharing.ask("two") in ("E7", "F6")


def test_an_undone_shot_is_its_rods_again() -> None:
    sharing = Sharing({"A1": (0.0, 0.0)})
    sharing.ask("one")
    sharing.done("one", "A1")
    assert sharing.is_done
    sharing.undone("one", "A1")
    assert not sharing.is_done
    assert sharing.ask("two") is None
    sharing.passed("one", "A1")
    assert sharing.is_done


def test_a_rod_long_out_of_reach_gives_its_point_up() -> None:
    sharing = Sharing({"A1": (0.0, 0.0)})
    sharing.ask("one")
    sharing.gone("one", 5.0)
    assert sharing.tick(5.0 + FREED_S - 1.0) == ()
    assert sharing.ask("two") is None
    assert sharing.tick(5.0 + FREED_S) == ("one",)
    assert sharing.ask("two") == "A1"


@given(st.lists(st.tuples(st.integers(0, 2), st.sampled_from("asdpugbt")), max_size=120))
def test_no_point_is_two_rods_whatever_happens(steps: list[tuple[int, str]]) -> None:
    sharing, time_s = Sharing(dict(list(PLACES.items())[:9])), 0.0
    for n, what in steps:
        rod, time_s = f"rod-{n}", time_s + 10.0
        has = sharing.claims.get(rod)
        match what:
            case "a":
                sharing.ask(rod)
            case "s" if has:
                sharing.done(rod, has)
            case "p" if has:
                sharing.passed(rod, has)
            case "u":
                sharing.take(rod, "B2")
            case "d":
                sharing.again(["A1", "B2"])
            case "g":
                sharing.gone(rod, time_s)
            case "b":
                sharing.back(rod)
            case "t":
                sharing.tick(time_s)
        claimed = list(sharing.claims.values())
        assert len(claimed) == len(set(claimed))
    for _ in range(20):
        for rod in ("rod-0", "rod-1", "rod-2"):
            sharing.back(rod)
            label = sharing.ask(rod)
            if label is not None:
                sharing.done(rod, label)
    assert sharing.is_done


@pytest.mark.parametrize("rods", [2, 3])
def test_several_rods_take_every_point_once(rods: int) -> None:
    sharing, seen = Sharing(PLACES), []
    while not sharing.is_done:
        for n in range(rods):
            label = sharing.ask(f"rod-{n}")
            if label is not None:
                seen.append(label)
                sharing.done(f"rod-{n}", label)
    assert sorted(seen) == sorted(PLACES)
