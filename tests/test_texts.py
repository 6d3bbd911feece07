"""Whatever a file holds, it is read or refused in a sentence that names file and line."""

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rig import texts
from rig.errors import BadInput
from rig.texts import parse_toml, read_table, read_text, read_toml, table_rows


def rows(
    text: Any,
    needed: tuple[str, str] = ("label", "x"),
    optional: tuple[Any, ...] = (),
    unit: str = "mm",
    **more: Any,
) -> Any:
    return list(table_rows(text, "a.csv", unit, needed, optional, **more))


def test_a_table_is_read_by_its_heading() -> None:
    first, second = rows('X, Label\n\n 1ft ,"a, b"\n2, c \n', ("label", "x"), ("note",), unit="in")
    assert (first.where, first.text("label"), first.length("x")) == ("a.csv, line 3", "a, b", 304.8)
    assert (second.line, second.text("label"), second.length("x")) == (4, "c", 50.8)
    assert second.text("note") == ""
    assert rows("x_mm,label\n5,a\n")[0].length("x") == 5.0
    assert rows("label,x,more\na,1,2\n", others=True)[0].length("x") == 1.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "a.csv is empty; it needs a heading label,x[,note] and rows."),
        ("\n \n", "is empty"),
        ("label\na\n", "line 1: column 'x' is missing"),
        ("label,x,x\n", "line 1: column 'x' stands twice"),
        ("label,x,colour\n", "line 1: column 'colour' is not known; it takes label,x[,note]."),
        ("label;x\n", "parted by commas"),
        ("label,x\na,1\nb\n", "line 3: 1 cell, but the heading names 2."),
        ('label,x\n"a"b,1\n', "line 2: ',' expected after"),
        ("label,x\n" + "a" * 100_001 + ",1\n", "line 2: longer than 100000 characters"),
    ],
)
def test_a_table_with_a_fault_is_refused_with_its_line(text: Any, said: Any) -> None:
    with pytest.raises(BadInput) as refused:
        rows(text, optional=("note",))
    assert said in str(refused.value)


def test_a_column_in_mm_is_no_column_in_inches() -> None:
    with pytest.raises(BadInput, match="column x_mm is in mm, but --unit is in"):
        rows("label,x_mm\n", unit="in")


def test_cells_that_are_no_numbers_are_refused_with_their_line_and_column() -> None:
    (row,) = rows("label,x\nsoon,high\n")
    with pytest.raises(BadInput, match="line 2: x “high”"):
        row.length("x")
    with pytest.raises(BadInput, match="line 2: label 'soon' is no number"):
        row.number("label")
    with pytest.raises(BadInput, match="line 2: x 'inf' is not finite"):
        rows("label,x\na,inf\n")[0].number("x")
    assert rows("label,x\na,1e3\n")[0].number("x") == 1000.0


def test_more_rows_than_any_survey_has_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(texts, "MOST_ROWS", 3)
    assert len(rows("label,x\n" + "a,1\n" * 3)) == 3
    with pytest.raises(BadInput, match="has 4 rows, and more than 3 cannot be worked with"):
        rows("label,x\n" + "a,1\n" * 4)


def test_a_file_that_is_no_text_of_ours_is_refused(tmp_path: Path) -> None:
    def refused(content: Any, said: Any, most: int = 1000) -> None:
        file = tmp_path / "a.csv"
        file.write_bytes(content)
        with pytest.raises(BadInput, match=said):
            read_text(file, "save the table as CSV", most)

    refused(b"\x89PNG\xff", r"a\.csv is no text file in UTF-8; save the table as CSV\.")
    refused(b"a\nb\0c", r"a\.csv, line 2: a NUL")
    refused(b"a" * 1001, r"a\.csv is larger than 0\.001 MB")
    with pytest.raises(BadInput, match="There is no file"):
        read_text(tmp_path / "none", "x")
    with pytest.raises(BadInput, match="cannot be read"):
        read_text(tmp_path, "x")
    (tmp_path / "marked.csv").write_bytes(b"\xef\xbb\xbflabel,x\na,1\n")
    assert [row.text("label") for row in read_table(tmp_path / "marked.csv", "mm", ("label", "x"))]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a =", "is not valid TOML: Invalid value"),
        ("a = " + "[" * 5000 + "]" * 5000, "nests"),
        ("a = " + "[" * 60 + "]" * 60, "nests"),
        (".".join("a" * 60) + " = 1", "nests"),
        ("a = " + "9" * 5000, "too large"),
        ("a." * 100_000 + "b = 1", "nests"),
        ('"a" . ' * 100_000 + "b = 1", "nests"),
        ("[" + "a." * 100_000 + "b]", "nests"),
        ("a = 0x" + "f" * 500, "too large"),
        ("a = [1, {b = -9223372036854775809}]", "too large"),
        ("a = 2024-13-01", "is not valid TOML"),
    ],
)
def test_toml_that_is_none_or_has_no_bounds_is_refused(text: Any, said: Any) -> None:
    with pytest.raises(BadInput, match=said):
        parse_toml(text, "mine.toml")


def test_toml_within_bounds_is_what_the_standard_library_reads(tmp_path: Path) -> None:
    text = 'a = 9223372036854775807\n[b]\nc = [[1.5, inf], "x"]\nd = 2024-01-01\n'
    assert parse_toml(text, "mine.toml") == tomllib.loads(text)
    (tmp_path / "mine.toml").write_text(text)
    assert read_toml(tmp_path / "mine.toml", "x") == tomllib.loads(text)


@given(st.text(max_size=200))
@example("a,b\n\r\n\x1c,\x85")
@example("a = " + "[" * 5000)
def test_what_is_refused_is_refused_in_a_sentence_that_names_the_file(text: Any) -> None:
    reads: list[Callable[[], object]] = [
        lambda: rows(text),
        lambda: rows("label,x\n" + text),
        lambda: parse_toml(text, "a.csv"),
    ]
    said = []
    for read in reads:
        try:
            read()
        except BadInput as refused:
            said.append(str(refused))
    assert all(one.startswith("a.csv") and one.endswith(".") for one in said)
