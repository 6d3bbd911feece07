"""The link of a rod's box or a session to the broker of its place: MQTT 5 over TLS.

A link keeps itself: it comes back within seconds of a broker that was killed, and tells when it
went and came. What it is for is in the modules that use it; topics are named here.
"""

import asyncio
import contextlib
import os
import secrets
import socket
import ssl
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, cast
from urllib.parse import urlsplit

from rig.errors import BadInput, DeviceUnavailable
from rig.language import put, say
from rig.record import Record

if TYPE_CHECKING:
    from paho.mqtt.client import Client, MQTTMessage
    from paho.mqtt.properties import Properties

ROOT = "rig/1"
NOBODY = "-"
"""Stands for a job while a box has none."""
Role = Literal["rod", "phone", "session"]
CONNECT_S = 10.0
AGAIN_S = (0.1, 0.3, 1.0)
"""How long to wait before the first, the second and every further try."""
KEEPALIVE_S = 10
KEPT_S = 5
"""For so long a broker keeps what is on its way to one whose link is down."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Account(Record):
    """What an invitation holds: where the broker is, how it is known, and who one is there.

    Attributes
    ----------
    url : str
        ``mqtts://HOST:PORT``.
    name : str
        Of the account; a rod's is the rod's.
    role : {"rod", "phone", "session"}
    password, certificate : str
        The certificate is that of the site's own authority, PEM.
    """

    url: str
    name: str
    role: Role
    password: str = field(repr=False)
    certificate: str = field(repr=False)

    @property
    def host(self) -> str:
        """Name or address of the broker."""
        return urlsplit(self.url).hostname or ""

    @property
    def port(self) -> int:
        """Its port."""
        return urlsplit(self.url).port or 8883

    def as_text(self) -> str:
        """Return the invitation as its file holds it."""
        return (
            f"# Lets {self.name} into a floor-rig site. Whoever has this file is let in.\n"
            f'url = "{self.url}"\nname = "{self.name}"\nrole = "{self.role}"\n'
            f'password = "{self.password}"\ncertificate = """\n{self.certificate}"""\n'
        )


def read_account(path: Path) -> Account:
    """Read an invitation.

    Raises
    ------
    BadInput
        Where it is none.
    """
    from rig.record import from_json

    try:
        account = from_json(Account, tomllib.loads(path.read_text(encoding="utf-8")))
        where = urlsplit(account.url)
        if where.scheme != "mqtts" or not account.host or account.port < 1 or "@" in where.netloc:
            raise ValueError("its url is not mqtts://HOST:PORT")
    except FileNotFoundError:
        raise BadInput(
            say("There is no file {path}: rig site invite NAME makes one.", path=path)
        ) from None
    except OSError as error:
        raise BadInput(
            say("{path} cannot be read: {reason}.", path=path, reason=error.strerror)
        ) from None
    except ValueError:
        raise BadInput(
            say("{path} is no invitation to a site: rig site invite NAME makes one.", path=path)
        ) from None
    return account


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """What came: a topic's levels after the root, the bytes, and what was said beside them."""

    topic: tuple[str, ...]
    payload: bytes
    said: Mapping[str, str]
    retained: bool = False
    answer_to: str = ""
    ticket: bytes = b""


@dataclass(frozen=True, slots=True, kw_only=True)
class Will:
    """What the broker says of one whose link breaks."""

    topic: str
    payload: bytes


class Said:
    """What is said beside a message, as MQTT 5 packs it (its sections 2.2.2 and 3.3.2.3).

    Stands in for the client's own record of it, which takes longer to make than the message to
    send; the client asks it for `pack` alone.
    """

    def __init__(
        self, expires_s: int | None, said: Mapping[str, str], answer_to: str, ticket: bytes
    ) -> None:
        parts = [] if expires_s is None else [b"\x02" + expires_s.to_bytes(4, "big")]
        if answer_to:
            parts.append(b"\x08" + _sized(answer_to.encode()))
        if ticket:
            parts.append(b"\x09" + _sized(ticket))
        parts += [
            b"\x26" + _sized(name.encode()) + _sized(one.encode()) for name, one in said.items()
        ]
        self._packed = b"".join(parts)

    def pack(self) -> bytes:
        """Return it with its length before it, seven bits a byte, the lowest first."""
        left, size = len(self._packed), bytearray()
        while True:
            left, low = divmod(left, 128)
            size.append(low | (0x80 if left else 0))
            if not left:
                return bytes(size) + self._packed


def _sized(data: bytes) -> bytes:
    return len(data).to_bytes(2, "big") + data


