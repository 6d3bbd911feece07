"""An encrypted link by a certificate authority of this machine's own, kept among the user's data.

A phone that trusts it once trusts the page at every start; its key never leaves this machine.
"""

import ssl
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from rig.devices.authority import authority_in, certified


@dataclass(frozen=True)
class Link:
    """What an encrypted link needs: the server's side, and what a phone is to trust."""

    context: ssl.SSLContext
    authority: bytes
    """The authority's certificate, PEM."""


def encrypted(folder: Path, names: Iterable[str], now_utc_s: float) -> Link:
    """Make the server's side of an encrypted link, with an authority that is made once.

    Parameters
    ----------
    folder : Path
        Where the authority is kept.
    names : iterable of str
        Names and addresses by which this machine is reached.
    now_utc_s : float

    Raises
    ------
    BadInput
        Where the authority cannot be kept or read.
    """
    authority = authority_in(folder)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    certified(authority, names, now_utc_s).configure_cert(context)
    return Link(context, authority.cert_pem.bytes())
