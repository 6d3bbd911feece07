"""Partial pooling over crews and products, held against statsmodels' MixedLM and by simulation."""

import math
import warnings
from pathlib import Path

import numpy as np
import pytest

from rig.errors import BadInput, CannotAnswer
from rig.quantities.expected import read_history
from rig.quantities.history import History, Past, cells_of, sums_of
from tests.quantities.history_trials import trial


def made(seed: int = 4, jobs: int = 120, crews: int = 12, products: int = 4) -> list[Past]:
    rng = np.random.default_rng(seed)
    by_crew, by_product = rng.normal(0, 0.1, crews), rng.normal(0, 0.06, products)
    pasts = []
    for _ in range(jobs):
        c, p, t = int(rng.integers(crews)), int(rng.integers(products)), rng.uniform(5, 30)
        y = 0.03 - 0.002 * (t - 18) + by_crew[c] + by_product[p] + rng.normal(0, 0.07)
        pasts.append(Past(f"c{c:02d}", f"p{p}", float(t), float(y)))
    return pasts


def test_variances_and_effects_are_those_of_statsmodels() -> None:
    """MixedLM of statsmodels 0.14 by REML, crossed as variance components of one group."""
    import pandas
    from statsmodels.formula.api import mixedlm

    pasts = made()
    history = History(sums_of(*cells_of(pasts)))
    table = pandas.DataFrame(
        {"y": one.log_ratio, "t": one.temperature_c, "crew": one.crew, "product": one.product}
        for one in pasts
    ).assign(every=1, t=lambda told: told.t - told.t.mean())
    parts = {"crew": "0 + C(crew)", "product": "0 + C(product)"}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = mixedlm("y ~ t", table, groups="every", re_formula="0", vc_formula=parts)
        fitted = model.fit(reml=True)
    mine = (history.sd.crew, history.sd.product, history.sd.job)
    theirs = (*fitted.vcomp, fitted.scale)
    for own, other in zip(mine, theirs, strict=True):
        assert own**2 == pytest.approx(other, rel=1e-3, abs=1e-6)
    effects = fitted.random_effects[1]
    for name, found in (("crew", history.effects[0]), ("product", history.effects[1])):
        wanted = effects.filter(like=f"{name}[").to_numpy()
        assert list(found.values()) == pytest.approx(wanted, abs=1e-3)
    assert history.mean == pytest.approx(fitted.fe_params["Intercept"], abs=1e-3)


def test_an_unknown_crew_gets_the_companys_spread() -> None:
    history = History(sums_of(*cells_of(made())))
    known, new = history.expect("c01", "p1"), history.expect("nobody", "p1")
    assert (known.jobs.crew > 0, new.jobs.crew) == (True, 0)
    assert known.doubt.crew < 0.6 * history.sd.crew < new.doubt.crew
    assert math.log(new.factor.high / new.factor.low) > 1.3 * math.log(
        known.factor.high / known.factor.low
    )
    warm, cold = (history.expect("c01", "p1", t).factor.p50 for t in (28.0, 8.0))
    assert warm < cold
    with pytest.raises(CannotAnswer, match="too few"):
        History(sums_of(*cells_of(made(jobs=2))))


def test_what_no_job_tells_is_no_doubt_of_the_next_that_does_not_either() -> None:
    pasts = [Past(one.crew, None, None, one.log_ratio) for one in made()]
    named = [Past(one.crew, "mix", None, one.log_ratio) for one in made()]
    told = History(sums_of(*cells_of(pasts))).expect("c01", None).factor
    assert told == History(sums_of(*cells_of(named))).expect("c01", "mix").factor


def test_pooling_beats_each_crew_alone_and_all_as_one() -> None:
    """30 crews of 3 jobs; `python -m tests.quantities.history_trials 1800` runs them all."""
    told = trial(crews=30, jobs=3, next_jobs=180, seed=1)
    assert told.error <= 0.9 * told.alone
    assert told.error <= 0.85 * told.as_one
    assert 0.9 <= told.held <= 0.99


def test_a_history_that_was_not_written_by_the_office_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "h.json"
    for text in ("{}", "[]", "nonsense", '{"format": "floor-rig history 1", "factor": 3}'):
        file.write_text(text)
        with pytest.raises(BadInput, match="is no history"):
            read_history(file)
