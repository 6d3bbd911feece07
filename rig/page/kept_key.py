"""The key of a folder's pages, kept beside its jobs, so that a phone need not scan again."""

import contextlib
import os
import re
import secrets
import stat
from pathlib import Path

from rig.errors import BadInput
from rig.language import say
from rig.page.access import new_key

NAME = ".key"
_KEY = re.compile(r"[A-Za-z0-9_-]{16,64}")


def kept_key(folder: Path, renew: bool = False) -> str:
    """Return the key of a folder's pages; one is made where there is none that is still secret.

    Parameters
    ----------
    folder : Path
    renew : bool
        Make a new one: no phone that knew the old one gets in any more.

    Raises
    ------
    BadInput
        Where it cannot be kept.
    """
    file = folder / NAME
    key = None if renew else _read(file)
    if key is not None:
        return key
    key = new_key()
    draft = folder / f"{NAME}.{secrets.token_hex(4)}.new"
    try:
        with open(os.open(draft, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w") as made:
            made.write(key + "\n")
            made.flush()
            os.fsync(made.fileno())
        os.replace(draft, file)
    except OSError as error:
        with contextlib.suppress(OSError):
            draft.unlink()
        raise BadInput(
            say(
                "The page's key cannot be kept in {folder}: {strerror}.",
                folder=folder,
                strerror=error.strerror,
            )
        ) from None
    return key


def _read(file: Path) -> str | None:
    """Return a key that is kept, unless others than its owner could have read or written it."""
    try:
        with open(os.open(file, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))) as kept:
            told = os.fstat(kept.fileno())
            if not stat.S_ISREG(told.st_mode) or told.st_mode & 0o077:
                return None
            text = kept.read(100).strip()
    except (OSError, UnicodeDecodeError):
        return None
    return text if _KEY.fullmatch(text) else None
