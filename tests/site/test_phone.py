"""A phone's page of a rod, which comes late and acts: it is told by the site alone."""

import asyncio
import json
import threading
from collections.abc import AsyncIterator
from typing import Any

from rig.devices.site import read_account
from rig.session.items import Act
from rig.session.told_scene import ToldScene, watch_site
from tests.cli.conftest import Run
from tests.site.conftest import Place
from tests.site.test_rods import floor_of, rods, survey


def test_a_phone_that_comes_late_sees_how_things_stand_and_acts(run: Run, place: Place) -> None:
    floor_of(run, "4m")
    account = read_account(place.invite("anna", "phone"))
    scene, seen = ToldScene(), threading.Event()

    async def skips() -> AsyncIterator[Act]:
        while scene.sections.told(["now"])["now"]["label"] != "B1":
            await asyncio.sleep(0.05)
        yield Act(0.0, 0.0, "skip")
        seen.set()
        await asyncio.sleep(1.0)

    def watch() -> None:
        def change(name: str, payload: bytes) -> None:
            scene.take(name, payload)

        asyncio.run(watch_site(account, None, "rod-1", change, skips()))

    phone = threading.Timer(3.0, watch)
    phone.start()
    with rods(place, 1):
        events = survey(run, place)
    phone.join()
    assert seen.is_set()
    assert [one["label"] for one in events if one["event"] == "skipped"] == ["B1"]
    shots = [one["label"] for one in events if one["event"] == "shot"]
    assert sorted(shots) == ["A1", "A2", "B2"]
    told: dict[str, Any] = scene.sections.told(["job", "places", "plan"])
    assert json.dumps(told)
