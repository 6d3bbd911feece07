import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.devices.decoder import Decoder
from rig.devices.profile import Profile, load_profile, parse_profile, with_clamp
from rig.devices.reading import Back, Lost, Reading
from rig.devices.trace import TraceWriter, read_trace, replay
from rig.errors import BadInput
from tests.devices.test_decoder import sentence

SENTENCE = load_profile("sentence")
STARTED = 1_700_000_000.123456
HEAD = f"""floor-rig trace 1
key = 'x'
started = 2024-01-01T00:00:00Z
profile = '''
{SENTENCE.text_toml}'''
---
"""


def write(path: Path, profile: Profile, messages: list[tuple[float, str]], **options: str) -> Path:
    with TraceWriter(path, profile, started_utc_s=STARTED, **options) as writer:
        for time_s, raw in messages:
            writer.write(time_s, raw)
    return path


def test_a_trace_is_readable_and_in_ascii_below_its_header(tmp_path: Path) -> None:
    path = write(tmp_path / "a.trace", SENTENCE, [(0.5, "$A\t\x00\xff\\")], units="in")
    text = path.read_text("utf-8")
    assert text.startswith("floor-rig trace 1\nkey = ")
    assert "units = " in text
    assert SENTENCE.text_toml in text
    assert text.endswith("\n---\n0.500000\t$A\\t\\x00\\xff\\\\\n")


@given(
    messages=st.lists(
        st.one_of(st.binary(max_size=40).map(lambda b: b.decode("latin-1")), st.text(max_size=5))
    )
)
def test_messages_come_back_as_they_were(
    messages: list[str], tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("trace") / "a.trace"
    expected = [(round(0.1 * n, 6), raw) for n, raw in enumerate(messages)]
    assert list(read_trace(write(path, SENTENCE, expected)).messages) == expected


@pytest.mark.parametrize("profile", [SENTENCE, with_clamp(load_profile("offset-mm"), 914.4)])
def test_profile_clamp_units_and_start_come_back(tmp_path: Path, profile: Profile) -> None:
    trace = read_trace(write(tmp_path / "a.trace", profile, [], units="mm"))
    assert trace.profile.text_toml == profile.text_toml
    assert trace.profile.clamp_mm == profile.clamp_mm
    assert trace.header["units"] == "mm"
    assert trace.started_utc_s == STARTED
    assert trace.notices == ()


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("\n[line]", "# it's ''' quoted\n[line]"),
        ("\n", "\r\n"),
        ("\ntext = ", "\ntext = '''\n---\n''' # was "),
        ("mm|in", "mm|in|\u2033"),
    ],
)
def test_a_profile_that_would_end_quotes_or_header_survives(
    tmp_path: Path, old: str, new: str
) -> None:
    toml = ("\n" + SENTENCE.text_toml).replace(old, new)
    profile = parse_profile(toml, "odd '\"\\\t")
    trace = read_trace(write(tmp_path / "a.trace", profile, [(1.0, "x")]))
    assert trace.profile.text_toml == toml
    assert trace.header["key"] == profile.key


def test_replay_gives_what_live_decoding_gave(tmp_path: Path) -> None:
    live = Decoder(SENTENCE)
    with TraceWriter(tmp_path / "a.trace", SENTENCE, started_utc_s=STARTED) as writer:
        expected: list[Reading | Lost | Back] = []

        def hear(data: bytes, time_s: float) -> None:
            for reading in live.feed(data, time_s, round(STARTED + time_s, 6)):
                expected.append(reading)
                writer.write(reading.time_s, reading.raw)

        def link(item: Back | Lost) -> None:
            live.reset()
            expected.append(item)
            writer.link(item)

        hear(sentence(1) + b"\x00\xff$noise\n" + sentence(3) + sentence(3), 0.123457)
        link(Lost(2.0, round(STARTED + 2.0, 6), "the cable\tis out: ″"))
        link(Back(4.5, round(STARTED + 4.5, 6), 2.5))
        hear(sentence(9, "12", "in", "B") + sentence(10)[:-4] + b"??\n", 5.000001)
    items = list(replay(read_trace(tmp_path / "a.trace")))
    assert items == expected
    assert [getattr(item, "missed", None) for item in items] == [0, 0, 1, 0, None, None, 0, 0]


