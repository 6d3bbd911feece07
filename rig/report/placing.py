"""Where figures and pictures stand among the words of a sheet, and how large they are."""

from collections.abc import Sequence

from rig.report.document import Block, Figure, Photo, Words

BESIDE_SHARE = 0.52  # of the width between margins: a figure no wider stands beside words


def figure_first(blocks: Sequence[Block], width: float) -> list[Block]:
    """Blocks with a narrow figure right after what leads the section, so that words stand by it."""
    rest = list(blocks)
    narrow = [
        one
        for one in rest
        if isinstance(one, Figure) and one.drawing.width_mm <= BESIDE_SHARE * width
    ]
    if not narrow:
        return rest
    rest.remove(narrow[0])
    lead = 0
    while lead < len(rest):
        one = rest[lead]
        if not isinstance(one, Words) or one.tone in ("plain", "small"):
            break
        lead += 1
    return [*rest[:lead], narrow[0], *rest[lead:]]


def picture_size(item: Figure | Photo, column: float, high: float) -> tuple[float, float]:
    """Width and height of a figure as drawn, or of a picture that fits a column, in mm."""
    if isinstance(item, Photo):
        return within(item, column, high)
    return item.drawing.width_mm, item.drawing.height_mm


def within(picture: Photo, wide: float, high: float) -> tuple[float, float]:
    """Width and height of a picture made as large as has room in so many mm."""
    scale = min(wide / picture.width_px, high / picture.height_px)
    return picture.width_px * scale, picture.height_px * scale