class Link:
    """A link to a broker, in the event loop that opens it.

    Parameters
    ----------
    account : Account
    hear : callable
        Takes each `Message`, in the loop.
    will : Will, optional
    came, went : callable
        Called in the loop whenever the link is there, the first time too, and when it is gone.
    """

    def __init__(
        self,
        account: Account,
        hear: Callable[[Message], None],
        *,
        will: Will | None = None,
        came: Callable[[], None] = lambda: None,
        went: Callable[[], None] = lambda: None,
    ) -> None:
        self._account, self._hear, self._will = account, hear, will
        self._came, self._went = came, went
        self._topics: dict[str, int] = {}
        self._up = asyncio.Event()
        self._down = asyncio.Event()
        self._refused: str | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self._loop = asyncio.get_running_loop()
        self._client = self._made()

    @property
    def is_up(self) -> bool:
        """Whether the broker is there."""
        return self._up.is_set()

    async def open(self) -> None:
        """Reach the broker; from then on the link keeps itself.

        Raises
        ------
        DeviceUnavailable
            Where there is none, or it does not let us in.
        """
        await self._connect()
        self._tasks = [asyncio.create_task(one()) for one in (self._keep, self._look_after)]

    async def close(self) -> None:
        """Say goodbye, so that no will is told."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        if self.is_up:
            await asyncio.sleep(0.02)  # what was told last is on its way
            self._client.disconnect()
        self._let_go()

    def subscribe(self, *topics: str, qos: int = 1) -> None:
        """Ask for topics, given without the root, now and after every return."""
        for topic in topics:
            self._topics[topic] = qos
        if self.is_up:
            self._client.subscribe([(f"{ROOT}/{topic}", self._options(qos)) for topic in topics])

    def tell(
        self,
        topic: str,
        payload: bytes,
        *,
        qos: int = 1,
        retained: bool = False,
        expires_s: int | None = None,
        said: Mapping[str, str] | None = None,
        answer_to: str = "",
        ticket: bytes = b"",
    ) -> bool:
        """Publish under the root; return False, and do nothing, while there is no link."""
        if not self.is_up:
            return False
        told = Said(expires_s, said or {}, f"{ROOT}/{answer_to}" if answer_to else "", ticket)
        self._client.publish(f"{ROOT}/{topic}", payload, qos, retained, cast("Properties", told))
        if self._client.want_write():
            self._client.loop_write()  # at once: a prompt does not wait for its turn
        return True

    # --- the client -------------------------------------------------------------------------

    def _made(self) -> "Client":
        try:
            from paho.mqtt.client import Client, MQTTv5
            from paho.mqtt.enums import CallbackAPIVersion
        except ModuleNotFoundError:
            raise BadInput(
                say(
                    "What several rods need is not installed: bash tools/setup site, or pip "
                    "install floor-rig[site]."
                )
            ) from None
        account = self._account
        own = f"{account.name}-{secrets.token_hex(4)}"
        client = Client(CallbackAPIVersion.VERSION2, own, protocol=MQTTv5)
        client.username_pw_set(account.name, account.password)
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        context.minimum_version = ssl.TLSVersion.TLSv1_3
        try:
            context.load_verify_locations(cadata=account.certificate)
        except (ssl.SSLError, ValueError):
            raise BadInput(say("The invitation's certificate is damaged: invite anew.")) from None
        client.tls_set_context(context)
        client.max_inflight_messages_set(200)
        client.connect_timeout = CONNECT_S
        if self._will is not None:
            topic, payload = f"{ROOT}/{self._will.topic}", self._will.payload
            client.will_set(topic, payload, 1, retain=True)
        client.on_connect = self._on_connect
        client.on_disconnect = lambda *_: self._gone()
        client.on_message = self._on_message
        client.on_socket_open = self._on_socket_open
        client.on_socket_close = self._on_socket_close
        client.on_socket_register_write = self._on_wants_write
        client.on_socket_unregister_write = self._on_wrote
        return client

    @staticmethod
    def _properties(packet: str) -> "Properties":
        from paho.mqtt.packettypes import PacketTypes
        from paho.mqtt.properties import Properties

        return Properties(getattr(PacketTypes, packet))  # type: ignore[no-untyped-call]

    @staticmethod
    def _options(qos: int) -> Any:
        from paho.mqtt.subscribeoptions import SubscribeOptions

        return SubscribeOptions(qos=qos)

    async def _connect(self) -> None:
        account, told = self._account, self._properties("CONNECT")
        told.SessionExpiryInterval = KEPT_S
        self._refused = None
        self._down.clear()
        where = {"host": account.host, "port": put(str(account.port))}
        try:
            await self._loop.run_in_executor(
                None,
                lambda: self._client.connect(
                    account.host, account.port, KEEPALIVE_S, properties=told, clean_start=False
                ),
            )
            await asyncio.wait_for(self._up_or_down(), CONNECT_S)
        except ssl.SSLCertVerificationError:
            raise DeviceUnavailable(
                say(
                    "What answers at {host}, port {port}, is not the site that this invitation is "
                    "for, or its address has changed: invite anew there.",
                    **where,
                )
            ) from None
        except (OSError, ValueError) as error:
            why = getattr(error, "strerror", None) or str(error) or type(error).__name__
            raise DeviceUnavailable(
                say(
                    "There is no link to the site at {host}, port {port} ({why}): is rig site up "
                    "running there?",
                    why=why,
                    **where,
                )
            ) from None
        if self._refused is not None:
            raise DeviceUnavailable(
                say(
                    "The site at {host}, port {port}, does not let {name} in ({why}): ask for a "
                    "new invitation, rig site invite.",
                    name=account.name,
                    why=self._refused,
                    **where,
                )
            )
        if not self.is_up:
            raise DeviceUnavailable(
                say("The site at {host}, port {port}, hung up at once; try again.", **where)
            )

    async def _up_or_down(self) -> None:
        waits = [asyncio.create_task(one.wait()) for one in (self._up, self._down)]
        try:
            await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for one in waits:
                one.cancel()

    async def _keep(self) -> None:
        """Come back whenever the link is gone."""
        while True:
            await self._down.wait()
            tries = 0
            while not self.is_up:
                await asyncio.sleep(AGAIN_S[min(tries, len(AGAIN_S) - 1)])
                tries += 1
                self._let_go()
                with contextlib.suppress(DeviceUnavailable):
                    await self._connect()

    async def _look_after(self) -> None:
        """Let the client send and expect its signs of life."""
        while True:
            await asyncio.sleep(1.0)
            if self.is_up:
                self._client.loop_misc()

    def _let_go(self) -> None:
        """Drop what is left of a socket."""
        self._client._sock_close()

    # --- callbacks --------------------------------------------------------------------------

    def _on_connect(self, client: "Client", _: Any, flags: Any, reason: Any, told: Any) -> None:
        if reason.is_failure:
            self._refused = str(reason).lower()
            self._down.set()
            return
        if self._topics:
            client.subscribe(
                [(f"{ROOT}/{topic}", self._options(qos)) for topic, qos in self._topics.items()]
            )
        self._up.set()
        self._came()

    def _gone(self) -> None:
        was_up = self.is_up
        self._up.clear()
        self._down.set()
        if was_up:
            self._went()

    def _on_message(self, _: "Client", __: Any, message: "MQTTMessage") -> None:
        topic = message.topic
        told = message.properties
        self._hear(
            Message(
                topic=tuple(topic.split("/")[2:]),
                payload=bytes(message.payload),
                said=dict(getattr(told, "UserProperty", ())),
                retained=message.retain,
                answer_to=getattr(told, "ResponseTopic", "").removeprefix(f"{ROOT}/"),
                ticket=getattr(told, "CorrelationData", b""),
            )
        )

    def _on_socket_open(self, client: "Client", _: Any, opened: Any) -> None:
        # Else what is small waits for the answer to what went before (RFC 896).
        with contextlib.suppress(OSError):
            opened.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._loop.call_soon_threadsafe(self._read_from, client, opened)

    def _read_from(self, client: Any, opened: Any) -> None:
        if client.socket() is opened and opened.fileno() >= 0:
            self._loop.add_reader(opened.fileno(), self._read, client, opened)

    def _read(self, client: Any, opened: Any) -> None:
        client.loop_read()
        while client.socket() is opened and opened.pending():
            client.loop_read()

    def _on_socket_close(self, _: "Client", __: Any, closed: Any) -> None:
        number = closed.fileno()
        if number >= 0:
            self._loop.remove_reader(number)
            self._loop.remove_writer(number)

    def _on_wants_write(self, client: "Client", _: Any, opened: Any) -> None:
        self._loop.call_soon_threadsafe(self._write_to, client, opened)

    def _write_to(self, client: Any, opened: Any) -> None:
        if client.socket() is opened and opened.fileno() >= 0:
            self._loop.add_writer(opened.fileno(), client.loop_write)

    def _on_wrote(self, _: "Client", __: Any, opened: Any) -> None:
        if opened.fileno() >= 0:
            self._loop.call_soon_threadsafe(self._loop.remove_writer, opened.fileno())


def kept_secret(path: Path, text: str) -> None:
    """Write a file that only its owner may read, whole or not at all."""
    temporary = path.with_name(f".{path.name}.{os.getpid()}")
    with open(os.open(temporary, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600), "w") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    os.replace(temporary, path)
