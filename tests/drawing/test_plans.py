"""Every plan: on its sheet, the door at the bottom, nothing over anything, the same in PDF."""

import io
import re
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from fpdf import FPDF
from fpdf.fonts import CORE_FONTS_CHARWIDTHS
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from rig.drawing.flatness import flatness_drawing
from rig.drawing.floor import cover_drawing, floor_drawing
from rig.drawing.frame import Frame
from rig.drawing.look import Look
from rig.drawing.palette import COLOURS
from rig.drawing.points import markers_drawing, room_drawing, walk_drawing
from rig.drawing.pour import Shares, pour_drawing
from rig.drawing.svg import to_print_svg, to_svg
from rig.drawing.vector import Drawing, Text, text_width
from rig.drawing.work import patches_drawing
from rig.language import shown, speaking
from rig.report.ink import draw
from rig.room import Outline, from_rings, room, with_door, with_opening
from rig.study.cover import CoverAt
from rig.study.floor_answer import HighPoint, LowPoint
from rig.study.patching import PatchPlace
from rig.study.pour_answer import PourBatch
from rig.study.proof_answer import Place as End
from rig.study.proof_answer import Proof, Strip, Worst
from rig.units import Units
from tests.drawing.shapes import off_the_sheet, overlapping, texts
from tests.kinds import there
from tests.language.made_up import MADE_UP, english

ROOM = with_opening(
    with_door(room(3658.0, 4572.0), 1220.0, 0.0, 914.0), 2000.0, 2000.0, 500.0, 300.0
)
ELL = with_door(
    from_rings([(0, 0), (6000, 0), (6000, 3000), (2500, 3000), (2500, 7000), (0, 7000)]),
    6000.0, 1000.0, 900.0,
)  # fmt: skip


@dataclass(frozen=True)
class Place:
    label: str
    x_mm: float
    y_mm: float
    stick_out_mm: float = 12.0
    is_set: bool = False


def surface(x: Any, y: Any) -> tuple[Any, Any]:
    z = -1200.0 + 5.0 * np.sin(x / 900.0) + 4.0 * np.cos(y / 1100.0)
    return z, 0.3 + 0.001 * np.asarray(x)


def grid(outline: Outline, nx: int = 5, ny: int = 6) -> list[Place]:
    left, low, right, high = outline.polygon.bounds
    places = [
        Place(f"{'ABCDEFGHIJKLMNOPQRST'[i]}{j + 1}", x, y, 10.0 + i + j, (i + j) % 2 == 0)
        for i, x in enumerate(np.linspace(left + 150, right - 150, nx))
        for j, y in enumerate(np.linspace(low + 150, high - 150, ny))
    ]
    from rig.room import contains

    return [p for p in places if contains(outline, [p.x_mm], [p.y_mm])[0]]


ENDS = (End(x_mm=600.0, y_mm=1000.0), End(x_mm=2400.0, y_mm=1000.0))
WORST = Worst(
    gap_mm=6.0, limit_mm=4.8, x_mm=1500.0, y_mm=1000.0, bearing_deg=0.0, span_mm=1800.0,
    supports=ENDS, range_mm=(5.0, 7.0), line=None, where="",
)  # fmt: skip
PROOF = Proof(
    rule="own", text="a rule", source="", measure="straightedge", verdict="out", chance=0.0,
    confidence=0.95, worst=WORST, share_in=0.5, ff=None, fl=None, ff_ci90=None, fl_ci90=None,
    lines=(), next=(End(x_mm=800.0, y_mm=2600.0),), warnings=(), kind="floor",
)  # fmt: skip
STRIP = Strip(gap_mm=6.0, limit_mm=4.8, x_mm=1500.0, y_mm=1000.0, supports=ENDS)


def batch(n: Any, *, strip: Any, bay: Any, x_mm: Any, y_mm: Any) -> Any:
    return PourBatch(
        n=n, bags=1.0, water_l=5.0, volume_l=12.0, mix_s=0.0, pour_s=60.0, x_mm=x_mm, y_mm=y_mm,
        strip=strip, bay=bay, area_m2=1.0, reach_mm=500.0, deep=False, edge_age_p95_s=300.0,
        meets=(), where="",
    )  # fmt: skip


