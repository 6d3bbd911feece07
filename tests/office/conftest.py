"""An office in a folder, with a company's jobs handed in and taken once for the whole run."""

import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from rig.office import shelf
from rig.office.place import Place
from rig.office.take import take
from tests.cli.conftest import run as run
from tests.office.company import Made, World, company

JOBS = 24


@dataclass(frozen=True)
class Company:
    """Jobs that were made, and the office that has them."""

    jobs: tuple[Made, ...]
    folder: Path


@pytest.fixture(scope="session")
def settled(tmp_path_factory: pytest.TempPathFactory) -> Company:
    folder = tmp_path_factory.mktemp("company")
    (folder / "office").mkdir()
    made = tuple(company(folder, JOBS, World(confidence=0.9)))
    place = Place(str(folder / "office"))
    for one in made:
        shelf.hand_in(place, one.path)
    assert take(place).taken == JOBS
    return Company(made, folder / "office")


@pytest.fixture
def office(settled: Company, tmp_path: Path) -> Path:
    """Return a copy of the office, to be changed."""
    return Path(shutil.copytree(settled.folder, tmp_path / "office"))
