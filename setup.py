"""Compiles the catalogues of the languages into the wheel; all else is in pyproject.toml."""

import sys
from pathlib import Path

from setuptools import setup
from setuptools.command.build_py import build_py

HERE = Path(__file__).resolve().parent
CATALOGUES = Path("rig", "words", "languages")


class BuildWithCatalogues(build_py):
    """Builds the packages, with each catalogue checked and compiled."""

    def run(self) -> None:
        """Build; a checkout that is installed in place reads the catalogues as they are edited."""
        super().run()
        if self.editable_mode:
            return
        from babel.messages.mofile import write_mo
        from babel.messages.pofile import read_po

        sys.path.insert(0, str(HERE))  # a build has only its tools there
        from tools.languages.faults import faults

        for file in sorted(CATALOGUES.glob("*/LC_MESSAGES/rig.po")):
            with file.open("rb") as source:
                catalogue = read_po(source, file.parts[-3])
            wrong = [f"{file}: {what}" for what in faults(catalogue)]
            if wrong:
                raise SystemExit("\n".join(wrong))
            made = Path(self.build_lib, file).with_suffix(".mo")
            made.parent.mkdir(parents=True, exist_ok=True)
            with made.open("wb") as compiled:
                write_mo(compiled, catalogue)


setup(cmdclass={"build_py": BuildWithCatalogues})
