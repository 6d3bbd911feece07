"""The recursion against closed forms, the longest path, queueing theory and an event simulator."""

import math
from collections.abc import Generator
from typing import Any

import networkx
import numpy as np
import pytest
import simpy
from networkx.classes.digraph import DiGraph
from simpy.events import Event, Timeout
from simpy.resources.resource import Request

from rig.errors import BadInput
from rig.pour.crew import Roles, Steps, Times, Work, assign, loads, work_of
from rig.pour.simulation import Drawn, Servers, draw, makespan, seam_ages, simulate

N = 12


def work(n: int = N, **seconds: float) -> Work:
    usual = {"water": 20.0, "powder": 30.0, "mix": 120.0, "slake": 0.0, "carry": 15.0,
             "pour": 20.0, "spread": 30.0, "deair": 15.0, "back": 12.0}  # fmt: skip
    return Steps(**{step: [(usual | seconds)[step]] * n for step in Steps._fields})


def fixed(planned: Work, runs: int = 1) -> Drawn:
    return draw(planned, runs, np.random.default_rng(0), 0.3, 0.1, "fixed")


def test_fixed_times_give_the_closed_form_of_a_line() -> None:
    """Sum of the stations' times and n − 1 times the slowest (permutation flow shop, textbook)."""
    stations = (20.0 + 30.0 + 120.0, 15.0 + 20.0 + 12.0, 30.0 + 15.0)
    run = simulate(fixed(work()), Roles(1, 1, 1), buckets=100)
    # The last batch ends with its spreading: neither its bucket's way back nor its air counts.
    ends = stations[0] + 15.0 + 20.0 + 30.0 + (N - 1) * max(stations)
    assert makespan(run)[0] == pytest.approx(ends)
    slow_rake = simulate(fixed(work(spread=400.0)), Roles(1, 1, 1), buckets=100)
    assert makespan(slow_rake)[0] == pytest.approx(170.0 + 35.0 + 400.0 + (N - 1) * 415.0)


def test_one_person_alone_does_one_batch_after_the_other() -> None:
    run = simulate(fixed(work()), Roles(1, 0, alone=True), buckets=3)
    batch = 20.0 + 30.0 + 120.0 + 15.0 + 20.0 + 30.0 + 15.0 + 12.0
    assert makespan(run)[0] == pytest.approx(N * batch - 15.0 - 12.0)
    assert run.wet_s[3, 0] == pytest.approx(3 * batch + 20.0)


@pytest.mark.parametrize("buckets", [1, 2, 3, 5])
def test_one_of_each_is_the_longest_path_of_a_network(buckets: int) -> None:
    """Drawn times, one server a role: networkx's longest path over the same precedences."""
    roles = Roles(1, 1, 1)
    drawn = draw(work(), 3, np.random.default_rng(5), 0.6, 0.2)
    run = simulate(drawn, roles, buckets)
    for r in range(3):
        graph = networkx.DiGraph()

        def time(step: str, n: int, r: int = r) -> float:
            return float(getattr(drawn, step)[n, r])

        def node(
            name: str, n: int, seconds: float, *after: tuple[str, int], graph: DiGraph = graph
        ) -> None:
            graph.add_node((name, n))
            for other in after:
                if other[1] >= 0:
                    graph.add_edge(other, (name, n), weight=graph.nodes[other]["s"])
            graph.nodes[name, n]["s"] = seconds

        for n in range(N):
            node("mix", n, time("water", n) + time("powder", n) + time("mix", n),
                 ("mix", n - 1), ("back", n - buckets))  # fmt: skip
            node("carry", n, time("slake", n) + time("carry", n) + time("pour", n),
                 ("mix", n), ("back", n - 1))  # fmt: skip
            node("back", n, time("back", n), ("carry", n))
            node("spread", n, time("spread", n), ("carry", n), ("deair", n - 1))
            node("deair", n, time("deair", n), ("spread", n))
        node("end", N, 0.0, *[("spread", n) for n in range(N)])
        longest = networkx.dag_longest_path_length(graph)
        assert makespan(run)[r] == pytest.approx(longest)


def erlang_c(servers: int, load: float) -> float:
    """Probability of waiting, A. K. Erlang 1917 (any textbook on queues)."""
    top = load**servers / math.factorial(servers) * servers / (servers - load)
    return top / (sum(load**k / math.factorial(k) for k in range(servers)) + top)


