"""Serve the page: a small web server in a thread of its own, beside whatever session there is.

The session never waits for a phone: it hands over events and takes acts. Each phone is sent the
latest value of what changed since it was last sent something, so a slow one gets fewer, not older.
"""

import asyncio
import contextlib
import json
import logging
import sys
import threading
from collections import deque
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol, TypeVar
from zlib import crc32

from aiohttp import WSMsgType, web

from rig.devices.clock import Clock
from rig.events import Event
from rig.language import Tongue, say, shown_in, speaking
from rig.page import access, messages
from rig.page.gate import Gate
from rig.page.headers import AUTHORITY_HEADERS, HEADERS, SITE_HEADERS, plain, policy
from rig.page.listening import TYPES, listen, names_of, shown_host, static_files
from rig.page.messages import Moved
from rig.page.on_phone import all_on_phone
from rig.page.rendered import live_page, tongue_of
from rig.page.turn import Turn
from rig.session.items import Act
from rig.session.scene import Scene
from rig.session.sections import Text

if TYPE_CHECKING:
    from rig.page.tls import Link

SESSION = "session/"
PAGE = "page.html"
AUTHORITY = "authority.crt"
THIN_S = 0.015
BEAT_S = 0.5
TICK_S = 0.1
STUCK_S = 8.0
MOST_PHONES = 24
MOST_A_SECOND = 30
LONGEST_FRAME = 64 * 1024
GOODBYE_S = 1.0
SENTENCES = ("notes", "ask", "last", "cues")
P = TypeVar("P")


@dataclass(eq=False)
class _Phone:
    """One open socket, and what its phone has not been sent yet."""

    socket: web.WebSocketResponse
    transport: asyncio.Transport | None
    tongue: Tongue
    name: str = ""
    dirty: set[str] = field(default_factory=set)
    told: list[str] = field(default_factory=list)
    said_s: deque[float] = field(default_factory=lambda: deque(maxlen=MOST_A_SECOND))
    wake: asyncio.Event = field(default_factory=asyncio.Event)


class Pages(Protocol):
    """Pages of several addresses beside the live one."""

    def set_up(self, app: web.Application) -> None:
        """Make the server ready for them."""
        ...

    def close(self) -> None:
        """Let go of what they hold."""
        ...

    def admits(self, request: web.Request) -> bool:
        """Whether who asks may look at all; who may not can only ask to come in."""
        ...

    async def answer(self, request: web.Request, path: str, root: str) -> web.StreamResponse:
        """Answer a request that may be answered, for `path` below `root`."""
        ...


