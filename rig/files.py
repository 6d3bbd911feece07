"""Reads a file that people give, within bounds, and writes one whole or not at all.

What is written stands beside its place first, then goes there by its name.
"""

import contextlib
import os
import secrets
from pathlib import Path

from rig.errors import BadInput
from rig.language import put, say


def read_whole(path: str | os.PathLike[str], most_bytes: int, too_large: str) -> bytes:
    """Return all that a file holds.

    Parameters
    ----------
    path : path
    most_bytes : int
        Of a larger file no more than this is read.
    too_large : str
        What is said of such a one after its name: "is too large to be a report."

    Raises
    ------
    BadInput
        There is none, it cannot be read, or it is larger.
    """
    try:
        with open(path, "rb") as file:
            data = file.read(most_bytes + 1)
    except FileNotFoundError:
        raise BadInput(say("There is no file {path}.", path=path)) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise BadInput(say("{path} cannot be read: {reason}.", path=path, reason=reason)) from None
    if len(data) > most_bytes:
        raise BadInput(put("{path} {too_large}", path=path, too_large=too_large))
    return data


def write_whole(path: Path, content: str | bytes) -> None:
    """Put a file in its place once all of it is on the disk; one that was there stays until then.

    Parameters
    ----------
    path : Path
        Where it shall be.
    content : str or bytes
        A text is written as UTF-8.

    Raises
    ------
    BadInput
        Where it cannot be written; what was there is as it was.
    """
    data = content.encode() if isinstance(content, str) else content
    draft = path.with_name(f".{path.name[:80]}.{secrets.token_hex(4)}.new")
    try:
        with open(draft, "xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(draft, path)
    except OSError as error:
        with contextlib.suppress(OSError):
            draft.unlink()
        raise BadInput(
            say(
                "{path} cannot be written: {strerror}. What was there is as it was.",
                path=path,
                strerror=error.strerror,
            )
        ) from error
