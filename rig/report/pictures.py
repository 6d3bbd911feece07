"""Photos and logos for paper: turned upright, made smaller, and without what a camera adds.

Place and owner that a camera writes into its files stay out of what is handed on.
"""

import io
import warnings
from pathlib import Path

from rig.errors import BadInput
from rig.files import read_whole
from rig.report.document import Photo

MOST_BYTES = 60_000_000
MOST_PIXELS = 120_000_000
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
    from PIL import Image

    if data is None:
        return None
    try:
        with Image.open(io.BytesIO(data)) as image:
            return Photo(data, "image/png", *image.size)
    except (OSError, ValueError, SyntaxError):
        return None


def _picture(path: Path, caption: str, most_px: int, form: str) -> Photo:
    from PIL import Image, ImageOps

    data = read_whole(path, MOST_BYTES, "is too large for a picture.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            image: Image.Image = Image.open(
                io.BytesIO(data), formats=("JPEG", "PNG", "WEBP", "GIF")
            )
            if image.width * image.height > MOST_PIXELS:
                raise BadInput(f"{path} has more pixels than a photo; make it smaller.")
            if form == "JPEG":
                image.draft("RGB", (most_px * 2, most_px * 2))
            image = ImageOps.exif_transpose(image)
            image.thumbnail((most_px, most_px))
            image = image.convert("RGB" if form == "JPEG" else "RGBA")
    except BadInput:
        raise
    except Exception:  # decoders of pictures fail in many ways
        raise BadInput(f"{path} is no picture that can be read; give a JPEG or a PNG.") from None
    out = io.BytesIO()
    image.save(out, form, quality=QUALITY) if form == "JPEG" else image.save(out, form)
    return Photo(out.getvalue(), f"image/{form.lower()}", image.width, image.height, caption)
