import numpy as np
import pytest
from scipy.stats import binom

from .calibration import QUANTITIES, coverage, run

FLOORS = 40


def test_what_is_stated_as_95_percent_is_kept_on_made_up_floors():
    """Pooled over four kinds of floor; fails where chance alone would in 1 of 1 000 runs."""
    kept, slack = coverage(FLOORS, seed=3, step_mm=228.6, draws=600)
    fewest = binom.ppf(0.001, FLOORS, 0.95)
    for name, count in zip(QUANTITIES, kept.sum(axis=0), strict=True):
        assert count >= fewest, f"{name}: {count} of {FLOORS}"
    # Wide bounds would keep everything: they must also be of use.
    assert np.all(np.median(slack, axis=0) < [3.0, 0.5, 1.5])


def test_the_table_names_every_kind(capsys):
    shares = run(4, seed=5, step_mm=457.2, draws=100)
    told = capsys.readouterr().out
    for kind in ("smooth", "ridged", "crowned", "dished", "all 4"):
        assert kind in told
    assert shares.shape == (3,)
    assert shares.max() == pytest.approx(1.0)
