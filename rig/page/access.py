"""Who may see the page: the key in its address, and requests from the page itself only.

Pure decisions about strings; the server asks them for every request before it does anything else.
"""

import ipaddress
import secrets
from collections.abc import Iterable

KEY_BYTES = 18  # 24 characters


def new_key() -> str:
    """Make a fresh key of URL-safe characters."""
    return secrets.token_urlsafe(KEY_BYTES)


def same_key(given: str, key: str) -> bool:
    """Compare in a time that tells nothing."""
    return secrets.compare_digest(given.encode("utf-8", "replace"), key.encode())


def host_is_ours(host: str, reached: str, port: int, names: Iterable[str]) -> bool:
    """Tell whether a Host header names this server.

    A foreign name that somebody makes point here (DNS rebinding) is none of ours.

    Parameters
    ----------
    host : str
        The header, as `192.168.0.7:8080` or `[::1]:8080`.
    reached : str
        The address at which the request arrived.
    port : int
        Where the server listens.
    names : iterable of str
        Names by which this machine is known, in lower case.
    """
    name, told_port = _split(host)
    if told_port != port:
        return False
    if name in set(names):
        return True
    try:
        return _address(name) == _address(reached)
    except ValueError:
        return False


def origin_is_ours(origin: str | None, host: str, scheme: str = "http") -> bool:
    """Tell whether an Origin header, where there is one, is that of the page at this host."""
    return origin is None or origin.lower() == f"{scheme}://{host.lower()}"


def site_is_ours(fetch_site: str | None, fetch_mode: str | None) -> bool:
    """Tell from `Sec-Fetch-Site` whether the page itself asks, or a person who opens the address.

    Another page may link here, as a message with the address in it does, but fetch nothing.
    """
    return fetch_site in (None, "same-origin", "none") or fetch_mode == "navigate"


def _address(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    address = ipaddress.ip_address(text.partition("%")[0])
    if isinstance(address, ipaddress.IPv6Address) and address.ipv4_mapped:
        return address.ipv4_mapped
    return address


def _split(host: str) -> tuple[str, int]:
    name, colon, port = host.strip().lower().rpartition(":")
    if not colon or name.endswith(":") or (host.strip().endswith("]")):
        name, port = host.strip().lower(), "80"
    if not (port.isascii() and port.isdigit() and len(port) <= 5):
        return "", -1
    return name.removeprefix("[").removesuffix("]"), int(port)
