import subprocess
import sys
from pathlib import Path

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


def test_one_rod_imports_nothing_of_a_site() -> None:
    code = (
        "import sys, rig.cli.survey_command, rig.cli.set_command, rig.cli.pour_command\n"
        "import rig.session.run, rig.session.recorder, rig.session.begin\n"
        "wanted = ('paho', 'rig.devices.site', 'rig.session.rods', 'rig.session.hub')\n"
        "print([name for name in wanted if name in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


def test_what_a_site_needs_is_named_where_it_is_not_installed(tmp_path: Path) -> None:
    invitation = tmp_path / "kitchen.site"
    told = ('url = "mqtts://127.0.0.1:1"', 'name = "a"', 'role = "session"', 'password = "b"')
    invitation.write_text("\n".join((*told, 'certificate = "c"')))
    code = (
        "import sys; sys.modules['paho'] = None\n"
        "from rig.cli import main\n"
        f"main(['site', 'rods', '--site', {str(invitation)!r}])"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert ran.returncode == 2
    assert "bash tools/setup site, or pip install floor-rig[site]" in ran.stderr
