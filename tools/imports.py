"""What imports what, drawn for `DEVELOPERS.md`: `.venv/bin/python tools/imports.py [--write]`.

An arrow goes from a part of `rig` to one that it imports. What an arrow by way of another says
already is left out, so that the picture stays small; a test holds it against the code.
"""

import sys
from pathlib import Path

import grimp
import networkx

ROOT = Path(__file__).resolve().parents[1]
BEGIN, END = "```mermaid\n", "```\n"


def arrows() -> list[tuple[str, str]]:
    """Pairs of parts, importer first, without those that follow from others."""
    graph = grimp.build_graph("rig", exclude_type_checking_imports=False)
    whole = networkx.DiGraph()
    for module in graph.modules:
        for other in graph.find_modules_directly_imported_by(module):
            one, two = _part(module), _part(other)
            if one and two and one != two:
                whole.add_edge(one, two)
    reduced = networkx.transitive_reduction(whole)
    return sorted(reduced.edges)


def _part(module: str) -> str:
    """`rig.study.lasers` is of `study`; `rig` itself and what only starts it are of none."""
    _, _, rest = module.partition(".")
    return rest.partition(".")[0]


def drawn(pairs: list[tuple[str, str]]) -> str:
    """The picture, as a fenced block."""
    by: dict[str, list[str]] = {}
    for one, two in pairs:
        by.setdefault(one, []).append(two)
    rows = [f"    {one} --> {' & '.join(others)}" for one, others in by.items()]
    return BEGIN + "\n".join(["flowchart TD", *rows]) + "\n" + END


def replaced(text: str, picture: str) -> str:
    """The page with this picture in place of its own."""
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    return before + picture + after


def main() -> None:
    picture = drawn(arrows())
    if sys.argv[1:] == ["--write"]:
        page = ROOT / "DEVELOPERS.md"
        page.write_text(replaced(page.read_text(), picture))
    else:
        print(picture, end="")


if __name__ == "__main__":
    main()
