"""`rig guide`: the chapters of the guide, and one of them."""

import sys

import click

from rig.cli.options import json_option, show, tell
from rig.language import current, join, say


@click.command()
@click.argument("chapter", metavar="[CHAPTER]", required=False)
@json_option
def command(chapter: str | None, as_json: bool) -> None:
    """Show the guide: its chapters, or one of them.

    Set for the width of a terminal; into a file or a pipe goes the Markdown itself.
    """
    from rig import guide

    language = current().key
    if chapter is None:
        told = [
            {"name": name, "title": guide.title(guide.chapter(name)), "about": about}
            for name, about in guide.CHAPTERS.items()
        ]
        lines = [
            f"{name:<11}{guide.title(guide.chapter(name, language)) if own else about}"
            for name, about in guide.CHAPTERS.items()
            for own in [language != "en" and guide.is_in(name, language)]
        ]
        if language != "en":
            lines.append(say("The other chapters are in English."))
        show({"chapters": told}, as_json, join("\n", [*lines, say("Read one: rig guide NAME")]))
        return
    text = guide.chapter(chapter, "en" if as_json else language)
    if not as_json and not guide.is_in(chapter, language):
        tell(say("This chapter is in English."), err=True)
    if not as_json and sys.stdout.isatty():
        from rich.console import Console
        from rich.markdown import Markdown
        from rich.theme import Theme

        plain = Theme(
            {"markdown.code": "bold cyan"}
        )  # no ground of its own: terminals are light too
        Console(highlight=False, theme=plain).print(Markdown(text, code_theme="ansi_dark"))
        return
    show({"name": chapter, "title": guide.title(text), "text": text}, as_json, text.rstrip("\n"))
