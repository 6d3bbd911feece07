"""Every parser of the product as a family for the fuzzer: sound inputs, telling words, and a call.

What reads bytes from outside belongs here: add a `Family` to `FAMILIES`. A `parse` may check more
than that nothing breaks, as that a message replays as it was read.
"""

import contextlib
import functools
import html
import json
import math
import os
import sqlite3
import tempfile
import zlib
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from rig import language, texts, units
from rig import room as rooms
from rig.cli.live_options import SourceWish, replayed_sessions
from rig.devices import framing, profile, trace
from rig.devices.decoder import Decoder
from rig.devices.reading import Reading
from rig.devices.typed import TypedReader
from rig.errors import BadInput, RigError
from rig.flatness import level_lines, rules
from rig.job.settings import Settings
from rig.job.store import Job
from rig.page import messages as page_messages
from rig.page.messages import Refused
from rig.pour import sheet
from rig.products.library import Library
from rig.quantities import prices
from rig.session.keys import KeyParser
from rig.session.kind import Beginning
from rig.session.kinds.survey import KIND as SURVEY
from rig.session.pour_keys import PourKeys, parse_words
from rig.session.run import step
from rig.session.sources import as_logged, session_items
from rig.survey import table
from tools.endurance.fuzz import Family

ROOT = Path(__file__).resolve().parents[2]
_PROFILES = sorted((ROOT / "rig" / "devices" / "profiles").glob("*.toml"))
_RULES = sorted((ROOT / "rig" / "flatness" / "rules").glob("*.toml"))


@functools.cache
def _shelf() -> Path:
    """A folder in memory, where there is some, for what is parsed from a file."""
    memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    kept = tempfile.TemporaryDirectory(prefix="floor-rig-fuzz-", dir=memory)
    _KEPT.append(kept)
    return Path(kept.name)


_KEPT: list[Any] = []  # removed as the program ends


def _file(data: bytes, name: str = "input.txt") -> Path:
    path = _shelf() / name
    path.write_bytes(data)
    return path


def _text(data: bytes) -> str:
    """As text comes from a command line: bytes that are no UTF-8 stay as surrogates."""
    return data.decode("utf-8", "surrogateescape")


def _frames(data: bytes) -> None:
    """The same messages come out however the bytes are cut, and memory is bounded."""
    for make in (
        framing.LineFramer,
        lambda: framing.PacketFramer(12, lambda packet: packet[2] < 4),
        lambda: framing.PacketFramer(5),
    ):
        whole = make()
        at_once = whole.feed(data)
        pieces = make()
        step = 1 + len(data) % 7
        piecewise = [m for n in range(0, len(data), step) for m in pieces.feed(data[n : n + step])]
        assert at_once == piecewise, "cut otherwise it says otherwise"
        assert all(0 < len(message) <= framing.LONGEST_MESSAGE for message in at_once)
        assert len(whole._rest) <= framing.LONGEST_MESSAGE


@functools.cache
def _shipped() -> tuple[profile.Profile, ...]:
    loaded = [profile.load_profile(path.stem) for path in _PROFILES]
    return tuple(profile.with_clamp(p, 1000.0) if p.needs_clamp else p for p in loaded)


def _messages(data: bytes) -> None:
    """Whatever comes becomes readings that hold together and replay as they were read."""
    for spoken in _shipped():
        live = Decoder(spoken)
        readings = [r for n, chunk in enumerate(_chunks(data)) for r in live.feed(chunk, n, 1e9)]
        _sound(readings)
        again = Decoder(spoken)
        for reading in readings:
            replayed = again.decode_raw(reading.raw, reading.time_s, reading.utc_s)
            if len(reading.raw) < framing.LONGEST_MESSAGE:
                assert replayed == reading, "a replay says otherwise"
        if spoken.framing == "packet":
            _sound([Decoder(spoken).message(data, 1.0, 1e9)])