def drawings(outline: Outline, look: Look, places: list[Place] | None = None) -> dict[str, Drawing]:
    places = places or grid(outline)
    shots = [(p.label, p.x_mm, p.y_mm, float(surface(p.x_mm, p.y_mm)[0])) for p in places]
    top = max(shots, key=lambda shot: shot[3])
    bottom = min(shots, key=lambda shot: shot[3])
    thin, deep = (CoverAt(x_mm=s[1], y_mm=s[2], cover_mm=-1185.0 - s[3]) for s in (top, bottom))
    high = HighPoint(x_mm=top[1], y_mm=top[2], z_mm=top[3], upper_mm=top[3])
    low = LowPoint(x_mm=bottom[1], y_mm=bottom[2], z_mm=bottom[3], lower_mm=bottom[3])

    def cover(x: Any, y: Any) -> Any:
        return -1185.0 - surface(x, y)[0]

    likely = outline.polygon.buffer(-200).intersection(outline.polygon.buffer(-200).envelope)
    batches = [
        batch(n + 1, strip=n // 3 + 1, bay=1, x_mm=p.x_mm, y_mm=p.y_mm)
        for n, p in enumerate(places)
    ]
    from rig.room import raster

    cells = raster(outline, 150.0)
    near = [
        int(np.argmin([(p.x_mm - x) ** 2 + (p.y_mm - y) ** 2 for p in places]))
        for x, y in zip(cells.x_mm, cells.y_mm, strict=True)
    ]
    shares = Shares(cells.x_mm, cells.y_mm, cells.step_mm, np.array(near))
    ring = [[600.0, 600.0], [1400.0, 600.0], [1400.0, 1500.0], [600.0, 1500.0], [600.0, 600.0]]
    patch = PatchPlace(
        x_mm=1000.0, y_mm=1000.0, where="", area_m2=0.7, fill_l=2.0, grind_l=0.0, deepest_mm=4.0,
        outline=tuple((x, y) for x, y in ring),
    )  # fmt: skip
    higher = tuple((x, y + 1300.0) for x, y in ring)
    grind = replace(patch, fill_l=0.0, grind_l=1.0, y_mm=2300.0, outline=higher)
    line = [("F1", np.array([[300.0, 400.0], [300.0, 2500.0]]))]
    exit_mm = outline.doors[0].middle if outline.doors else (1000.0, 0.0)
    return {
        "room": room_drawing(outline, look),
        "floor": floor_drawing(outline, look, surface, shots, high, low, likely),
        "cover": cover_drawing(outline, look, cover, (thin, deep), 8.0),
        "walk": walk_drawing(outline, look, places, {p.label for p in places[:4]}),
        "markers": markers_drawing(outline, look, places[::4]),
        "flatness": flatness_drawing(
            outline, look, lambda x, y: surface(x, y)[0], PROOF, [STRIP], line
        ),
        "patches": patches_drawing(outline, look, [patch, grind]),
        "pour": pour_drawing(outline, look, batches, exit_mm, shares, {1, 2}),
    }  # fmt: skip


LOOKS = {"paper in": Look(Units("in")), "paper mm": Look(Units("mm")),
         "phone": Look(Units("in"), 95.0, 130.0, to_scale=False)}  # fmt: skip


@pytest.mark.parametrize("outline", [ROOM, ELL], ids=["room", "ell"])
@pytest.mark.parametrize("look", LOOKS.values(), ids=list(LOOKS))
def test_plans_stay_on_their_sheets_and_no_text_covers_another(
    outline: Outline, look: Look
) -> None:
    for name, drawing in drawings(outline, look).items():
        assert drawing.height_mm <= look.height_mm + 1e-6, name
        assert off_the_sheet(drawing) == [], name
        assert overlapping(drawing) == [], name
        assert min(text.size_mm for text in texts(drawing)) >= 9 * 25.4 / 72, name


@pytest.mark.parametrize("look", LOOKS.values(), ids=list(LOOKS))
def test_plans_of_a_language_with_longer_words_are_whole_and_none_of_it_is_english(
    look: Look,
) -> None:
    with speaking(MADE_UP):
        for name, drawing in drawings(ELL, look).items():
            assert off_the_sheet(drawing) == [], name
            assert overlapping(drawing) == [], name
            told = " ".join(text.text for text in texts(drawing))
            told += shown(drawing.title) + shown(drawing.description)
            assert not english(told), name


@pytest.mark.parametrize("outline", [ROOM, ELL], ids=["room", "ell"])
def test_svg_is_well_formed_and_needs_no_style_sheet(outline: Outline) -> None:
    for name, drawing in drawings(outline, Look(Units("mm"))).items():
        text = to_svg(drawing)
        tree = ElementTree.fromstring(text)
        assert there(tree.find("{*}title")).text == drawing.title
        for element in tree.iter():
            assert "style" not in element.attrib
            assert "href" not in " ".join(element.attrib)
        seen = {"".join(e.itertext()) for e in tree.findall(".//{*}text")}
        assert seen == {t.text for t in texts(drawing)}, name
        assert {"#" + c for c in re.findall(r'(?:fill|stroke)="#(\w+)"', text)} <= set(
            COLOURS.values()
        )


def test_each_marker_can_be_found_by_its_name() -> None:
    places = grid(ROOM)
    tree = ElementTree.fromstring(to_svg(markers_drawing(ROOM, Look(Units("in")), places)))
    names = [
        e.attrib["data-name"] for e in tree.findall(".//{*}g") if e.attrib["data-kind"] == "marker"
    ]
    assert names == [p.label for p in places]


def test_the_matrix_takes_the_room_to_the_sheet() -> None:
    drawing = markers_drawing(ELL, Look(Units("in")), grid(ELL)[:3])
    a, b, c, d, e, f = there(drawing.room_to_sheet)
    frame = Frame(ELL, Look(Units("in")))
    for x, y in ((0.0, 0.0), (6000.0, 1000.0), (-70.0, 12.5)):
        assert frame.place(x, y) == pytest.approx((a * x + c * y + e, b * x + d * y + f))
        assert frame.place(x, y)[0] == pytest.approx(a * x + c * y + e)


@pytest.mark.parametrize(
    ("door", "turned"),
    [((1000, 0), 0), ((4000, 1000), 1), ((1000, 3000), 2), ((0, 1000), 3)],
)
@pytest.mark.parametrize("clockwise", [False, True])
def test_the_door_is_at_the_bottom_and_left_is_left(
    door: tuple[int, int], turned: int, clockwise: bool
) -> None:
    walls = [(0, 0), (4000, 0), (4000, 3000), (0, 3000)]
    outline = with_door(
        from_rings(walls[::-1] if clockwise else walls), float(door[0]), float(door[1]), 900.0
    )
    frame = Frame(outline, Look(Units("mm")))
    middle = outline.doors[0].middle
    assert frame.place(*middle)[1] == pytest.approx(frame.box[3])
    drawing = room_drawing(outline, Look(Units("mm")))
    word = next(t for t in texts(drawing) if t.text == "DOOR")
    assert word.y_mm > frame.box[3]
    at = {t.text.split(",")[0]: (t.x_mm, t.y_mm) for t in texts(drawing) if "wall" in t.text}
    assert at["left wall"][0] < frame.box[0]
    assert at["right wall"][0] > frame.box[2]
    assert at["far wall"][1] < frame.box[1]
    # A mirrored plan would have the turn right and this sign wrong.
    a, b, c, d, *_ = frame.matrix()
    assert a * d - b * c < 0


def test_the_scale_bar_measures_what_it_says() -> None:
    for look, unit_mm in ((Look(Units("mm")), 1000.0), (Look(Units("in")), 304.8)):
        drawing = room_drawing(ROOM, look)
        scale = there(drawing.scale)
        ends = [t for t in texts(drawing) if re.fullmatch(r"\d+ (ft|m)", t.text) and t.x_mm > 5]
        ends = [t for t in ends if abs(t.y_mm - max(e.y_mm for e in ends)) < 0.1]
        assert ends
        for text in ends:
            told = float(text.text.split()[0]) * unit_mm
            assert (text.x_mm - 2.0) * scale == pytest.approx(told, rel=1e-9)


def page_of(drawing: Any, **words: Any) -> Any:
    pdf = FPDF(unit="mm", format="letter")
    pdf.add_page()
    draw(pdf, drawing, 15.0, 15.0, **words)
    return PdfReader(io.BytesIO(bytes(pdf.output()))).pages[0]


def test_pdf_has_the_same_texts_and_colours() -> None:
    for drawing in drawings(ROOM, Look(Units("in"))).values():
        page = page_of(drawing)
        seen = page.extract_text()
        for text in texts(drawing):
            assert text.text in seen
        drawn = page.get_contents().get_data().decode("latin-1")
        numbers = re.findall(r"([\d.]+) ([\d.]+) ([\d.]+) rg\b", drawn, re.I)
        seen = {tuple(round(255 * float(part)) for part in number) for number in numbers}
        seen |= {
            (round(255 * float(grey)),) * 3 for grey in re.findall(r"([\d.]+) g\b", drawn, re.I)
        }
        named = set(re.findall(r'(?:fill|stroke)="#(\w{6})"', to_print_svg(drawing, "Helvetica")))
        assert named
        assert {tuple(bytes.fromhex(name)) for name in named} <= seen


def test_pdf_keeps_letters_that_look_like_spaces_or_marks_to_a_reader_of_svg() -> None:
    text = "M1 … – “4” é & <b>"
    drawing = Drawing(60.0, 20.0, (Text(5.0, 10.0, text),), "letters")
    page = page_of(drawing, fit=lambda t: t.encode("windows-1252").decode("latin-1"))
    assert page.extract_text().strip() == text


def test_widths_of_text_agree_with_the_font_metrics() -> None:
    for text in ("The floor as found 25/32 in, 12.5 mm", "A1 C4 M63", "left wall, 15 ft (95 %)"):
        for bold, font in ((False, "helvetica"), (True, "helveticaB")):
            widths = CORE_FONTS_CHARWIDTHS[font]
            exact = sum(widths[letter] for letter in text) / 1000.0 * 3.2
            assert text_width(text, 3.2, bold) == pytest.approx(exact, rel=0.03)


def test_bays_are_told_apart_and_walls_named_clear_of_doors() -> None:
    outline = with_door(ELL, 1400.0, 7000.0, 900.0)
    drawing = drawings(outline, Look(Units("mm")))["pour"]
    assert "stop: let the bay before it set" not in {t.text for t in texts(drawing)}
    batches = [
        batch(n + 1, strip=n + 1, bay=1 + (n > 1), x_mm=800.0 + 600 * n, y_mm=1500.0)
        for n in range(5)
    ]
    from rig.room import raster

    cells = raster(outline, 200.0)
    nearest = np.clip((cells.x_mm - 500.0) // 600.0, 0, 4).astype(int)
    shares = Shares(cells.x_mm, cells.y_mm, 200.0, nearest)
    drawing = pour_drawing(outline, Look(Units("mm")), batches, (3000.0, 0.0), shares)
    assert overlapping(drawing) == []
    seen = {t.text for t in texts(drawing)}
    assert {"stop: let the bay before it set", "DOOR 2", "1", "5"} <= seen


def test_the_name_of_a_wall_keeps_clear_of_a_door_that_takes_most_of_it() -> None:
    outline = with_door(room(2400.0, 1500.0), 200.0, 0.0, 1150.0)
    drawing = markers_drawing(outline, Look(Units("mm"), 180.0, 118.0), [])
    assert any(t.text.startswith("door wall") for t in texts(drawing))
    assert overlapping(drawing) == []


def test_many_shots_keep_their_dots_and_drop_what_has_no_room() -> None:
    places = grid(ROOM, 15, 14)
    drawing = drawings(ROOM, Look(Units("mm"), width_mm=90, height_mm=120), places)["floor"]
    assert overlapping(drawing) == []
    assert to_svg(drawing).count('data-kind="shot"') == len(places)


def test_thousands_of_points_are_drawn_in_seconds() -> None:
    places = grid(room(30_000.0, 30_000.0), 20, 100)
    begun = time.process_time()
    markers_drawing(room(30_000.0, 30_000.0), Look(Units("mm")), places)
    walk_drawing(room(30_000.0, 30_000.0), Look(Units("mm")), places)
    assert time.process_time() - begun < 20.0


def test_a_door_on_a_slanted_wall_and_no_door_at_all() -> None:
    slanted = with_door(
        from_rings([(0, 0), (3000, 900), (2000, 4000), (-800, 3200)]), 900.0, 270.0, 800.0
    )
    assert off_the_sheet(room_drawing(slanted, Look(Units("mm")))) == []
    bare = room(3000.0, 2000.0)
    seen = {t.text for t in texts(room_drawing(bare, Look(Units("mm"))))}
    assert "DOOR" not in seen
    assert any("x to the right" in text for text in seen)


@pytest.mark.parametrize("size", [60.0, 150.0, 400.0])
@pytest.mark.parametrize("look", LOOKS.values(), ids=list(LOOKS))
def test_a_room_of_a_hand_s_width_keeps_its_scale_bar_on_the_sheet(size: float, look: Look) -> None:
    assert off_the_sheet(room_drawing(room(size, 1.2 * size), look)) == []


@st.composite
def rooms(draw: Callable[..., Any]) -> Outline:
    """Star-shaped rooms of any size with a door on some wall."""
    count = draw(st.integers(3, 9))
    size = draw(st.floats(300.0, 40_000.0))
    turn = draw(st.floats(0.0, 6.28))
    corners = []
    for n in range(count):
        away = size * draw(st.floats(0.4, 1.0))
        angle = turn + 2 * np.pi * n / count
        corners.append((away * np.cos(angle), away * np.sin(angle)))
    outline = from_rings(corners[:: draw(st.sampled_from([1, -1]))])
    wall = draw(st.integers(0, count - 1))
    a, b = (np.array(outline.walls[k % count]) for k in (wall, wall + 1))
    ends = (a + 0.3 * (b - a), a + 0.6 * (b - a))
    return from_rings(outline.walls, (), [(*ends[0], *ends[1])])


@settings(max_examples=60, deadline=None)
@given(rooms(), st.sampled_from(list(LOOKS.values())))
def test_any_room_fits_its_sheet_with_the_door_below(outline: Outline, look: Look) -> None:
    drawing = room_drawing(outline, look)
    assert off_the_sheet(drawing) == []
    assert drawing.height_mm <= look.height_mm + 1e-6
    frame = Frame(outline, look)
    door = outline.doors[0]
    inside = np.array(shapely.get_coordinates(outline.polygon.representative_point())[0])
    a, b = frame.place(door.x_mm, door.y_mm), frame.place(door.end_x_mm, door.end_y_mm)
    # The door's wall slants by no more than 45 degrees, with the room above it.
    assert abs(a[1] - b[1]) <= abs(a[0] - b[0]) + 1e-6
    along = np.array([door.end_x_mm - door.x_mm, door.end_y_mm - door.y_mm])
    inward = np.array([-along[1], along[0]])
    probe = np.array(door.middle) + inward / np.hypot(*inward) * 1.0
    if not outline.polygon.contains(shapely.Point(*probe)):
        inward = -inward
    tip = frame.place(*(np.array(door.middle) + inward))
    assert tip[1] < frame.place(*door.middle)[1]
    for x, y in (door.middle, inside):
        sheet = frame.place(x, y)
        assert frame._room(np.array(sheet)) == pytest.approx((x, y), abs=1e-6 * (1 + abs(x)))