def test_a_message_is_in_the_file_as_soon_as_it_is_written(tmp_path: Path) -> None:
    with TraceWriter(tmp_path / "a.trace", SENTENCE, started_utc_s=STARTED) as writer:
        writer.write(1.0, "x")
        assert list(read_trace(tmp_path / "a.trace").messages) == [(1.0, "x")]


@pytest.mark.parametrize("cut", [1, 3, 8])
def test_a_last_line_cut_off_is_dropped_and_told(tmp_path: Path, cut: int) -> None:
    path = write(tmp_path / "a.trace", SENTENCE, [(1.0, "abc"), (2.0, "d\xe9f")])
    whole = path.read_bytes()
    path.write_bytes(whole[:-cut])
    trace = read_trace(path)
    assert list(trace.messages) == [(1.0, "abc")]
    lines = whole.count(b"\n")
    assert trace.notices == (f"{path}: the last line, {lines}, was cut off and is left out.",)


def test_a_trace_with_line_ends_of_another_system_is_read(tmp_path: Path) -> None:
    path = write(tmp_path / "a.trace", SENTENCE, [(1.0, "abc\r")])
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert list(read_trace(path).messages) == [(1.0, "abc\r")]


FIRST = HEAD.count("\n") + 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "not a trace"),
        ("\x7fELF\n", "not a trace: line 1"),
        ("floor-rig trace 2\n", "line 1: this program reads version 1, not '2'"),
        ("floor-rig trace 1\nkey = 'x'\n", "no line '---'"),
        ("floor-rig trace 1\nkey =\n---\n", "header .* is not valid TOML"),
        (HEAD.replace("key", "kee"), "`key` is missing"),
        (HEAD.replace("Z\n", "\n"), "no time zone"),
        (HEAD.replace("2024-01-01T00:00:00Z", "3"), "`started` is missing or of another kind"),
        (HEAD.replace("framing", "flaming"), "x in .*`framing`"),
        (HEAD.replace("key =", "clamp_mm = 'a'\nkey ="), "`clamp_mm` must be a number"),
        (HEAD + "1.000000 abc\n", f"line {FIRST}: expected seconds"),
        (HEAD + "1.0\tabc\n", f"line {FIRST}: expected seconds"),
        (HEAD + "nan\tabc\n", f"line {FIRST}: expected seconds"),
        (HEAD + "1.000000\ta\n\n", f"line {FIRST + 1}: expected seconds"),
        (HEAD + "2.000000\ta\n1.000000\ta\n", f"line {FIRST + 1}: time goes back"),
        (HEAD + "1.000000\ta\\q\n", f"line {FIRST}: the message"),
        (HEAD + "1.000000\tcafé\n", f"line {FIRST}: the message"),
        (HEAD + "1.000000\t\\!gone\n", f"line {FIRST}: the message"),
        (HEAD + "1.000000\t\\!back soon\n", f"line {FIRST}: the message"),
    ],
)
def test_a_wrong_trace_is_refused_with_its_line(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "a.trace"
    path.write_text(text, "utf-8")
    with pytest.raises(BadInput, match=said):
        read_trace(path)


def test_bytes_that_are_no_text_are_refused_with_their_line(tmp_path: Path) -> None:
    (tmp_path / "a.trace").write_bytes(HEAD.encode() + b"1.000000\t\xff\n")
    with pytest.raises(BadInput, match=f"line {FIRST}: not text"):
        read_trace(tmp_path / "a.trace")


def test_a_file_that_is_there_is_never_overwritten(tmp_path: Path) -> None:
    path = write(tmp_path / "a.trace", SENTENCE, [(1.0, "x")])
    with pytest.raises(BadInput, match="there already"):
        TraceWriter(path, SENTENCE, started_utc_s=STARTED)
    with pytest.raises(BadInput, match="cannot be written"):
        TraceWriter(tmp_path / "none" / "a", SENTENCE, started_utc_s=STARTED)
    with pytest.raises(BadInput, match="cannot be read"):
        read_trace(tmp_path / "none")


def test_a_long_trace_is_not_held_in_memory(tmp_path: Path) -> None:
    path = write(tmp_path / "long.trace", SENTENCE, [])
    with path.open("a") as file:
        for n in range(20_000):
            file.write(f"{n / 50:.6f}\t$U0HGT,1,1234.5,mm,V*48\n")
    tracemalloc.start()
    count = sum(1 for _ in read_trace(path).messages)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert count == 20_000
    assert most < 700_000
