"""A small size of `python -m tests.survey.laser_trials 200`."""

from tests.survey.laser_trials import Row, run


def test_each_error_is_found_by_its_check_and_sound_lasers_are_left_alone() -> None:
    assert [row for row in run(25) if not row.ok] == []


def test_a_row_that_chance_does_not_leave_open_is_not_ok() -> None:
    assert not Row("far too many", 20, 100, 0.0, 0.01).ok
    assert not Row("far too few", 80, 100, 0.95, 1.0).ok
    assert Row("as stated", 95, 100, 0.95, 0.95).ok
