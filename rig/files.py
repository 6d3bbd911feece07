"""Writes a file whole or not at all: beside its place first, then by its name."""

import contextlib
import os
import secrets
from pathlib import Path

from rig.errors import BadInput


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
            f"{path} cannot be written: {error.strerror}. What was there is as it was."
        ) from error
