"""Compiles the catalogues of the languages into the wheel; all else is in pyproject.toml."""

from pathlib import Path

from setuptools import setup
from setuptools.command.build_py import build_py

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

        for file in sorted(CATALOGUES.glob("*/LC_MESSAGES/rig.po")):
            with file.open("rb") as source:
                catalogue = read_po(source, file.parts[-3])
            wrong = [
                f"{file}: {message.id!r}: {error}"
                for message in catalogue
                for error in message.check(catalogue)
            ]
            if wrong:
                raise SystemExit("\n".join(wrong))
            made = Path(self.build_lib, file).with_suffix(".mo")
            made.parent.mkdir(parents=True, exist_ok=True)
            with made.open("wb") as compiled:
                write_mo(compiled, catalogue)


setup(cmdclass={"build_py": BuildWithCatalogues})