def _chunks(data: bytes) -> Iterable[bytes]:
    step = max(1, len(data) // 3)
    return (data[n : n + step] for n in range(0, len(data), step))


def _sound(readings: Iterable[Reading]) -> None:
    for reading in readings:
        assert reading.status in ("valid", "no_beam", "button", "low_battery", "bad")
        assert reading.value_mm is None or math.isfinite(reading.value_mm)
        assert (reading.status == "bad") == (reading.problem is not None)
        assert reading.status != "valid" or reading.value_mm is not None
        assert reading.missed >= 0


_LINES = [b"A" * 400, b"1" * 400, b"1," * 200, b" " * 300 + b"x", b"$U0HGT,1,1234.5,mm,V", b"12.5",
          b"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa!", b"H=1234.5 mm", b"0." * 200]  # fmt: skip


def _profile(data: bytes) -> None:
    """A profile that is taken can be spoken, within the time that a line may take."""
    spoken = profile.parse_profile(data.decode("utf-8", "replace"), "mine.toml")
    if spoken.needs_clamp:
        spoken = profile.with_clamp(spoken, 1000.0)
    decoder = Decoder(spoken)
    for line in _LINES:
        _sound(decoder.feed(line + b"\n", 1.0, 1e9))


def _quantities(data: bytes) -> None:
    text = _text(data)
    parsers: tuple[Callable[[], float], ...] = (
        lambda: units.parse_length(text),
        lambda: units.parse_length(text, unit="in"),
        lambda: units.parse_volume(text),
        lambda: units.parse_mass(text),
        lambda: units.parse_duration(text),
        lambda: units.parse_duration(text, bare="s"),
        lambda: units.parse_percent(text),
        lambda: units.parse_slope(text),
        lambda: units.parse_temperature(text),
    )
    taken = 0
    for parse in parsers:
        try:
            value = parse()
        except BadInput:
            continue
        taken += 1
        assert math.isfinite(value), f"{value} is not finite"
    try:
        mm = units.parse_length(text)
        for written in (units.Units("in"), units.METRIC):
            shown = written.length(mm)
            if abs(mm) < 1e6:
                assert abs(units.parse_length(shown) - mm) <= 0.5, f"{shown} is not {mm}"
    except BadInput:
        if not taken:
            raise


def _typed_numbers(data: bytes) -> None:
    """What a number is read as is shown so that it is read as the same again."""
    text = _text(data)
    for key in ("fr", "de", "en"):
        with language.speaking(language.tongue(key)):
            pointed = units.pointed(text, "mm")
            with contextlib.suppress(ValueError):
                exact = f"{float(pointed):.3f}"
                assert units.pointed(language.shown(language.numeral(exact))) == exact, (
                    f"{text} is {pointed}"
                )
            units.parted(text, 2)


def _tables(data: bytes) -> None:
    path = _file(data, "table.csv")
    outline = _room()
    grid = {"A1": (150.0, 150.0), "P1": (200.0, 200.0)}
    refused = None
    for read in (
        lambda: table.read_table(path, "mm", outline, grid),
        lambda: table.read_columns(path, ("x", "y"), "in"),
        lambda: table.read_timed(path, "mm"),
        lambda: level_lines.read_lines(path, "in", 304.8),
    ):
        try:
            read()
            return
        except RigError as error:
            refused = error
    assert refused is not None
    raise refused


@functools.cache
def _room() -> rooms.Outline:
    return rooms.room(3000.0, 4000.0)


def _names(data: bytes) -> None:
    """A name that is taken is harmless wherever it is written; one that is shown is made so."""
    text = _text(data)
    for shown in (texts.shortened(text), texts.as_cell(text), texts.harmless(text)):
        assert texts.harmless(shown) == shown
        shown.encode()
    assert len(texts.shortened(text)) <= texts.LONGEST_NAME
    assert not texts.as_cell(text).startswith(("=", "+", "-", "@"))
    name = texts.name_of(text, "label")
    assert 0 < len(name) <= texts.LONGEST_NAME
    assert texts.as_cell(name) == texts.shortened(name) == name
    ElementTree.fromstring(f"<text>{html.escape(name)}</text>")


def _outlines(data: bytes) -> None:
    try:
        outline = rooms.from_file(_file(data, "outline.txt"), "mm")
    except RigError:
        outline, _ = rooms.from_walls(_text(data))
    assert math.isfinite(outline.area_m2)
    assert outline.area_m2 > 0.0
    rooms.where(outline, *outline.walls[0])


def _toml(data: bytes) -> None:
    refused = None
    for read in (
        lambda: rules.load_rule(_file(data, "rule.toml")),
        lambda: sheet.read_sheet(_file(data, "sheet.toml")),
    ):
        try:
            read()
            return
        except RigError as error:
            refused = error
    assert refused is not None
    raise refused


def _products(data: bytes) -> None:
    """A list that is taken is written as it was read; a price book prices what a job takes."""
    path = _file(data, "mine.toml")
    try:
        taken, _ = Library(path, {}).taken_from(path, replacing=True)
    except RigError:
        book = prices.read_prices(path)
        takes = prices.Quantities(bags=20, area_m2=12.5, edge_m=14.0, hours=3.5)
        lines = prices.priced(prices.with_compound(book, "Blend", "18.50"), takes)
        assert prices.total_of(lines).is_finite()
        return
    again = Library(path, {}).taken_from(_file(taken.text().encode(), "mine.toml"), replacing=True)
    assert again[0] == taken, "written, it says otherwise"


def _traces(data: bytes) -> None:
    read = trace.read_trace(_file(data, "a.trace"))
    _sound([item for item in trace.replay(read) if isinstance(item, Reading)])


def _words(data: bytes) -> None:
    text = _text(data)
    for parser in (KeyParser(), PourKeys()):
        for act, argument in parser.feed(text):
            json.dumps([act, argument])
    with contextlib.suppress(BadInput):
        parse_words(text)
    reading = TypedReader("in").parse(text, 1.0, 1e9)
    if isinstance(reading, Reading):
        _sound([reading])


_CAPTURE = {
    "kind": "floor", "dwell_s": 1.0, "walk_s": 1.0, "still_mm": 0.5, "rock": False, "units": "mm",
    "points": [["A1", 150.0, 150.0], ["A2", 150.0, 900.0]], "resumes_from": ["A1", 1200.0],
    "clamp_mm": None,
}  # fmt: skip


@functools.cache
def _job_file() -> bytes:
    """A job with something in every table."""
    path = _shelf() / "seed.sqlite"
    walls = [(0.0, 0.0), (3000.0, 0.0), (3000.0, 4000.0), (0.0, 4000.0)]
    with Job.create(path, Settings(units="mm"), walls, [], [(0.0, 500.0, 0.0, 1300.0)]) as job:
        job.set_points([("A1", 150.0, 150.0, 1), ("A2", 150.0, 900.0, 2)])
        session = job.start_session(
            "survey", "1", "serial", _PROFILES[-1].read_text(), _CAPTURE, "boot", 1e9
        )
        for n in range(20):
            job.log_reading(session, n / 20, 1e9, f"$U0HGT,{n},1200.0,mm,V*00", 1200.0, "valid", n)
        for act in (("accept", None), ("undo", None), ("goto", "A2")):
            job.log_event(session, 1.0, 1e9, "act", {"act": act[0], "argument": act[1]})
        job.log_event(session, 1.0, 1e9, "lost", {"reason": "unplugged"})
        job.log_event(session, 1.0, 1e9, "back", {"gap_s": 2.0})
        job.log_event(session, 1.0, 1e9, "battery", {"percent": 50})
        job.log_event(session, 1.0, 1e9, "end", {})
        place: dict[str, Any] = {"x_mm": 150.0, "y_mm": 150.0}
        measured: dict[str, Any] = {
            "reading_mm": 1200.0,
            "stderr_mm": 0.1,
            "n": 20,
            "time_s": 1.0,
            "utc_s": 1e9,
        }
        for label in ("A1", "A2", "A1"):
            job.add_shot(session, point=label, kind="floor", **place, **measured)
        job.add_check("two-peg", {"a": 1}, {"b": 2}, True)
        job.save_plan({"level": True}, {"roughness_mm": 1.0}, 1.0, 0.0, 0.0)
        row = {"label": "M1", **place, "target_reading_mm": 1190.0, "stick_out_mm": 9.0}
        job.save_markers([{**row, "stick_out_stderr_mm": 0.5}])
        rule = {
            "text": "t",
            "source": "s",
            "per": "m2",
            "amount": 1.0,
            "unit": "l",
            "package": None,
        }
        job.keep_material_rules([{"key": "primer", **rule}], edited=False)
        job.save_pour_plan(
            [{"n": 1, "bags": 1.0, "water_l": 5.0, "volume_l": 12.0, "mix_s": 0.0, "pour_s": 9.0,
              "x_mm": 1.0, "y_mm": 2.0}], {"plan_id": 1})  # fmt: skip
    return path.read_bytes()


def _jobs(data: bytes) -> None:
    """A file that is not what was written is refused in words, whatever is asked of it."""
    path = _file(data, "input.sqlite")
    writes = zlib.crc32(data) % 4 == 0
    try:
        with Job.open(path, write=writes, wait_s=0.0) as job:
            for ask in (job.outline_rings, job.points, job.material_rules, job.setups):
                ask()
            assert job.settings
            for also in (job.events, job.checks, job.markers, job.batches):
                also()
            job.shots(current=False)
            for session in job.sessions():
                for _ in job.stored_messages(session.id):
                    pass
            plan = job.current_plan()
            if plan is not None:
                job.changed_since(plan, bags=True)
            if writes:
                job.update_settings(Settings(units="in"))
            _replay_of(path, job)
    finally:
        for ending in ("-wal", "-shm", ".lock"):
            with contextlib.suppress(OSError):
                os.unlink(f"{path}{ending}")


def _replay_of(path: Path, job: Job) -> None:
    for session, settings, source in replayed_sessions(SourceWish(replay=path), SURVEY, "mm"):
        with as_logged(path, session.id):
            begun = Beginning(job=job, settings=settings, setup=session.setup, rod=source.profile)
            machine = SURVEY.machine(begun)
        for item in session_items(job, session.id, source.profile, "mm"):
            if not machine.finished:
                for event in step(machine, item):
                    json.dumps(event.as_json())


def _job_seeds() -> tuple[bytes, ...]:
    with contextlib.closing(sqlite3.connect(":memory:")) as other:
        other.execute("CREATE TABLE job (x)")
        foreign = other.serialize()
    return (_job_file(), foreign)


_CSV = (
    b"label,x,y,reading\nP1,200,200,1200\nP2,2800,200,1203.5\n",
    b'label,x,y,reading,stderr,setup,kind\nBM1,,,1000,0.2,2,benchmark\nA1,150,150,"1200",,,\n',
    b"label,x_mm,y_mm,reading_mm\nA1,150,150,4 1/2in\n",
    b"x,y\n1,2\n3 1/2,4\n",
    b"seconds,reading\n0,1200\n1.5,1201\n",
    b"line,reading\na,1 1/2\na,2\nb,3.25\n",
)
_SENTENCES = (
    b"$U0HGT,1,1234.5,mm,V*48\r\n$U0HGT,2,1234.5,mm,V*4B\r\n$U0HGT,3,,mm,N*6F\r\n",
    b"$U0HGT,65535,48.5,in,B*7E\r\n$U0HGT,0,48.5,in,L*40\r\n",
    b"1234.5\r\n-12.25\r\n+3\r\n\r\n",
    bytes.fromhex("0100 00 00 e0d51200 10270000 0200 01 00 00000000 42270000"),
)
_TOML_WORDS = tuple(
    line.partition(b"=")[0].strip() + b" = "
    for path in (*_PROFILES, *_RULES)
    for line in path.read_bytes().splitlines()
    if b"=" in line
)
_POLLED = (
    b'text = "a"\nframing = "line"\nunit = "mm"\n[line]\npattern = \'(?P<value>.*)\'\n'
    b'[serial]\nparity = "even"\nline_end = ";"\nask = "?"\nask_every_ms = 200\n'
)
_MODBUS = (
    b'text = "a"\nframing = "modbus"\n[modbus]\nfirst = 107\nlayout = ">iH"\nscale_mm = 0.1\n'
    b'fields = ["value", "_"]\nword_order = "low first"\n'
)
_SHEET = (
    b'text = "mine"\nmixing_time = "2min"\nworking_time = "20min"\nwater_per_bag = "5qt"\n'
    b'max_cover = "1 1/2in"\nmin_temperature = "50F"\n'
    b'[[working_time_at]]\ntemperature = "10C"\nworking_time = "30min"\n'
    b'[[working_time_at]]\ntemperature = "70F"\nworking_time = "15min"\n'
)
_LISTS = (
    b'[compound.Blend]\nuse = "1.7kg/m2/mm"\nbag_mass = "25kg"\nmax_cover = "30mm"\n'
    b'price = "18.50"\nworking_time_at = ["10C=30min", "20C=15min"]\nprimer = "P1"\n'
    b'[primer."P1"]\nrate = "0.1l/m2"\n'
    b'[crew."Ann and Bo"]\npeople = 3\nmixers = "1"\ntook = ["320ft2,5h"]\n',
    b'[mixer.Big]\nbags_per_batch = "2"\nmix_time = "2min"\n'
    b'[reinforcement.Lath]\nsheet = "27in,96in"\noverlap = "2in"\n',
    b'currency = "EUR"\ntax = "19%"\nmargin = "10%"\nrounding = "0.05"\ntax_rounding = "line"\n'
    b'[[line]]\nitem = "compound"\nunit = "bag"\nprice = "18.50"\n'
    b'[[line]]\nitem = "travel"\nunit = "job"\nprice = "60"\n',
)
_WKT = (
    b"POLYGON ((0 0, 3000 0, 3000 4000, 0 4000, 0 0), (500 500, 800 500, 800 900, 500 500))",
    b"ring,x,y\n0,0,0\n0,3000,0\n0,3000,4000\n0,0,4000\n1,100,100\n1,200,100\n1,150,300\n",
    b"12ft right 5ft left 3ft right 10ft right 15ft",
    b"3m right 4m right 3m right 4m",
)
_LENGTHS = (
    *b'2 1/4|2-1/4"|2.25in|1\' 3 5/8"|57mm|5.7 cm|0.188 ft|12ft|1e3mm|0.45ft3|12l|5qt'.split(b"|"),
    *b"50lb|23kg|20min|1h30|5%|1/8in/ft|5mm/m|21C|70F".split(b"|"),
    "2½in".encode(),
    "2″".encode(),
)
_TYPED = (
    *b"1221,5|1.221,5|1 221,5mm|1,221.5|1.221|3,5m,4,2m|1,7kg/m2/mm|1221,5;1220,5|0,5|12ft".split(
        b"|"
    ),
    "1\u202f221,5".encode(),
)


def _page_message(data: bytes) -> None:
    """A phone's message, as the text that a socket hands over; the page has its own refusal."""
    try:
        told = page_messages.parse(data.decode("utf-8", "surrogateescape"))
    except Refused as refusal:
        raise BadInput(str(refusal)) from None
    assert len(repr(told)) < 4 * page_messages.LONGEST


_PAGE = (
    b'{"say": "hello", "phone": "kitchen"}',
    b'{"say": "take"}',
    b'{"say": "act", "act": "goto", "label": "C4"}',
    b'{"say": "act", "act": "accept"}',
    b'{"say": "rod", "do": "carry", "x": 1200.5, "y": -3}',
)
_TRACES = ("sentence-drop.trace", "gatt-rod-plain.trace", "sentence-battery.trace")

FAMILIES: dict[str, Family] = {
    family.name: family
    for family in (
        Family("framing", _frames, (*_SENTENCES, b"a\rb\nc\r\n", bytes(range(48)))),
        Family("messages", _messages, _SENTENCES, (b"$U0HGT,", b"*00", b",V*", b",mm,", b"\r\n")),
        Family(
            "profiles",
            _profile,
            (*(path.read_bytes() for path in _PROFILES), _POLLED, _MODBUS),
            (*_TOML_WORDS, b"(?P<value>", b"+", b"*", b"(", b")", b"|", b"[", b"?", b"{2,}", b"\\d",
             b".*", b"(a+)+", b"(a|a)*", b"'''", b"[line]", b"<HBBiI", b"[serial]\n", b"ask = ",
             b"line_end = ", b"ask_every_ms = ", b"[modbus]\n", b"first = ", b">Hi"),
        ),
        Family("lengths", _quantities, _LENGTHS, (b" ", b"/", b"'", b'"', b"mm", b"-", b"%")),
        Family("typed", _typed_numbers, _TYPED, (b",", b".", b" ", b"\xc2\xa0", b";", b"mm")),
        Family("tables", _tables, _CSV, (b",", b"\n", b"label", b"kind", b"_mm", b'"'), 2),
        Family(
            "names",
            _names,
            (b"BM1", b"A1", "Tür 2".encode(), b"Rod-1", b"=cmd|' /C calc'!A0", b"@SUM(1)"),
            (b"=", b"+", b"@", b"\x1b[31m", b"\0", "\u202e".encode(), "\u2028".encode(), b"\xff"),
        ),
        Family(
            "outlines",
            _outlines,
            _WKT,
            (b"POLYGON", b"((", b"))", b", ", b"EMPTY", b"MULTI", b" Z ", b"left", b"0 0"),
            4,
        ),
        Family(
            "toml",
            _toml,
            (*(path.read_bytes() for path in _RULES), _SHEET),
            (*_TOML_WORDS, b"[[", b"]]", b"= {", b"a." * 40, b"[" * 30, b"9" * 4000,
             b'"""', b"true", b"1979-05-27"),
            2,
        ),
        Family(
            "products",
            _products,
            _LISTS,
            (b"[compound.A]\n", b"[[line]]\n", b"item = ", b"price = ", b"unit = ", b'"m2"', b"[]",
             b"{}", b"true", b"1e999", b"-5", b"%", b'"NaN"', b'"1E9"', b'"=A1"'),
            2,
        ),
        Family(
            "traces",
            _traces,
            tuple(
                (ROOT / "tests" / "traces" / name).read_bytes()[:1600]
                for name in _TRACES
            ),
            (b"---", b"\\!lost ", b"\\!back ", b"\\!battery ", b"\\x", b"\\u", b"started = "),
            4,
        ),
        Family("words", _words, (b"48 3/16\n", b"u", b"gA1\r", b"front M7", b"f4\rb", b"tick dam")),
        Family(
            "page",
            _page_message,
            _PAGE,
            (b'"say"', b'"act"', b'"label"', b"[[[", b"{", b"1e999", b"NaN", b"\\ud800", b"null"),
        ),
        Family("jobs", _jobs, _job_seeds(), (b"CREATE TABLE", b"\x00\x00"), 20, True),
    )
}  # fmt: skip
