"""The door of the office's pages: who came in by name and password, and until when.

Whoever is in has a cookie that stands for them here alone; name and password come in a form's body
and go nowhere. An account that was withdrawn or invited anew is out at its next request.
"""

import secrets
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from aiohttp import web

if TYPE_CHECKING:
    from rig.office.accounts import Accounts

IN, OUT = "in", "out"
COOKIE = "office"
STAYS_S = 12 * 3600.0
_MOST = 1000


class _Guest(NamedTuple):
    name: str
    mark: str
    until_s: float


class Door:
    """Lets people in by their accounts.

    Parameters
    ----------
    accounts : Accounts
    clock_s : callable
        Seconds, never backwards.
    """

    def __init__(self, accounts: "Accounts", clock_s: Callable[[], float] = time.monotonic) -> None:
        self._accounts, self._clock_s = accounts, clock_s
        self._guests: dict[str, _Guest] = {}

    def name_of(self, request: web.Request) -> str | None:
        """Return who asks, None where nobody that was let in."""
        token = request.cookies.get(COOKIE, "")
        guest = self._guests.get(token)
        if guest is None:
            return None
        if self._clock_s() >= guest.until_s or not self._accounts.is_still(guest.name, guest.mark):
            del self._guests[token]
            return None
        return guest.name

    def come_in(self, name: str, password: str) -> str | None:
        """Return a token where name and password go together."""
        mark = self._accounts.mark_of(name.strip(), password.strip())
        if mark is None:
            return None
        now_s = self._clock_s()
        self._guests = {t: one for t, one in self._guests.items() if one.until_s > now_s}
        while len(self._guests) >= _MOST:
            del self._guests[next(iter(self._guests))]
        token = secrets.token_urlsafe(24)
        self._guests[token] = _Guest(name.strip(), mark, now_s + STAYS_S)
        return token

    def leave(self, request: web.Request) -> None:
        """Forget whoever asks."""
        self._guests.pop(request.cookies.get(COOKIE, ""), None)


def with_cookie(response: web.Response, token: str, root: str, *, secure: bool) -> web.Response:
    """Give somebody the cookie that they were let in with; an empty one takes it away."""
    response.set_cookie(
        COOKIE,
        token,
        path=root,
        max_age=int(STAYS_S) if token else 0,
        httponly=True,
        secure=secure,
        samesite="Lax",
    )
    return response
