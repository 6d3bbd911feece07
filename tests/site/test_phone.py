"""A phone's page of a rod, which comes late and acts: it is told by the site alone."""

import asyncio
import json
import threading
from collections.abc import AsyncIterator
from typing import Any

from rig.devices.site import Link, read_account
from rig.events import Heard, LinkBack, LinkLost, Next
from rig.session.items import Act
from rig.session.rods_scene import Together
from rig.session.scene import Scene
from rig.session.sections import PlanShown
from rig.session.told_scene import ToldScene, watch_site
from rig.units import METRIC
from simulated_devices.site_rod import SiteRod
from tests.cli.conftest import Run
from tests.site.conftest import Place
from tests.site.test_rods import floor_of, rods, survey


def test_a_phone_that_comes_late_sees_how_things_stand_and_acts(run: Run, place: Place) -> None:
    floor_of(run, "4m")
    account = read_account(place.invite("anna", "phone"))
    scene, every = ToldScene(), ToldScene()
    walls: list[int] = []

    async def skips(rod: SiteRod) -> AsyncIterator[Act]:
        for _ in range(400):
            await asyncio.sleep(0.05)
            if scene.sections.told(["now"])["now"]["label"]:
                rod.silent.set()  # it stands still while the thumb comes down
                yield Act(0.0, 0.0, "skip")
                await asyncio.sleep(0.3)
                rod.silent.clear()
                return

    async def until_over() -> AsyncIterator[Act]:
        """Do nothing, as a page on the wall, until the session has ended."""
        while not walls or every.sections.told(["plan"])["plan"]["walls"]:
            await asyncio.sleep(0.05)
            walls[:] = walls or every.sections.told(["plan"])["plan"]["walls"]
        return
        yield

    def watch(rod: SiteRod) -> None:
        def change(name: str, payload: bytes) -> None:
            scene.take(name, payload)

        def see(name: str, payload: bytes) -> None:
            every.take(name, payload)

        async def both() -> None:
            async with asyncio.timeout(60.0):
                own = watch_site(account, None, "rod-1", change, skips(rod))
                together = watch_site(account, None, None, see, until_over())
                await asyncio.gather(own, together)

        asyncio.run(both())

    with rods(place, 1) as (rod,):
        phone = threading.Timer(2.0, watch, (rod,))
        phone.start()
        events = survey(run, place)
    phone.join()
    assert len(walls) == 4
    now = every.sections.told(["now"])["now"]
    assert now["text"] == "Nothing is going on"
    skipped = [one["label"] for one in events if one["event"] == "skipped"]
    shots = [one["label"] for one in events if one["event"] == "shot"]
    assert len(skipped) == 1
    assert sorted([*shots, *skipped]) == ["A1", "A2", "B1", "B2"]
    told: dict[str, Any] = scene.sections.told(["job", "places", "plan"])
    assert json.dumps(told)


def test_a_page_is_told_that_the_session_is_gone_and_sees_the_next(place: Place) -> None:
    session, phone = (read_account(place.invite(name, "session")) for name in ("yard", "wall"))
    told: list[dict[str, Any]] = []

    async def heard(text: str) -> None:
        async with asyncio.timeout(10.0):
            while not told or told[-1]["shown"] != text:
                await asyncio.sleep(0.02)

    async def nothing() -> AsyncIterator[Act]:
        await asyncio.Event().wait()
        yield Act(0.0, 0.0, "")

    async def play() -> None:
        link = Link(session, lambda message: None)
        await link.open()
        watching = asyncio.create_task(
            watch_site(phone, None, None, lambda _, now: told.append(json.loads(now)), nothing())
        )
        for claim in (b'{"session": "a"}', b'{"session": "b"}'):
            link.tell("7/session", claim, retained=True)
            link.tell("7/now/now", json.dumps({"shown": claim.decode()}).encode(), retained=True)
            await heard(claim.decode())
            link.tell("7/session", b"", retained=True)  # as its will says
            await heard("the session is gone")
        link.tell("7/now/now", b"", retained=True)
        await link.close()
        watching.cancel()

    asyncio.run(play())


def test_a_page_of_all_rods_tells_whose_link_is_lost_and_no_beam_of_one() -> None:
    scene = Together.of(Scene("survey", "Survey", METRIC, PlanShown(walls=())))
    for n in (1, 2):
        scene.hear(Next(rod=f"rod-{n}", label=f"A{n}", x_mm=1.0, y_mm=1.0, text=""), 0.0)
    for time_s in range(1, 5):
        dark = Heard(rod="rod-2", time_s=float(time_s), value_mm=None, status="no_beam")
        scene.hear(dark, float(time_s))
    scene.hear(LinkLost(rod="rod-1", time_s=5.0, reason="silence"), 5.0)
    assert scene.sections.now.shown == "rod-1: no link · rod-2: A2"
    scene.hear(LinkBack(rod="rod-1", time_s=6.0, gap_s=1.0), 6.0)
    assert scene.sections.now.shown == "rod-1: A1 · rod-2: A2"
