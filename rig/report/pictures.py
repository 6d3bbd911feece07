"""Photos and logos for paper: turned upright, made smaller, and without what a camera adds.

Place and owner that a camera writes into its files stay out of what is handed on.
"""

import io
import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from rig.errors import BadInput
from rig.files import read_whole
from rig.language import say
from rig.report.document import Photo
from rig.study.site_log import photos_of

if TYPE_CHECKING:
    from rig.job.store import Job

MOST_BYTES = 60_000_000
MOST_PIXELS = dict.fromkeys(("JPEG", "PNG", "WEBP", "GIF"), 120_000_000)
MOST_UPLOADED = {"JPEG": 50_000_000, "PNG": 16_000_000, "WEBP": 16_000_000}
"""A JPEG is read at a fraction of its size, the others are not."""
PHOTO_PX, LOGO_PX = 1400, 800
QUALITY = 82


def photo_of(path: Path, caption: str = "") -> Photo:
    """Return a photo as JPEG.

    Raises
    ------
    BadInput
        There is no such file, or it is no picture.
    """
    return _picture(path, caption, PHOTO_PX, "JPEG")


def logo_of(path: Path) -> Photo:
    """Return a logo as PNG; raises as `photo_of` does."""
    return _picture(path, "", LOGO_PX, "PNG")


def kept_logo(data: bytes | None) -> Photo | None:
    """Return a logo that was kept, or None where that is no picture any more."""
    return None if data is None else _kept(data, "image/png")


def logged_photos(job: "Job") -> tuple[Photo, ...]:
    """Return the first and the last photo that was logged on the site; fewer where there are."""
    found = all_photos(job)
    return found if len(found) < 3 else (found[0], found[-1])


def all_photos(job: "Job") -> tuple[Photo, ...]:
    """Return the photos that were logged on the site, of one room where one is looked at."""
    room = job.room
    found = []
    for entry, data in photos_of(job):
        x_mm, y_mm = entry.x_mm, entry.y_mm
        if room is None or x_mm is None or y_mm is None or room.has(x_mm, y_mm):
            photo = _kept(data, "image/jpeg", entry.text or "")
            found += [] if photo is None else [photo]
    return tuple(found)


def _kept(data: bytes, media_type: str, caption: str = "") -> Photo | None:
    from PIL import Image

    try:
        with Image.open(io.BytesIO(data)) as image:
            return Photo(data, media_type, *image.size, caption)
    except (OSError, ValueError, SyntaxError):
        return None


def uploaded_photo(data: bytes) -> Photo:
    """Return a photo that came from a phone as JPEG, whatever it was called there.

    What kind of picture it is is told by its content; fewer pixels are taken than from a file of
    this machine, since all of them stand in memory before they are made fewer.

    Raises
    ------
    BadInput
        It is no picture, or too large.
    """
    return _made(data, say("The photo"), "", PHOTO_PX, "JPEG", MOST_UPLOADED)


def uploaded_logo(data: bytes) -> Photo:
    """Return a logo that came from a phone as PNG; see `uploaded_photo`."""
    return _made(data, say("The logo"), "", LOGO_PX, "PNG", MOST_UPLOADED)


def _picture(path: Path, caption: str, most_px: int, form: str) -> Photo:
    data = read_whole(path, MOST_BYTES, say("is too large for a picture."))
    return _made(data, str(path), caption, most_px, form, MOST_PIXELS)


def _made(
    data: bytes, name: str, caption: str, most_px: int, form: str, most: Mapping[str, int]
) -> Photo:
    """Make a picture anew; `most` are the pixels that a kind of picture may have."""
    from PIL import Image, ImageOps

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            image: Image.Image = Image.open(io.BytesIO(data), formats=tuple(most))
            if image.width * image.height > most.get(image.format or "", most["JPEG"]):
                raise BadInput(
                    say("{name} has more pixels than a photo; make it smaller.", name=name)
                )
            if form == "JPEG":
                image.draft("RGB", (most_px * 2, most_px * 2))
            image = ImageOps.exif_transpose(image)
            image.thumbnail((most_px, most_px))
            image = image.convert("RGB" if form == "JPEG" else "RGBA")
    except BadInput:
        raise
    except Exception:  # decoders of pictures fail in many ways
        raise BadInput(
            say("{name} is no picture that can be read; give a JPEG or a PNG.", name=name)
        ) from None
    image.info.clear()  # a comment would be written anew
    out = io.BytesIO()
    image.save(out, form, quality=QUALITY) if form == "JPEG" else image.save(out, form)
    return Photo(out.getvalue(), f"image/{form.lower()}", image.width, image.height, caption)