def test_erlang_c_is_the_published_one() -> None:
    # Published exercises: 10 servers at 6 erlangs wait with 0.10; textbook tables: 1/3 and 4/9.
    assert erlang_c(10, 6.0) == pytest.approx(0.10, abs=0.005)
    assert erlang_c(2, 1.0) == pytest.approx(1 / 3)
    assert erlang_c(3, 2.0) == pytest.approx(4 / 9)


@pytest.mark.parametrize(("servers", "load"), [(1, 0.6), (2, 1.0), (3, 2.0), (10, 6.0)])
def test_exponential_times_give_the_waits_of_a_queue_with_many_servers(
    servers: int, load: float
) -> None:
    """M/M/c: chance of waiting is Erlang's C, mean wait C / (c·mu − lambda)."""
    runs, customers, warm = 1500, 700, 200
    rng = np.random.default_rng(servers)
    pool = Servers(servers, runs)
    now = np.zeros(runs)
    waits = np.empty((customers, runs))
    for n in range(customers):
        now = now + rng.standard_exponential(runs) / load
        start = pool.start(now)
        pool.release(start + rng.standard_exponential(runs))
        waits[n] = start - now
    chance = erlang_c(servers, load)
    steady = waits[warm:]
    # Runs are independent; the spread of their means is the error of the mean.
    error = steady.mean(axis=0).std() / math.sqrt(runs)
    assert steady.mean() == pytest.approx(chance / (servers - load), abs=4 * error)
    waited = (steady > 1e-12).mean(axis=0)
    assert waited.mean() == pytest.approx(chance, abs=4 * waited.std() / math.sqrt(runs))


def test_littles_law_holds_on_every_run() -> None:
    """Mean number under way = rate × mean time under way, counted apart by a sweep of events."""
    run = simulate(draw(work(), 50, np.random.default_rng(2), 0.4, 0.1), Roles(2, 1, 1), 4)
    for r in range(50):
        come, go = run.begun_s[:, r], run.done_s[:, r]
        times = np.concatenate([come, go])
        steps = np.concatenate([np.ones(N), -np.ones(N)])
        ranked = np.argsort(times, kind="stable")
        at, under_way = times[ranked], np.cumsum(steps[ranked])
        whole = at[-1] - at[0]
        mean_number = np.sum(under_way[:-1] * np.diff(at)) / whole
        assert mean_number == pytest.approx(N / whole * np.mean(go - come))
        assert under_way.max() <= 4


ROLES = [Roles(1, 1), Roles(1, 1, 1), Roles(2, 1, 1), Roles(2, 2), Roles(3, 2, 2, 1),
         Roles(1, 0, alone=True)]  # fmt: skip


@pytest.mark.parametrize("roles", ROLES)
@pytest.mark.parametrize("buckets", [2, 5])
def test_an_event_simulator_reaches_the_same_times(roles: Roles, buckets: int) -> None:
    """simpy as the independent reference, on the same drawn times."""
    drawn = draw(work(slake=25.0), 4, np.random.default_rng(9), 0.5, 0.1)
    run = simulate(drawn, roles, buckets)
    for r in range(4):
        wet, poured, spread = by_events(drawn, roles, buckets, r)
        assert run.wet_s[:, r] == pytest.approx(wet)
        assert run.poured_s[:, r] == pytest.approx(poured)
        assert run.spread_s[:, r] == pytest.approx(spread)


