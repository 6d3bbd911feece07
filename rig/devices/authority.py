"""A certificate authority of this machine's own, and what it certifies; its key stays here."""

import datetime
import os
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from rig.errors import BadInput
from rig.language import say

if TYPE_CHECKING:
    import trustme

OURS = "floor-rig on this machine"
DAYS = 397
"""Phones take no certificate of a server that lasts longer (CA/Browser Forum, from memory)."""


def authority_in(folder: Path) -> "trustme.CA":
    """Return the authority that a folder keeps, made once.

    Raises
    ------
    BadInput
        Where it cannot be kept or read.
    """
    import trustme

    kept = folder / "authority.pem"
    try:
        if kept.exists():
            pem = kept.read_bytes()
            return trustme.CA.from_pem(pem, pem)
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
    return authority


def certified(
    authority: "trustme.CA", names: Iterable[str], now_utc_s: float
) -> "trustme.LeafCert":
    """Return a certificate, with its key, for the names and addresses of this machine."""
    now = datetime.datetime.fromtimestamp(now_utc_s, datetime.UTC)
    return authority.issue_cert(
        *sorted(set(names)),
        not_before=now - datetime.timedelta(days=1),
        not_after=now + datetime.timedelta(days=DAYS - 1),
    )
