"""Does the type checker see every field? `.venv/bin/python tools/rename_check.py [FILE ...]`.

Renames each field of each dataclass in `rig/events/` and `rig/study/` (or in the files given) at
its definition alone, in a temporary copy, and asks mypy, whose daemon checks again only what the
change touches. A field whose new name nobody misses is printed; the exit code is 1 where there is
one.
"""

import ast
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
LOOKED_AT = ("rig/events", "rig/study")
NOT_COPIED = shutil.ignore_patterns(".*", "__pycache__", "*.egg-info", "*.sqlite", "*.trace")
SUFFIX = "_renamed"


@dataclass(frozen=True)
class Field:
    """A field where it is defined; `line` counts from 0, `column` in bytes."""

    path: str
    kind: str
    name: str
    line: int
    column: int


def fields(root: Path, path: str) -> Iterator[Field]:
    """Fields of the dataclasses of one file, in its order."""
    for node in ast.walk(ast.parse((root / path).read_text())):
        if not isinstance(node, ast.ClassDef):
            continue
        if not any("dataclass" in ast.unparse(one) for one in node.decorator_list):
            continue
        for one in node.body:
            if not isinstance(one, ast.AnnAssign) or not isinstance(one.target, ast.Name):
                continue
            if "ClassVar" not in ast.unparse(one.annotation):
                at = one.target
                yield Field(path, node.name, at.id, at.lineno - 1, at.col_offset)


def renamed(text: str, field: Field) -> str:
    """The file's text with one field of another name."""
    lines = text.encode().split(b"\n")
    line, end = lines[field.line], field.column + len(field.name.encode())
    lines[field.line] = line[:end] + SUFFIX.encode() + line[end:]
    return b"\n".join(lines).decode()


class Checker:
    """Mypy's daemon over a tree."""

    def __init__(self, root: Path) -> None:
        self._root = root

    def ask(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "mypy.dmypy", "--status-file", ".dmypy.json", *words],
            cwd=self._root,
            capture_output=True,
            text=True,
        )

    def sound(self) -> bool:
        """Whether the tree holds after what changed since the last time."""
        done = self.ask("recheck")
        if done.returncode not in (0, 1):
            raise SystemExit(f"rename_check: mypy's daemon ended: {done.stdout}{done.stderr}")
        return done.returncode == 0


def main() -> None:
    begun = time.monotonic()
    wanted = sys.argv[1:] or LOOKED_AT
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "tree"
        shutil.copytree(ROOT, root, ignore=NOT_COPIED)
        files = [
            str(path.relative_to(root))
            for name in wanted
            for path in (
                [root / name] if (root / name).is_file() else sorted(root.glob(f"{name}/**/*.py"))
            )
        ]
        every = [field for path in files for field in fields(root, path)]
        checker = Checker(root)
        try:
            first = checker.ask("run")
            if first.returncode:
                raise SystemExit(
                    f"rename_check: mypy fails as it is:\n{first.stdout}{first.stderr}"
                )
            unseen = []
            texts = {path: (root / path).read_text() for path in files}
            before: Field | None = None
            for field in every:
                if before is not None and before.path != field.path:
                    (root / before.path).write_text(texts[before.path])
                (root / field.path).write_text(renamed(texts[field.path], field))
                if checker.sound():
                    unseen.append(field)
                    print(f"{field.path}:{field.line + 1}: {field.kind}.{field.name} is not missed")
                before = field
        finally:
            checker.ask("stop")
    took = time.monotonic() - begun
    kinds = len({(field.path, field.kind) for field in every})
    print(
        f"{len(every)} fields of {kinds} dataclasses renamed, {len(every) - len(unseen)} seen by"
        f" mypy, {len(unseen)} not ({took:.0f} s)"
    )
    sys.exit(bool(unseen))


if __name__ == "__main__":
    main()
