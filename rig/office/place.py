"""Where an office is: a folder or a store that speaks S3, and what is said when it can't be had."""

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from rig.errors import BadInput, OfficeUnavailable
from rig.words import office as words

if TYPE_CHECKING:
    from obstore.store import ObjectStore

_PATIENCE_S = 20


class Place:
    """An office's place, as it was given; it is not made.

    Raises
    ------
    OfficeUnavailable
        There is no such folder, or the store cannot be reached.
    """

    def __init__(self, given: str) -> None:
        self.given = given
        self.is_folder = "://" not in given
        if self.is_folder:
            folder = Path(given)
            if not folder.is_dir():
                raise OfficeUnavailable(words.no_office(given))
            self.url = str(folder.resolve())
        elif given.startswith("s3://"):
            self.url = given.rstrip("/")
        else:
            raise BadInput(words.no_place(given))
        with self.in_words():
            self.store = self._store()

    def _store(self) -> "ObjectStore":
        from datetime import timedelta

        from obstore.store import LocalStore, S3Store

        if self.is_folder:
            return LocalStore(self.url)
        return S3Store.from_url(
            self.url,
            client_options={"allow_http": True, "timeout": timedelta(seconds=_PATIENCE_S)},
            retry_config={"max_retries": 3, "retry_timeout": timedelta(seconds=_PATIENCE_S)},
        )

    @property
    def storage_options(self) -> dict[str, str] | None:
        """What the books' table needs beside the address; accounts come from the environment."""
        if self.is_folder:
            return None
        patience = f"{_PATIENCE_S}s"
        return {
            "AWS_ALLOW_HTTP": "true",
            "conditional_put": "etag",
            "timeout": patience,
            "max_retries": "3",
            "retry_timeout": patience,
        }

    @contextlib.contextmanager
    def in_words(self) -> Iterator[None]:
        """Turn what the store says into words for a person; no key or password is among them."""
        from obstore import exceptions as told

        try:
            yield
        except (told.UnauthenticatedError, told.PermissionDeniedError) as error:
            raise OfficeUnavailable(words.refused(self.given)) from error
        except (told.GenericError, told.NotFoundError) as error:
            raise OfficeUnavailable(words.not_reached(self.given)) from error


def place_of(given: str | None) -> Place:
    """Return the place that was given, else that of `RIG_OFFICE`.

    Raises
    ------
    BadInput
        None was given.
    """
    told = given or os.environ.get("RIG_OFFICE", "")
    if not told:
        raise BadInput(words.which_office())
    return Place(told)
