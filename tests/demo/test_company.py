"""The demo of an office: simulated crews, and what is learnt of them."""

from pathlib import Path

from tests.cli.conftest import Run
from tests.cli.conftest import run as run


def test_a_company_of_a_few_jobs_goes_through_its_office(run: Run) -> None:
    told = run("demo", "--office", "3", "--out", "demo", "--json").json
    assert told["jobs"] == 3
    assert sum(crew["jobs"] for crew in told["crews"]) == 3
    crews = told["crews"]  # three jobs of three crews: at 95 % each, one may be out
    assert sum(crew["low"] < crew["true"] < crew["high"] for crew in crews) >= 2
    assert all(one["hands"]["low"] < one["hands_true"] < one["hands"]["high"] for one in crews)
    assert (Path(told["office"]) / "books" / "job").is_dir()
    assert run("office", "check", "--office", told["office"]).code == 0
