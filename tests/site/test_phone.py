"""A phone's page of a rod, which comes late and acts: it is told by the site alone."""

import asyncio
import json
import threading
from collections.abc import AsyncIterator
from typing import Any

from rig.devices.site import read_account
from rig.session.items import Act
from rig.session.told_scene import ToldScene, watch_site
from simulated_devices.site_rod import SiteRod
from tests.cli.conftest import Run
from tests.site.conftest import Place
from tests.site.test_rods import floor_of, rods, survey


def test_a_phone_that_comes_late_sees_how_things_stand_and_acts(run: Run, place: Place) -> None:
    floor_of(run, "4m")
    account = read_account(place.invite("anna", "phone"))
    scene = ToldScene()

    async def skips(rod: SiteRod) -> AsyncIterator[Act]:
        for _ in range(400):
            await asyncio.sleep(0.05)
            if scene.sections.told(["now"])["now"]["label"]:
                rod.silent.set()  # it stands still while the thumb comes down
                yield Act(0.0, 0.0, "skip")
                await asyncio.sleep(0.3)
                rod.silent.clear()
                return

    def watch(rod: SiteRod) -> None:
        def change(name: str, payload: bytes) -> None:
            scene.take(name, payload)

        asyncio.run(watch_site(account, None, "rod-1", change, skips(rod)))

    with rods(place, 1) as (rod,):
        phone = threading.Timer(2.0, watch, (rod,))
        phone.start()
        events = survey(run, place)
    phone.join()
    skipped = [one["label"] for one in events if one["event"] == "skipped"]
    shots = [one["label"] for one in events if one["event"] == "shot"]
    assert len(skipped) == 1
    assert sorted([*shots, *skipped]) == ["A1", "A2", "B1", "B2"]
    told: dict[str, Any] = scene.sections.told(["job", "places", "plan"])
    assert json.dumps(told)
