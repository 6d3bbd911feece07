"""Finds the sentences: calls of `say` and `say_many`, and texts of shipped tables."""

import ast
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TEMPLATES = ROOT / "rig" / "page" / "templates"
KEYWORDS = ("say", "say_many")
SHIPPED: Mapping[str, tuple[str, ...]] = {
    "flatness/rules": ("text", "source", "edition", "from_memory"),
    "devices/profiles": ("text",),
}
"""Folders of shipped tables, and their keys that hold text for people."""
_WORDS = re.compile("[a-z]{3}")


@dataclass(frozen=True)
class Found:
    """A message where it is said.

    Attributes
    ----------
    message : str
    many : str or None
        Its form for several.
    file : str
        Below the project's root.
    line : int
    about : str
        What the function that says it is for: a hint for who translates.
    """

    message: str
    many: str | None
    file: str
    line: int
    about: str = ""


def sentences() -> Iterator[Found]:
    """Yield every message of the sources, in the order of the files."""
    for file in sorted((ROOT / "rig").rglob("*.py")):
        yield from in_python(file.read_text("utf-8"), str(file.relative_to(ROOT)))
    for file in sorted(TEMPLATES.glob("*.html")):
        yield from in_template(file.read_text("utf-8"), str(file.relative_to(ROOT)))
    for folder, keys in SHIPPED.items():
        for file in sorted((ROOT / "rig" / folder).glob("*.toml")):
            yield from in_table(file.read_text("utf-8"), keys, str(file.relative_to(ROOT)))


def in_python(source: str, file: str) -> Iterator[Found]:
    """Yield the messages of a module."""
    yield from _of(ast.parse(source), file, "")


def in_template(source: str, file: str) -> Iterator[Found]:
    """Yield the messages of a template."""
    from jinja2.ext import extract_from_ast

    from rig.page.rendered import environment

    for line, name, said in extract_from_ast(environment().parse(source), KEYWORDS):
        texts = [said] if isinstance(said, str) else list(said or ())
        if texts and texts[0] is None:
            raise ValueError(f"{file}, line {line}: {name}() of a message that is not written out")
        message, many = texts[0], texts[1] if name == "say_many" else None
        yield Found(str(message), many, file, line, "page")


def in_table(source: str, keys: tuple[str, ...], file: str) -> Iterator[Found]:
    """Yield the texts of a shipped table."""
    table = tomllib.loads(source)
    for key in keys:
        text = table.get(key)
        if isinstance(text, str) and _WORDS.search(text):
            yield Found(text, None, file, 0, f"{key} of a shipped table")


def _of(node: ast.AST, file: str, about: str) -> Iterator[Found]:
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        if node.name in KEYWORDS and file.startswith("rig/language"):
            return
        about = (ast.get_docstring(node) or "").partition("\n")[0] or about
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in KEYWORDS:
        many = None
        if node.func.id == "say_many":
            many = _written_out(node.args[1])[0]
        for message in _written_out(node.args[0]):
            yield Found(message, many, file, node.lineno, about)
    for inner in ast.iter_child_nodes(node):
        yield from _of(inner, file, about)


def _written_out(node: ast.expr) -> list[str]:
    """Return the messages that an argument may be: a text, or one of two."""
    match node:
        case ast.Constant(value=str(text)):
            return [text]
        case ast.IfExp(body=one, orelse=other):
            return _written_out(one) + _written_out(other)
    return []  # a message that was made by `say` elsewhere, and now gets its values
