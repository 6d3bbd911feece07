"""An encrypted link by a certificate authority of this machine's own, kept among the user's data.

A phone that trusts it once trusts the page at every start; its key never leaves this machine.
"""

import datetime
import os
import ssl
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from rig.errors import BadInput
from rig.language import say

OURS = "floor-rig on this machine"
DAYS = 397
"""Phones take no certificate of a server that lasts longer (CA/Browser Forum, from memory)."""


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
    import trustme

    kept = folder / "authority.pem"
    try:
        if kept.exists():
            pem = kept.read_bytes()
            authority = trustme.CA.from_pem(pem, pem)
        else:
            authority = trustme.CA(organization_name=OURS)
            folder.mkdir(parents=True, exist_ok=True)
            with open(os.open(kept, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "wb") as file:
                file.write(authority.private_key_pem.bytes() + authority.cert_pem.bytes())
                file.flush()
                os.fsync(file.fileno())
    except (OSError, ValueError, IndexError) as error:
        raise BadInput(
            say(
                "{kept} cannot be used for an encrypted link: {error}. Move it away, and "
                "another is made, which each phone must then be told to trust.",
                kept=kept,
                error=error,
            )
        ) from None
    now = datetime.datetime.fromtimestamp(now_utc_s, datetime.UTC)
    leaf = authority.issue_cert(
        *sorted(set(names)),
        not_before=now - datetime.timedelta(days=1),
        not_after=now + datetime.timedelta(days=DAYS - 1),
    )
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    leaf.configure_cert(context)
    return Link(context, authority.cert_pem.bytes())
