"""In which language a command tells: its own option, else the job's, else the environment's."""

from pathlib import Path

import pytest

from rig.cli import _language_of, main
from rig.language import current


@pytest.mark.parametrize(
    ("args", "left", "asked"),
    [
        (["--language", "de", "grid"], ["grid"], "de"),
        (["grid", "--language=de", "--json"], ["grid", "--json"], "de"),
        (["pour", "plan", "--language", "pt"], ["pour", "plan"], "pt"),
        (["new", "--language", "pl"], ["new", "--language", "pl"], "pl"),
        (["--language", "pl", "new"], ["new"], "pl"),
        (["grid"], ["grid"], None),
    ],
)
def test_the_language_may_stand_anywhere(
    args: list[str], left: list[str], asked: str | None
) -> None:
    assert _language_of(args) == (left, asked)


def test_a_language_that_there_is_not_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["grid", "--language", "xx"])
    assert ended.value.code == 2
    assert "it speaks en, es, de, fr, pl, pt" in capsys.readouterr().err


def test_the_job_keeps_its_language(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = str(tmp_path / "job.sqlite")
    told: list[str] = []

    def shown(text: str) -> str:
        told.append(current().key)
        return text

    monkeypatch.setattr("rig.cli.options.shown", shown)
    for args in (
        ["new", "--job", job, "--room", "3m,4m", "--language", "de"],
        ["grid", "--job", job],
        ["grid", "--job", job, "--language", "pl"],
        ["edit", "--job", job, "--language", "fr"],
        ["grid", "--job", job],
    ):
        with pytest.raises(SystemExit):
            main(args)
    assert told == ["de", "de", "pl", "fr", "fr"]
    assert current().key == "en"
