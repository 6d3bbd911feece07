"""Whatever order acts, faults and restarts come in, what must hold holds."""

from tools.endurance import model


def test_surveys_and_settings_hold_in_any_order() -> None:
    assert model.run(1500, number=2) >= 1500
