"""Partial pooling of crews' paces, held against the dense normal distribution and statsmodels."""

import math
import warnings

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import multivariate_normal

from rig.quantities.crew_pace import PaceHistory, Seen
from tests.quantities.crew_pace_trials import trial


def made(seed: int = 2, crews: int = 7, pours: int = 4, sd: float | None = None) -> list[Seen]:
    rng = np.random.default_rng(seed)
    found = []
    for n, level in enumerate(0.1 + rng.normal(0.0, 0.2, crews)):
        for _ in range(pours if sd is not None else int(rng.integers(1, pours + 1))):
            doubt = float(rng.uniform(0.02, 0.2)) if sd is None else sd
            day = rng.normal(0.0, math.hypot(0.06, doubt))
            mixing = 0.03 * (n % 3) if sd is None else 0.0
            found.append(Seen(f"c{n}", float(level + day), doubt, mixing))
    return found


@pytest.mark.parametrize(("crew_sd", "day_sd"), [(0.2, 0.06), (0.0, 0.1), (0.4, 0.0)])
def test_what_is_foretold_is_the_dense_normal_distributions(crew_sd: float, day_sd: float) -> None:
    """All pours and a next one of each crew as one vector, conditioned by scipy and numpy."""
    seen, mean_sd = made(), 0.25
    crews = [*sorted({str(one.crew) for one in seen}), "nobody"]
    whose = [one.crew for one in seen] + crews
    same = np.array([[a == b for b in whose] for a in whose], dtype=float)
    whole = mean_sd**2 + crew_sd**2 * same + day_sd**2 * np.eye(len(whose))
    n = len(seen)
    y = np.array([one.log_hands for one in seen])
    noise = np.diag([one.sd**2 for one in seen])
    noise += same[:n, :n] * np.array([one.mixing_sd**2 for one in seen])
    there = whole[:n, :n] + noise
    across = np.linalg.solve(there, whole[:n, n:])
    history = PaceHistory(seen, mean_sd)
    given = history.given(crew_sd, day_sd)
    assert given.means == pytest.approx(across.T @ y, abs=1e-9)
    wanted = np.diag(whole[n:, n:] - whole[n:, :n] @ across)
    assert given.variances == pytest.approx(wanted, abs=1e-9)
    other = history.given(0.1, 0.1)
    apart = 0.01 * (same[:n, :n] + np.eye(n)) + mean_sd**2 + noise
    odds = multivariate_normal.logpdf(y, cov=there) - multivariate_normal.logpdf(y, cov=apart)
    assert given.log_odds - other.log_odds == pytest.approx(odds, abs=1e-6)


def test_where_all_pours_tell_alike_the_variances_are_those_of_statsmodels() -> None:
    """MixedLM of statsmodels 0.14 by REML: what a pour leaves in doubt is part of its residual."""
    import pandas
    from statsmodels.formula.api import mixedlm

    seen = made(sd=0.03)
    table = pandas.DataFrame({"y": one.log_hands, "crew": one.crew} for one in seen)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitted = mixedlm("y ~ 1", table, groups="crew").fit(reml=True)
    history = PaceHistory(seen, math.inf)
    found = minimize(
        lambda at: -history.given(abs(at[0]), abs(at[1])).log_odds, [0.2, 0.1],
        method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-10},
    )  # fmt: skip
    crew_sd, day_sd = np.abs(found.x)
    assert crew_sd**2 == pytest.approx(float(fitted.cov_re.iloc[0, 0]), rel=1e-3)
    assert day_sd**2 + 0.03**2 == pytest.approx(fitted.scale, rel=1e-3)
    own = fitted.fe_params["Intercept"] + fitted.random_effects["c1"].iloc[0]
    assert history.given(crew_sd, day_sd).means[1] == pytest.approx(own, abs=1e-4)


def test_a_few_pours_of_each_crew_foretell_the_next() -> None:
    """Many companies: `python -m tests.quantities.crew_pace_trials`."""
    told = trial(crews=12, pours=2, crew_sd=0.05, mix_s=60.0, companies=3, seed=5)
    assert told.error < 0.95 * told.alone
    assert told.error < 0.6 * told.as_none
    assert told.held >= 0.8


def test_an_unknown_crew_gets_all_crews_spread_and_one_pour_says_little() -> None:
    history = PaceHistory(made(), 0.25)
    known, new = history.expect("c1"), history.expect("nobody")
    assert (new.pours, new.others) == (0, known.pours + known.others)
    assert known.doubt < 0.8 * new.doubt
    one = PaceHistory([Seen("a", 0.3, 0.05)], 0.25).expect("a")
    assert one.doubt > 0.1
    assert one.low < 1.0 < one.high
