"""Where the page listens, by which names it is known, and the files that it hands out."""

import os
import socket
from importlib import resources

from rig.errors import BadInput
from rig.language import say

TYPES = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "png": "image/png",
    "webmanifest": "application/manifest+json",
}
EVERYWHERE = ("", "0.0.0.0", "::")


def static_files() -> dict[str, bytes]:
    """Return the files that are handed out as they are, by name."""
    folder = resources.files("rig.page") / "static"
    return {
        file.name: file.read_bytes()
        for file in folder.iterdir()
        if file.name.rpartition(".")[2] in TYPES
    }


def listen(host: str, port: int) -> socket.socket:
    """Return a socket that listens.

    Raises
    ------
    BadInput
        When the port is taken or the host is none of this machine's.
    """
    try:
        found = socket.getaddrinfo(
            host or None, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )
    except (OSError, UnicodeError):
        raise BadInput(
            say("--host {host} is no address: give one of this machine's.", host=host)
        ) from None
    family, kind, protocol, _, address = found[0]
    listening = socket.socket(family, kind, protocol)
    if os.name == "posix":
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(address)
        listening.listen(64)
    except OSError as error:
        listening.close()
        raise BadInput(_why_not(error, host, port)) from None
    listening.setblocking(False)
    return listening


def _why_not(error: OSError, host: str, port: int) -> str:
    import errno

    if error.errno == errno.EADDRINUSE:
        return say(
            "Port {port} is taken by another program: leave --port out for a free one.", port=port
        )
    if error.errno == errno.EADDRNOTAVAIL:
        return say(
            "--host {host} is none of this machine's addresses: leave it out for this "
            "machine alone, or give 0.0.0.0 for every network it is in.",
            host=host,
        )
    if error.errno == errno.EACCES:
        return say(
            "Port {port} is not ours to open: give one above 1023, or leave --port out.", port=port
        )
    return say(
        "The page cannot be served at {host}, port {port}: {strerror}.",
        host=host,
        port=port,
        strerror=error.strerror,
    )


def names_of(host: str) -> frozenset[str]:
    """Names other than addresses under which the page may be asked for."""
    own = socket.gethostname().lower()
    names = {own, f"{own}.local"}
    if host in EVERYWHERE or host in ("127.0.0.1", "::1", "localhost"):
        names.add("localhost")
    return frozenset({*names, host.lower()} - set(EVERYWHERE))


def shown_host(host: str) -> str:
    """The address to show: where every network is served, the one that leads outside."""
    if host not in EVERYWHERE:
        return host
    family = socket.AF_INET6 if host == "::" else socket.AF_INET
    with socket.socket(family, socket.SOCK_DGRAM) as probe:
        try:
            # No packet is sent: this only asks which address would be used (RFC 5737, 3849).
            probe.connect(("2001:db8::1" if host == "::" else "192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return socket.gethostname()
