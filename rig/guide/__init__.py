"""The guide: one Markdown file a chapter, shipped with the program.

The first chapter is there in every language, in a folder by the language's key.
"""

from importlib.resources import files

from rig.errors import BadInput
from rig.language import join, say

CHAPTERS = {
    "start": "The first job, from the bare floor to the poured one.",
    "pour": "Batches, crew, wet edge; the live log.",
    "firm": "Products, prices, quotes; several rooms; lifts.",
    "planes": "Slopes, thresholds, grinding, prices; shots worth the walk.",
    "sure": "What stands behind every number.",
    "stated": "How often a stated 95 % was kept, by kind of floor.",
    "proof": "Flatness before and after; F-numbers; rules of your own.",
    "laser": "Checks before, during and after; several set-ups.",
    "trouble": "When a rod says what cannot be; traces; simulated rods.",
    "mend": "Tables of shots, wrong tags, a room measured wrong.",
    "phone": "The whole job on a phone; prompts; practice without a rod.",
    "site": "More than one rod in one job.",
    "office": "A company's jobs on one shelf, and what they teach.",
    "many": "Toward very many: what more crews need, and what breaks first.",
    "languages": "Which there are, how to choose one, how to mend a sentence.",
    "bluetooth": "A rod without a cable.",
    "profile": "How a rod of your own speaks.",
    "paper": "Report, customer's page, PDF, DXF, CSV.",
    "small": "On a palm-sized computer: port, service, memory.",
    "scripts": "JSON, exit codes, where the job lies.",
}


def chapter(name: str, language: str = "en") -> str:
    """Return a chapter's Markdown.

    Parameters
    ----------
    name : str
        One of `CHAPTERS`.
    language : str
        A key of `rig.language.LANGUAGES`; where there is none in it, the chapter is in English.

    Returns
    -------
    str
        It begins with one ``# `` heading, the chapter's title.

    Raises
    ------
    BadInput
        There is no such chapter.
    """
    if name not in CHAPTERS:
        raise BadInput(
            say(
                "There is no chapter {name!r}. The chapters are: {chapters}.",
                name=name,
                chapters=join(", ", CHAPTERS),
            )
        )
    folder = files("rig.guide")
    own = folder.joinpath(language, f"{name}.md")
    return (own if own.is_file() else folder.joinpath(f"{name}.md")).read_text(encoding="utf-8")


def is_in(name: str, language: str) -> bool:
    """Whether a chapter is there in a language."""
    return language == "en" or files("rig.guide").joinpath(language, f"{name}.md").is_file()


def title(text: str) -> str:
    """Return what a chapter's first line calls it."""
    return text.partition("\n")[0].removeprefix("# ")
