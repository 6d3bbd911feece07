"""In which language a command tells: its own option, else the job's, else the environment's."""

import sqlite3
from pathlib import Path

import pytest

from rig.cli import _language_of, main
from rig.flatness.rules import load_rule
from rig.language import LANGUAGES, current, shown, speaking, tongue
from rig.units import Units
from tests.cli.conftest import Run


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


def test_programs_and_the_job_are_told_the_same_in_every_language(surveyed: Run) -> None:
    job = Path("job.sqlite")
    before = job.read_bytes()

    def told(key: str) -> list[object]:
        job.write_bytes(before)
        outs: list[object] = []
        for words in (
            ("floor", "--json"),
            ("plan", "--json"),
            ("markers", "--json"),
            ("flatness", "--rule", "click-lock", "--json"),
            ("export", "--out", "out"),
            ("export", "--format", "geojson", "--out", "out"),
            ("plan", "--hold", "9m,9m,1m", "--json"),
        ):
            done = surveyed(*words, "--language", key)
            outs += [done.code, done.out if "--json" in words else ""]
        outs += [(Path("out") / name).read_bytes() for name in ("shots.csv", "floor.geojson")]
        with sqlite3.connect(job) as db:
            outs += db.execute("SELECT inputs, result FROM plan").fetchall()
            outs += db.execute("SELECT label, target_reading_mm FROM marker").fetchall()
        return outs

    english = told("en")
    assert english[:13:2] == [0, 0, 0, 1, 0, 0, 1]  # this floor is out, and 9 m lies outside
    for key in LANGUAGES:
        assert told(key) == english, key


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (["grid", "--spacin", "3ft"], "Fehler: Die Option '--spacin' gibt es nicht."),
        (["grid", "--spacing", "x"], "Fehler: Ungültiger Wert für '--spacing': spacing „x“: es"),
        (["import"], "Fehler: Es fehlt das Argument 'TABLE'."),
        (["report", "--for", "me"], "'me' ist keines von 'crew', 'customer'."),
        (["nothing"], "Hilfe: 'rig --help'.\n\nFehler: Den Befehl 'nothing' gibt es nicht."),
    ],
)
def test_what_click_says_of_a_slip_is_said_in_the_language(
    args: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main([*args, "--language", "de"])
    assert ended.value.code == 2
    assert told in capsys.readouterr().err
    with pytest.raises(SystemExit):
        main(args)
    assert "Error: " in capsys.readouterr().err


def test_the_first_help_is_in_the_language(capsys: pytest.CaptureFixture[str]) -> None:
    for key, told in (("pl", "Polecenia:"), ("en", "Commands:")):
        with pytest.raises(SystemExit):
            main(["--help", "--language", key])
        assert told in capsys.readouterr().out


def test_a_shipped_tolerance_is_told_in_the_language_and_kept_in_english() -> None:
    rule = load_rule("click-lock")
    assert rule.text == "Under click-lock floating floors: 3/16 in in 10 ft"
    with speaking(tongue("de")):
        told = shown(Units("mm").own(rule.text))
        assert told == "Unter schwimmenden Klickböden: 4,8 mm auf 3,05 m"
    assert Units("mm").own(rule.text) == "Under click-lock floating floors: 4.8 mm in 3.05 m"
