"""What goes with every answer of the page: headers that let no other site in, and plain answers."""

from aiohttp import web

from rig.language import shown

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
