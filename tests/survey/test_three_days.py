"""A small size of `python -m tests.survey.three_days 100`."""

from tests.survey.three_days import is_sound, run


def test_three_days_in_a_house_lose_no_sound_shot_and_end_within_their_doubt() -> None:
    (house,) = run(1, spacing_mm=2400.0, first=1)
    assert is_sound(house)
    assert house.setups >= 2
