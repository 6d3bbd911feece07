"""Jobs that are handed in and taken by processes that are killed are there once and whole."""

from pathlib import Path

from tools.endurance import office


def test_a_few_jobs_outlive_the_kills_and_the_questions_many_rows(tmp_path: Path) -> None:
    tally = office.torment(4, 2, 1, 1, tmp_path)
    assert tally.sound, tally
    assert set(office.many_rows(200, tmp_path)) >= {"yield", "laser"}
