"""Tables that are too large to be worked with are refused before anything is taken or reckoned."""

from pathlib import Path

from rig.flatness.level_lines import MOST_IN_LINE, MOST_READINGS
from rig.surface import gaussian_process
from rig.survey.table import MOST_SHOTS
from tests.cli.conftest import Run


def test_a_table_of_more_shots_than_a_floor_is_made_of_is_refused_at_import(run: Run) -> None:
    assert MOST_SHOTS == gaussian_process.MOST_SHOTS
    run("new", "--room", "3m,4m", "--units", "mm")
    Path("t.csv").write_text("label,x,y,reading\n" + "P,1,1,1200\n" * (MOST_SHOTS + 1))
    taken = run("import", "t.csv", "--unit", "mm")
    assert taken.code == 2
    assert "t.csv has 100001 rows, and more than 100000 cannot be worked with" in taken.err
    assert "of a scan, keep the mean reading of each square" in taken.err


def test_blank_lines_count_for_nothing(run: Run) -> None:
    run("new", "--room", "3m,4m", "--units", "mm")
    Path("t.csv").write_text("label,x,y,reading\nP1,200,200,1200\n" + "\n" * (MOST_SHOTS + 1))
    assert run("import", "t.csv", "--unit", "mm").code == 0


def test_lines_that_would_take_all_memory_are_refused(run: Run) -> None:
    words = ("--step", "300mm", "--unit", "mm", "--rule", "e1155")
    Path("l.csv").write_text("line,reading\n" + "a,1200\n" * (MOST_IN_LINE + 1))
    judged = run("flatness", "--lines", "l.csv", *words)
    assert judged.code == 2
    assert "l.csv, line 2002, column line: a has more than 2000 readings; cut it" in judged.err
    Path("l.csv").write_text("line,reading\n" + "a,1\n" * (MOST_READINGS + 1))
    judged = run("flatness", "--lines", "l.csv", *words)
    assert judged.code == 2
    assert "has 1000001 rows" in judged.err
