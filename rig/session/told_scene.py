"""What a page shows of a session that runs elsewhere on a site: its sections as they are told."""

import asyncio
import contextlib
import json
import secrets
from collections.abc import AsyncIterator, Callable, Iterable
from typing import Any

from rig.devices.site import Account, Link, Message
from rig.events import Event
from rig.language import say
from rig.session.beam import LINK_LOST
from rig.session.items import Act
from rig.session.scene import Scene
from rig.session.sections import JobShown, Now, PlanShown, Sections
from rig.units import METRIC
from rig.words.rods import session_is_gone


class _Told(Sections):
    """Sections that came as JSON stand before our own."""

    def __init__(self) -> None:
        job = JobShown(screen="idle", title="", units="mm")
        super().__init__(job=job, plan=PlanShown(walls=()))
        self._came: dict[str, Any] = {}

    def told(self, names: Iterable[str]) -> dict[str, Any]:
        """Return the named sections as they are sent."""
        wanted = set(names)
        own = super().told(wanted - {"_came"})
        return own | {name: told for name, told in self._came.items() if name in wanted}


class ToldScene(Scene):
    """A scene that is told, not folded."""

    def __init__(self) -> None:
        super().__init__("idle", "", METRIC, PlanShown(walls=()))
        self._told = _Told()
        self.sections = self._told
        self.show("idle", say("Nothing is going on"))

    @property
    def acts(self) -> tuple[str, ...]:
        """Names of the acts that the page may do."""
        told = self._told._came.get("job")
        return tuple(told.get("acts", ())) if isinstance(told, dict) else ()

    def hear(self, event: Event, now_s: float) -> set[str]:
        """Hear nothing: what is shown is told."""
        return set()

    def tick(self, now_s: float) -> set[str]:
        """Let no time go by here."""
        return set()

    def take(self, name: str, payload: bytes) -> set[str]:
        """Show a section as it was told; an empty one is shown no more."""
        if name not in self._told.names or name.startswith("_"):
            return set()
        try:
            if payload:
                self._told._came[name] = json.loads(payload)
            else:
                self._told._came.pop(name, None)
        except ValueError:
            return set()
        return {name}


def _stale(why: str) -> bytes:
    """Return the big line of a page that is not told any more."""
    return json.dumps(Now(mode="wait", text="", stale=why).as_json()).encode()


async def watch_site(
    account: Account,
    job: str | None,
    rod: str | None,
    change: Callable[[str, bytes], None],
    acts: AsyncIterator[Act],
) -> None:
    """Tell a page what a session on a site shows, of one rod or of all, and pass acts on.

    Parameters
    ----------
    account : Account
    job : str or None
        Its `uid`; without one the first that shows anything.
    rod : str or None
    change : callable
        Takes the name of a section and what it is now.
    acts : async iterator
        What is done on the page, at the rod.

    Raises
    ------
    DeviceUnavailable
        Where there is no site, or it does not let us in.
    """
    shown = job
    claimed: set[str] = set()
    sections: dict[str, bytes] = {}  # a session that was killed leaves what it showed, and no claim

    def hear_claim(of: str, is_there: bool) -> None:
        nonlocal shown
        (claimed.add if is_there else claimed.discard)(of)
        if of != shown or is_there:
            return
        if sections:
            change("now", _stale(session_is_gone()))
        if job is None:
            shown = None  # another may come
            sections.clear()

    def hear(message: Message) -> None:
        nonlocal shown
        of, what, *rest = message.topic
        if what == "session":
            hear_claim(of, bool(message.payload))
            return
        if shown is None and message.payload and of in claimed:
            shown = of
        own = rest[:-1] == ([rod] if rod else [])
        if of == shown and own:
            if message.payload:
                sections[rest[-1]] = message.payload
            else:
                sections.pop(rest[-1], None)
            change(rest[-1], message.payload)

    def went() -> None:
        change("now", _stale(LINK_LOST))

    def came() -> None:
        if "now" in sections:
            change("now", sections["now"])

    link = Link(account, hear, came=came, went=went)
    link.subscribe("+/session", f"{job or '+'}/now/#")
    await link.open()
    try:
        async for act in acts:
            if rod is not None and shown is not None:
                told = {"act": act.name, "argument": act.argument, "id": secrets.token_hex(8)}
                link.tell(f"{shown}/rod/{rod}/act", json.dumps(told).encode(), expires_s=5)
    finally:
        with contextlib.suppress(asyncio.CancelledError):
            await link.close()
