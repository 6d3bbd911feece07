from pathlib import Path

from tools.imports import BEGIN, ROOT, arrows, drawn, replaced

PAGE = (ROOT / "DEVELOPERS.md").read_text()


def test_the_picture_of_what_imports_what_is_that_of_the_code() -> None:
    assert PAGE.count(BEGIN) == 1
    assert replaced(PAGE, drawn(arrows())) == PAGE, "draw it anew: python tools/imports.py --write"


def test_every_package_is_told_of() -> None:
    parts = [path.name for path in Path(ROOT / "rig").iterdir() if (path / "__init__.py").is_file()]
    assert len(parts) > 15
    assert [part for part in parts if f"`rig/{part}/`" not in PAGE] == []
