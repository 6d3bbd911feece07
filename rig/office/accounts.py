"""Who may look at an office's page: an account each, made by an invitation.

The folder holds names and hashes alone. A password is 160 random bits that nobody chose, so one
round of SHA-256 is enough: there is nothing to guess it from.
"""

import hashlib
import json
import re
import secrets
from dataclasses import dataclass
from pathlib import Path

from rig.devices.site import kept_secret
from rig.errors import BadInput
from rig.words import office as words

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,31}")
_FILE = "accounts.json"
_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Invitation:
    """A name and its password, told once."""

    name: str
    password: str

    def as_text(self) -> str:
        """Return it as its file and its code to scan hold it."""
        return f"name: {self.name}\npassword: {self.password}\n"


class Accounts:
    """The accounts that a folder holds.

    Parameters
    ----------
    folder : Path
    """

    def __init__(self, folder: Path) -> None:
        self._file = folder / _FILE

    def names(self) -> list[str]:
        """Return who is let in."""
        return sorted(self._read())

    def invite(self, name: str) -> Invitation:
        """Make an account, or a new password for the one there is.

        Raises
        ------
        BadInput
            The name is none, or the folder cannot be written.
        """
        if not _NAME.fullmatch(name):
            raise BadInput(words.no_account_name(name[:40]))
        made = Invitation(name, secrets.token_urlsafe(20))
        self._write(self._read() | {name: _hash(made.password)})
        return made

    def withdraw(self, name: str) -> None:
        """Let somebody in no more, from the next request on.

        Raises
        ------
        BadInput
            There is no such account.
        """
        there = self._read()
        if there.pop(name, None) is None:
            raise BadInput(words.no_such_account(name[:40]))
        self._write(there)

    def mark_of(self, name: str, password: str) -> str | None:
        """Return what stands for a name with its password, None where they do not go together."""
        kept = self._read().get(name[:_LONGEST], "")
        same = secrets.compare_digest(_hash(password[:_LONGEST]), kept)
        return kept if same and kept else None

    def is_still(self, name: str, mark: str) -> bool:
        """Tell whether an account is as it was when it was let in."""
        return secrets.compare_digest(self._read().get(name, ""), mark)

    def _read(self) -> dict[str, str]:
        try:
            told = json.loads(self._file.read_text("utf-8"))
        except FileNotFoundError:
            return {}
        except (OSError, ValueError) as error:
            raise BadInput(words.accounts_unreadable(str(self._file))) from error
        if not isinstance(told, dict):
            raise BadInput(words.accounts_unreadable(str(self._file)))
        return {str(name): str(kept) for name, kept in told.items()}

    def _write(self, told: dict[str, str]) -> None:
        try:
            self._file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            kept_secret(self._file, json.dumps(told, indent=1) + "\n")
        except OSError as error:
            raise BadInput(words.accounts_unreadable(str(self._file))) from error


def _hash(password: str) -> str:
    return hashlib.sha256(password.encode("utf-8", "replace")).hexdigest()
