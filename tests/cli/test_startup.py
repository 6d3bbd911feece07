import subprocess
import sys

HEAVY = (
    "numpy",
    "scipy",
    "shapely",
    "bleak",
    "serial",
    "sqlite3",
    "sqlite_utils",
    "asyncio",
    "rich",
    "aiohttp",
    "segno",
)


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys\n"
        "from rig.cli import main\n"
        "try:\n    main(['--help'])\n"
        "except SystemExit as ended:\n"
        f"    loaded = [name for name in {HEAVY!r} if name in sys.modules]\n"
        "    print('LOADED', loaded, file=sys.stderr)\n"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "LOADED []" in ran.stderr
    assert "survey" in ran.stdout


def test_live_capture_leaves_numbers_alone_until_they_are_needed() -> None:
    code = (
        "import sys, rig.survey.capture, rig.guidance.setting\n"
        "import rig.session.run, rig.session.recorder\n"
        "print([name for name in ('numpy', 'scipy', 'shapely') if name in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


def test_a_survey_reads_its_grid_without_scipy() -> None:
    code = (
        "import sys, rig.cli.jobs, rig.survey.grid\n"
        "import rig.session.kinds.survey, rig.cli.survey_command\n"
        "print([name for name in ('scipy', 'sqlite_utils', 'rich') if name in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


def test_every_command_has_help() -> None:
    from click.testing import CliRunner

    from rig.cli import COMMANDS, rig

    for name in COMMANDS:
        shown = CliRunner().invoke(rig, [name, "--help"])
        assert shown.exit_code == 0
        assert "Usage" in shown.output