class Page:
    """The page and its server.

    Parameters
    ----------
    host : str
        Address to listen at; this machine alone unless said.
    port : int
        0 takes a free one.
    key : str, optional
        One that was kept; a fresh one unless given.

    Attributes
    ----------
    url : str
        The address to open, with its key; known once started.
    """

    def __init__(self, host: str = "127.0.0.1", port: int = 0, key: str = "") -> None:
        self._host, self._asked_port = host, port
        self._port = 0
        self._key = key or access.new_key()
        self._names: frozenset[str] = frozenset()
        self._files = static_files()
        self._marks = {name: f"{crc32(data):08x}" for name, data in self._files.items()}
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._work, name="page", daemon=True)
        self._ready = threading.Event()
        self._stop: asyncio.Event | None = None
        self._scene: Scene | None = None
        self._phones: set[_Phone] = set()
        self._turn = Turn()
        self._came = threading.Event()
        self._session: (
            tuple[asyncio.AbstractEventLoop, asyncio.Queue[tuple[str, str | None]]] | None
        ) = None
        self._typing: tuple[asyncio.AbstractEventLoop, asyncio.Queue[str]] | None = None
        self.moves: Callable[[Moved], None] | None = None
        """Takes what a trainee does with the rod, in practice."""
        self.url = ""
        self.announced = False
        self.encrypts: Callable[[set[str]], Link] | None = None
        """Makes the link an encrypted one, by the names that this machine has."""
        self._link: Link | None = None
        self.site: Pages | None = None
        """Pages of jobs or of an office, if they are served; the live page stands below them."""

    # --- for the session's side, any thread -------------------------------------------------

    def start(self) -> "Page":
        """Listen; the page is there when this returns.

        Raises
        ------
        BadInput
            When the port is taken or the host is none of this machine's.
        """
        self._listening = listen(self._host, self._asked_port)
        self._port = self._listening.getsockname()[1]
        self._names = names_of(self._host)
        shown = shown_host(self._host)
        if self.encrypts is not None:
            self._link = self.encrypts({*self._names, shown, "localhost", "127.0.0.1"})
        host = f"[{shown}]" if ":" in shown else shown
        self.url = f"{self._scheme}://{host}:{self._port}/{self._key}/"
        self._thread.start()
        self._ready.wait()
        return self

    @property
    def _scheme(self) -> str:
        return "http" if self._link is None else "https"

    @property
    def here_only(self) -> bool:
        """Whether only this machine can open the page."""
        return self._listening.getsockname()[0] in ("127.0.0.1", "::1")

    def begin(self, scene: Scene) -> None:
        """Show another scene from now on."""
        self._call(self._begin, scene)

    def hear(self, event: Event) -> None:
        """Take an event of the session; returns at once."""
        self._call(self._hear, event)

    def hand(self, told: Moved) -> None:
        """Show where a trainee had the rod."""
        self._call(self._show_hand, told)

    def typed_in(self, unit: str) -> None:
        """Show what unit typed numbers are in."""
        self._call(self._change, lambda scene: scene.type_in(unit))

    def told(self, name: str, payload: bytes) -> None:
        """Show a section as another session tells it."""
        self._call(self._change, lambda scene: scene.take(name, payload))

    def over(self, text: str) -> None:
        """Show that the session has come to its end; a text says why it broke off."""
        self._call(self._change, lambda scene: scene.over(text))

    def do(self, name: str) -> None:
        """Do an act in the session that runs, as a thumb would."""
        self._call(self._pass_on, (name, None))

    def lines(self) -> "asyncio.Queue[str]":
        """Return the queue of what is typed from now on; runs in the session's loop."""
        lines: asyncio.Queue[str] = asyncio.Queue()
        self._typing = (asyncio.get_running_loop(), lines)
        return lines

    def wait_for_phone(self, timeout_s: float) -> bool:
        """Wait until somebody has opened the page."""
        return self._came.wait(timeout_s)

    async def acts(self, clock: Clock) -> AsyncIterator[Act]:
        """Yield what is done on the page; runs in the session's loop."""
        queue: asyncio.Queue[tuple[str, str | None]] = asyncio.Queue()
        mine = (asyncio.get_running_loop(), queue)
        self._session = mine
        try:
            while True:
                name, argument = await queue.get()
                yield Act(*clock.now(), name, argument)
        finally:
            if self._session is mine:
                self._session = None

    def close(self, text: str = say("The session has ended.")) -> None:
        """Say the last word to every phone and stop."""
        if self._thread.is_alive():
            self._call(self._end, text)
            self._thread.join(GOODBYE_S + STUCK_S)

    def _call(self, work: Callable[[P], object], argument: P) -> None:
        with contextlib.suppress(RuntimeError):  # closed meanwhile
            self._loop.call_soon_threadsafe(work, argument)

    # --- in the page's own thread -----------------------------------------------------------

    def _work(self) -> None:
        try:
            # It ends what is left of a phone that was cut off, before it closes the loop.
            with asyncio.Runner(loop_factory=lambda: self._loop) as runner:
                runner.run(self._serve())
        finally:
            self._ready.set()

    async def _serve(self) -> None:
        self._stop = asyncio.Event()
        app = web.Application(client_max_size=LONGEST_FRAME)
        app.router.add_route("*", "/{path:.*}", self._answer)
        if self.site is not None:
            self.site.set_up(app)
        # What strangers send wrong is theirs to look at, not the terminal's.
        quiet = logging.getLogger("rig.page.quiet")
        quiet.disabled = True
        runner = web.AppRunner(
            app, access_log=None, logger=quiet, shutdown_timeout=GOODBYE_S, keepalive_timeout=15.0
        )
        await runner.setup()
        assert runner.server is not None
        self.gate = Gate(runner.server)
        listening = await self._loop.create_server(
            self.gate, sock=self._listening, ssl=None if self._link is None else self._link.context
        )
        ticking = asyncio.create_task(self._tick())
        self._ready.set()
        await self._stop.wait()
        ticking.cancel()
        await asyncio.sleep(0.2)  # the last word is on its way
        closing = [phone.socket.close(code=1000, message=b"ended") for phone in self._phones]
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(asyncio.gather(*closing, return_exceptions=True), GOODBYE_S)
        listening.close()
        await runner.cleanup()

    async def _tick(self) -> None:
        beat_s = self._loop.time()
        while True:
            await asyncio.sleep(TICK_S)
            if self._scene is not None:
                self._spread(self._scene.tick(self._loop.time()))
            if self._loop.time() - beat_s >= BEAT_S:
                beat_s = self._loop.time()
                self._spread({"me"})

    def _begin(self, scene: Scene) -> None:
        if self.moves is not None:
            scene.practise()
        self._scene = scene
        self._spread(scene.sections.names)

    def _hear(self, event: Event) -> None:
        if self._scene is None:
            return
        try:
            self._spread(self._scene.hear(event, self._loop.time()))
        except Exception as error:  # whatever the page cannot show, the session goes on
            print(f"rig: the page cannot show {event.event}: {error!r}", file=sys.stderr)

    def _show_hand(self, told: Moved) -> None:
        if self._scene is not None:
            self._spread(self._scene.move(told))

    def _change(self, work: Callable[[Scene], set[str]]) -> None:
        if self._scene is not None:
            self._spread(work(self._scene))

    def _pass_on(self, told: tuple[str, str | None]) -> bool:
        """Pass an act on to the session; whether there is one."""
        session = self._session
        if session is None:
            return False
        with contextlib.suppress(RuntimeError):  # it has ended meanwhile
            session[0].call_soon_threadsafe(session[1].put_nowait, told)
        return True

    def _end(self, text: str) -> None:
        if self._scene is not None:
            self._scene.sections.ended = Text(text=text)
        self._spread({"ended"})
        assert self._stop is not None
        self._stop.set()

    def _spread(self, changed: set[str]) -> None:
        if changed:
            for phone in self._phones:
                phone.dirty |= changed
                phone.wake.set()

    # --- requests ---------------------------------------------------------------------------

    async def _answer(self, request: web.Request) -> web.StreamResponse:
        with speaking(tongue_of(request)):
            return await self._answer_in_words(request)

    async def _answer_in_words(self, request: web.Request) -> web.StreamResponse:
        refusal = self._refusal(request)
        if refusal:
            return plain(403, refusal)
        _, slash, path = request.path.lstrip("/").partition("/")
        site = self.site
        asked = path.removeprefix(SESSION) if site else path
        if asked == "live":
            if site is not None and not site.admits(request):
                return plain(403, say("Come in first."))
            return await self._live(request)
        if self._link is not None and path == AUTHORITY:
            return web.Response(body=self._link.authority, headers=HEADERS | AUTHORITY_HEADERS)
        if path == SESSION and self._scene is None:
            return web.Response(status=303, headers={"Location": f"/{self._key}/"})
        if site is not None and slash and asked not in self._files and path != SESSION:
            return await self._from_site(site, request, path, asked)
        return self._file(request, asked, bool(slash))

    async def _from_site(
        self, site: "Pages", request: web.Request, path: str, asked: str
    ) -> web.StreamResponse:
        if asked == "alive":
            return plain(200, "yes")
        if request.method not in ("GET", "HEAD", "POST"):
            return plain(405, say("Only GET and POST."))
        if site.admits(request):
            self.gate.live(request.transport)  # whoever is in may wait as long as it takes
        response = await site.answer(request, path, f"/{self._key}/")
        response.headers.update(HEADERS | SITE_HEADERS)
        allowed = policy(request.headers["Host"], "'self'")
        response.headers.setdefault("Content-Security-Policy", allowed)
        return response

    def _file(self, request: web.Request, asked: str, slash: bool) -> web.Response:
        if request.method not in ("GET", "HEAD"):
            return plain(405, say("Only GET."))
        name = asked or PAGE
        if name == "alive":
            return plain(200, "yes")
        body = live_page() if name == PAGE else self._files.get(name)
        if body is None or not slash:
            return plain(404, say("There is nothing here."))
        kept = {}
        if self.site is not None and name != PAGE:
            mark = f'"{self._marks[name]}"'
            kept = {"Cache-Control": "private, no-cache", "ETag": mark}
            if request.headers.get("If-None-Match") == mark:
                return web.Response(status=304, headers=HEADERS | kept)
        return web.Response(
            body=body,
            headers={
                **HEADERS,
                **kept,
                "Content-Type": TYPES[name.rpartition(".")[2]],
                "Content-Security-Policy": policy(request.headers["Host"]),
            },
        )

    def _refusal(self, request: web.Request) -> str:
        """Say why a request is not answered, or nothing where it may be."""
        headers = request.headers
        host, origin = headers.get("Host", ""), headers.get("Origin")
        transport = request.transport
        reached = transport.get_extra_info("sockname")[0] if transport else ""
        if not access.host_is_ours(host, reached, self._port, self._names):
            return say("This address is not ours.")
        if not access.origin_is_ours(origin, host, self._scheme) or not access.site_is_ours(
            headers.get("Sec-Fetch-Site"), headers.get("Sec-Fetch-Mode")
        ):
            return say("Another site may not ask.")
        if request.method not in ("GET", "HEAD") and self.site is not None and origin is None:
            return say("Who changes something must say from where: another site may not ask.")
        if not access.same_key(request.path.lstrip("/").partition("/")[0], self._key):
            return say("The key is missing or old: open the address that the terminal shows now.")
        return ""

    async def _live(self, request: web.Request) -> web.StreamResponse:
        if len(self._phones) >= MOST_PHONES:
            return plain(503, say("Too many phones are watching."))
        ws = web.WebSocketResponse(max_msg_size=LONGEST_FRAME, compress=False)
        if not ws.can_prepare(request):
            return plain(400, say("Only a WebSocket."))
        await ws.prepare(request)
        self.gate.live(request.transport)
        phone = _Phone(ws, request.transport, tongue_of(request))
        self._phones.add(phone)
        sender = asyncio.create_task(self._send(phone))
        try:
            async for message in ws:
                if message.type in (WSMsgType.TEXT, WSMsgType.BINARY):
                    self._take(phone, message.data)
        finally:
            sender.cancel()
            self._phones.discard(phone)
            if phone.name:
                self._turn.go(phone.name, self._loop.time())
                self._spread({"me"})
        return ws

    async def _send(self, phone: _Phone) -> None:
        """Send a phone what it lacks, as often as it can take it."""
        while True:
            await phone.wake.wait()
            phone.wake.clear()
            scene, now_s = self._scene, self._loop.time()
            state = {} if scene is None else scene.sections.told(phone.dirty)
            state |= {name: all_on_phone(state[name]) for name in SENTENCES if name in state}
            me = {}
            if "me" in phone.dirty and phone.name:
                acts = self._turn.acts(phone.name, now_s)
                me = {"me": {"acts": acts, "phones": self._turn.phones}}
            refused = {"refused": phone.told[-1]} if phone.told else {}
            with speaking(phone.tongue):
                told = shown_in({"state": state, **me, **refused})
            phone.told = []
            phone.dirty.clear()
            try:
                await asyncio.wait_for(phone.socket.send_str(json.dumps(told)), STUCK_S)
            except (TimeoutError, ConnectionError, RuntimeError):
                if phone.transport is not None:
                    phone.transport.abort()  # too slow, or gone: it comes back by itself
                return
            await asyncio.sleep(THIN_S)

    def _take(self, phone: _Phone, data: str | bytes) -> None:
        """Do what a phone asks for, or tell it why not."""
        now_s = self._loop.time()
        said = phone.said_s
        try:
            if len(said) == MOST_A_SECOND and now_s - said[0] < 1.0:
                raise messages.Refused(say("Too many messages: slower, please."))
            said.append(now_s)
            self._follow(phone, messages.parse(data), now_s)
        except messages.Refused as refused:
            phone.told.append(refused.args[0])
            phone.wake.set()

    def _follow(self, phone: _Phone, message: messages.Message, now_s: float) -> None:
        if isinstance(message, messages.Hello):
            if phone.name:
                raise messages.Refused(say("You have said hello already."))
            phone.name = message.phone
            self._turn.come(phone.name, now_s)
            self._came.set()
            if self._scene is not None:
                phone.dirty |= self._scene.sections.names
            self._spread({"me"})
            return
        if not phone.name:
            raise messages.Refused(say("Say hello first."))
        if self._scene is None or (not self._scene.acts and self.moves is None):
            raise messages.Refused(say("This page only watches."))
        if isinstance(message, messages.Take):
            self._turn.take(phone.name)
            self._spread({"me"})
            return
        if not self._turn.acts(phone.name, now_s):
            raise messages.Refused(say("Another phone acts at present. Take over first."))
        if isinstance(message, messages.Move):
            if self.moves is None:
                raise messages.Refused(say("The rod is a real one: move it by hand."))
            self.moves(message.told)
            self._spread(self._scene.move(message.told))
            return
        if isinstance(message, messages.Line):
            self._type(message.text, phone.tongue)
            return
        if message.name not in self._scene.acts:
            raise messages.Refused(say("There is no {name} here.", name=message.name))
        if not self._pass_on((message.name, message.argument)):
            raise messages.Refused(say("Nothing is going on at present."))

    def _type(self, line: str, tongue: Tongue) -> None:
        sections = None if self._scene is None else self._scene.sections
        if self._typing is None or sections is None or sections.typing is None:
            raise messages.Refused(say("Nothing is typed here: the rod reads by itself."))
        line = messages.pointed_line(line, tongue, sections.typing.unit or sections.job.units)
        loop, lines = self._typing
        with contextlib.suppress(RuntimeError):  # it has ended meanwhile
            loop.call_soon_threadsafe(lines.put_nowait, line)
