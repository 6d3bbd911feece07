"""What goes with every answer of the page: headers that let no other site in, and plain answers."""

from typing import TYPE_CHECKING
from urllib.parse import quote

from aiohttp import web

from rig.language import shown

if TYPE_CHECKING:
    from rig.page.visit import Served

HEADERS = {
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Server": "floor-rig",
}
AUTHORITY_HEADERS = {
    "Content-Type": "application/x-x509-ca-cert",
    "Content-Disposition": "attachment; filename=floor-rig.crt",
}
# Without it a browser leaves its origin out of a form that it sends.
SITE_HEADERS = {"Referrer-Policy": "same-origin"}

_ALONE = "default-src 'none'; style-src 'unsafe-inline'; sandbox; frame-ancestors 'none'"
"""What a file may do that is looked at: it brings its own style and does nothing."""


def policy(host: str, forms: str = "'none'") -> str:
    """Let nothing in from elsewhere.

    The socket stands there by name too, as older browsers do not take it for their own.
    """
    return (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "manifest-src 'self'; "
        f"connect-src 'self' ws://{host} wss://{host}; base-uri 'none'; form-action {forms}; "
        "frame-ancestors 'none'"
    )


def plain(status: int, text: str) -> web.Response:
    """Return an answer of one sentence."""
    headers = {**HEADERS, "Content-Security-Policy": "default-src 'none'"}
    return web.Response(status=status, text=shown(text) + "\n", headers=headers)


def served(file: "Served") -> web.Response:
    """Return a file that is handed out."""
    way = "attachment" if file.download else "inline"
    return web.Response(
        body=file.data,
        headers={
            "Content-Type": file.kind,
            "Content-Security-Policy": _ALONE,
            "Content-Disposition": f"{way}; filename*=UTF-8''{quote(file.name, safe='')}",
        },
    )
