"""Makes the fonts of the PDF in `rig/report/fonts` of Liberation Sans: `tools/fonts.py FOLDER`.

FOLDER holds LiberationSans-Regular.ttf and LiberationSans-Bold.ttf (version 2, under the SIL Open
Font License 1.1), which are as wide as the fonts that every reader of PDF has. Kept are the letters
of Latin, Greek and Cyrillic and the signs of the report; the name is another, as the licence asks.
"""

import sys
from pathlib import Path

from fontTools import subset

FONTS = Path(__file__).resolve().parents[1] / "rig" / "report" / "fonts"
NAME = "Floor Rig Sans"
LETTERS = (
    *range(0x20, 0x7F), *range(0xA0, 0x250), *range(0x384, 0x3CF), *range(0x400, 0x460),
    *range(0x2009, 0x2028), *range(0x202F, 0x203B), 0x2044, 0x20AC, 0x2116, 0x2122,
    *range(0x2190, 0x2194), 0x2212, 0x2248, 0x2260, 0x2264, 0x2265, 0x25B2, 0x25BC, 0x25CF,
)  # fmt: skip


def make(source: Path, target: Path, style: str) -> None:
    """Keep the letters of a font and give it a name of its own."""
    options = subset.Options(
        hinting=False,
        layout_features=[],
        drop_tables=["GPOS", "GSUB", "GDEF", "kern", "DSIG", "FFTM"],
        name_IDs=[0, 1, 2, 3, 4, 5, 6, 13, 14],
        notdef_outline=True,
    )
    font = subset.load_font(str(source), options)
    cutter = subset.Subsetter(options)
    cutter.populate(unicodes=LETTERS)
    cutter.subset(font)
    names = {1: NAME, 3: f"{NAME} {style}", 4: f"{NAME} {style}", 6: f"FloorRigSans-{style}"}
    for record in font["name"].names:
        record.string = names.get(record.nameID, record.toUnicode())
    font.save(target)


if __name__ == "__main__":
    for style, name in (("Regular", "plain.ttf"), ("Bold", "bold.ttf")):
        make(Path(sys.argv[1]) / f"LiberationSans-{style}.ttf", FONTS / name, style)