def by_events(
    drawn: Drawn, roles: Roles, buckets: int, r: int
) -> tuple[list[float], list[float], list[float]]:
    env = simpy.Environment()
    counts = {"vessels": buckets, "mixing": roles.mixing, "carrying": roles.carrying,
              "spreading": roles.spreading, "helpers": roles.helpers}  # fmt: skip
    if roles.alone:
        counts = {"vessels": buckets, "crew": 1}
    pools = {name: simpy.Resource(env, count) for name, count in counts.items() if count}
    turns = {name: [env.event() for _ in range(N + 1)] for name in pools}
    for name in pools:
        turns[name][0].succeed()
    told = {"wet": [0.0] * N, "poured": [0.0] * N, "spread": [0.0] * N}

    def take(name: str, n: int) -> Generator[Event, Any, Request]:
        yield turns[name][n]  # batches keep their order
        request = pools[name].request()
        yield request
        turns[name][n + 1].succeed()
        return request

    def wait(step: str, n: int) -> Timeout:
        return env.timeout(float(getattr(drawn, step)[n, r]))

    def rake(n: int) -> Generator[Event, Any, None]:
        request = yield from take("spreading", n)
        yield wait("spread", n)
        told["spread"][n] = env.now
        yield wait("deair", n)
        pools["spreading"].release(request)

    def batch(n: int) -> Generator[Event, Any, None]:
        vessel = yield from take("vessels", n)
        if roles.alone:
            hand = yield from take("crew", n)
            yield wait("water", n)
        elif roles.helpers:
            helper = yield from take("helpers", n)
            yield wait("water", n)
            pools["helpers"].release(helper)
            hand = yield from take("mixing", n)
        else:
            hand = yield from take("mixing", n)
            yield wait("water", n)
        told["wet"][n] = env.now
        yield wait("powder", n)
        yield wait("mix", n)
        if not roles.alone:
            pools["mixing"].release(hand)
        yield wait("slake", n)
        if not roles.alone:
            hand = yield from take("carrying", n)
        yield wait("carry", n)
        told["poured"][n] = env.now
        yield wait("pour", n)
        if roles.spreading:
            env.process(rake(n))
        else:
            yield wait("spread", n)
            told["spread"][n] = env.now
            yield wait("deair", n)
        yield wait("back", n)
        pools["crew" if roles.alone else "carrying"].release(hand)
        pools["vessels"].release(vessel)

    for n in range(N):
        env.process(batch(n))
    env.run()
    return told["wet"], told["poured"], told["spread"]


def test_drawn_times_have_the_mean_and_spread_they_were_asked_for() -> None:
    drawn = draw(work(n=2), 200_000, np.random.default_rng(1), 0.3, 0.1)
    for step, mean, cv in (("spread", 30.0, 0.3), ("mix", 120.0, 0.1)):
        seconds = getattr(drawn, step)
        assert seconds.mean() == pytest.approx(mean, rel=0.005)
        assert seconds.std() / seconds.mean() == pytest.approx(cv, rel=0.02)
        assert seconds.min() > 0
    assert not drawn.slake.any()


def test_with_a_mixer_less_the_edge_is_older() -> None:
    drawn = draw(work(), 400, np.random.default_rng(3), 0.3, 0.1)
    seams = [(n, n + 2) for n in range(N - 2)]
    sound = seam_ages(simulate(drawn, Roles(2, 1, 1), 4), seams)
    broken = seam_ages(simulate(drawn, Roles(1, 1, 1), 4), seams)
    assert np.median(broken[-1]) > 1.3 * np.median(sound[-1])


def test_roles_go_where_the_line_is_slowest() -> None:
    planned = work()
    assert assign(1, 2, planned).alone
    assert assign(2, 2, planned) == Roles(1, 1)
    assert assign(4, 2, planned).mixing == 2  # mixing takes longest by far
    quick_mix = work(mix=5.0, spread=300.0)
    assert assign(5, 4, quick_mix).mixing == 1
    for people in range(2, 9):
        roles = assign(people, 3, planned)
        assert roles.people == people
        others = [max(loads(assign(people, m, planned), planned).values()) for m in (1, 2)]
        assert max(loads(roles, planned).values()) <= min(others) / 0.85


@pytest.mark.parametrize(("people", "mixers"), [(0, 1), (1, 0), (51, 1), (3, 21)])
def test_crews_that_cannot_be_are_refused(people: int, mixers: int) -> None:
    with pytest.raises(BadInput):
        assign(people, mixers, work())


def test_times_of_zero_are_refused_where_nothing_takes_no_time() -> None:
    with pytest.raises(BadInput, match="mix_s"):
        Times(0.0)
    with pytest.raises(BadInput, match="pour_s"):
        Times(120.0, pour_s=-1.0)
    with pytest.raises(BadInput, match="bucket"):
        simulate(fixed(work()), Roles(1, 1), 0)


def test_work_grows_with_way_area_and_bags() -> None:
    made = work_of(Times(120.0), [1.0, 2.0], [0.0, 9000.0], [1.0, 2.0])
    assert made.water == [15.0, 30.0]
    assert made.carry == [10.0, 20.0]
    assert made.spread == [25.0, 50.0]
    assert made.mix == [120.0, 120.0]
