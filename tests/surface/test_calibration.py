import numpy as np
import pytest
from scipy.stats import binom

from .calibration import KINDS, QUANTITIES, coverage, run

FLOORS = 80


def test_what_is_stated_as_95_percent_is_kept_on_made_up_floors() -> None:
    """Pooled over four kinds of floor; fails where chance alone would in 1 of 1 000 runs."""
    kept, slack, _ = coverage(FLOORS, seed=3, step_mm=228.6, draws=400)
    fewest = binom.ppf(0.001, FLOORS, 0.95)
    for name, count in zip(QUANTITIES, kept.sum(axis=0), strict=True):
        assert count >= fewest, f"{name}: {count} of {FLOORS}"
    fewest = binom.ppf(0.001, FLOORS // len(KINDS), 0.95)
    for start, kind in enumerate(KINDS):
        assert np.all(kept[start :: len(KINDS)].sum(axis=0) >= fewest), kind
    # Wide bounds would keep everything: they must also be of use.
    assert np.all(np.median(slack, axis=0) < [3.0, 0.5, 1.5])


def test_the_table_names_every_kind(capsys: pytest.CaptureFixture[str]) -> None:
    shares = run(4, seed=5, step_mm=457.2, draws=100)
    told = capsys.readouterr().out
    for kind in ("smooth", "ridged", "crowned", "dished", "all 4"):
        assert kind in told
    assert shares.shape == (3,)
    assert shares.max() == pytest.approx(1.0)
