"""The catalogues stand for the sources, and no placeholder in them is wrong."""

import ast
import re
import shutil
import subprocess
import sys
from pathlib import Path

from babel.messages import Catalog
from babel.messages.pofile import write_po

from rig.language import LANGUAGES
from rig.words.page import script_words
from tools.languages.catalogues import check
from tools.languages.faults import faults
from tools.languages.sources import ROOT


def test_every_sentence_of_the_sources_is_translated_and_its_placeholders_are_right() -> None:
    wrong, told = check()
    assert not wrong
    assert len(told) == len(LANGUAGES) - 1


def test_a_wrong_placeholder_is_refused() -> None:
    made = Catalog("de")
    made.add("{label} reads {reading}", "{label} liest {lesung}")
    made.add(("{count} bag", "{count} bags"), ("ein Sack", "{count} Säcke"))
    made.add("**{chance}** to keep it", "{chance}, es zu halten")
    told = list(faults(made))
    assert len(told) == 2
    assert "{label}, {lesung}, not {label}, {reading}" in told[0]
    assert "**" in told[1]


def test_a_wrong_placeholder_stops_the_build_of_the_wheel(tmp_path: Path) -> None:
    for name in ("setup.py", "tools/languages/faults.py"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, tmp_path / name)
    file = tmp_path / "rig" / "words" / "languages" / "de" / "LC_MESSAGES" / "rig.po"
    file.parent.mkdir(parents=True)
    for said, wrong in (("{bag} Säcke", True), ("{bags} Säcke", False)):
        made = Catalog("de")
        made.add("{bags} bags", said)
        with file.open("wb") as target:
            write_po(target, made)
        done = subprocess.run(
            [sys.executable, "setup.py", "--quiet", "build"],
            cwd=tmp_path, capture_output=True, text=True,
        )  # fmt: skip
        assert (done.returncode != 0) is wrong, done.stderr
        assert ("'{bag} Säcke' has {bag}, not {bags}" in done.stderr) is wrong
    assert list(tmp_path.glob("build/lib*/rig/words/languages/de/LC_MESSAGES/rig.mo"))


# What goes to a log for whoever mends the program, to a broker, or is said in English only.
NO_SENTENCES = {
    "cli/demo_command.py", "cli/markers_command.py", "devices/broker.py",
    "page/office_site.py", "page/server.py", "page/site.py", "record.py", "words/sound.py",
}  # fmt: skip
_TWO_WORDS = re.compile(r"(?<![\w-])[a-z]{2,} [a-z]{2,}(?![\w-])")
_MACHINE_S = re.compile(r"SELECT|INSERT|UPDATE|PRAGMA|WHERE|CREATE|<|[=;:]\s?'|\"")


def test_no_sentence_is_an_f_string_which_knows_no_language() -> None:
    found = set()
    for file in (ROOT / "rig").rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.JoinedStr):
                parts = [one.value for one in node.values if isinstance(one, ast.Constant)]
                text = "\0".join(map(str, parts))
                if _TWO_WORDS.search(text) and not _MACHINE_S.search(text):
                    found.add(str(file.relative_to(ROOT / "rig")))
    assert found == NO_SENTENCES


def test_what_the_page_s_scripts_say_comes_with_the_page() -> None:
    said = set()
    for script in (ROOT / "rig" / "page" / "static").glob("*.js"):
        said |= set(re.findall(r'\bsay\("((?:[^"\\]|\\.)*)"', script.read_text("utf-8")))
    assert said == set(script_words())
