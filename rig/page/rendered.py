"""Templates and how they are filled: every text that comes out is in the phone's language."""

from functools import cache
from importlib import resources
from urllib.parse import quote

import jinja2
from aiohttp import web
from markupsafe import Markup, escape

from rig.language import (
    LANGUAGES,
    Tongue,
    Worded,
    current,
    join,
    numeral,
    say,
    say_many,
    shown,
    tongue,
)
from rig.page.on_phone import on_phone
from rig.words.page import script_words
from rig.words.steps import TITLES

CHOSEN = "language"
"""The cookie with the language that a phone has chosen."""
CHOSEN_S = 365 * 24 * 3600


def prepare(made: jinja2.Environment) -> jinja2.Environment:
    """Make what all templates use known to them."""
    made.undefined = jinja2.StrictUndefined
    made.finalize = in_words
    made.filters["join"] = lambda parts, between="": join(between, parts)
    made.filters["on_phone"] = on_phone
    made.filters["bold"] = bold
    made.filters["quoted"] = lambda text: quote(str(text), safe="")
    made.globals.update(languages=LANGUAGES, titles=TITLES)
    made.globals.update(say=say, say_many=say_many, join=join, numeral=numeral)
    return made


def settings() -> dict[str, object]:
    """Return how the environment of the templates is made."""
    return {
        "loader": jinja2.FunctionLoader(_template),
        "autoescape": True,
        "trim_blocks": True,
        "lstrip_blocks": True,
        "finalize": in_words,
    }


def live_page() -> bytes:
    """Return the live page in the language in use."""
    import json

    template = environment().get_template("live.html")
    words = json.dumps(script_words(), ensure_ascii=False)
    return template.render(lang=current().lang, decimal=current().decimal, words=words).encode()


def tongue_of(request: web.Request) -> Tongue:
    """Return the language that a phone has chosen, else the one in use here."""
    chosen = request.cookies.get(CHOSEN, "")
    return tongue(chosen) if chosen in LANGUAGES else current()


def choose_language(response: web.Response, key: str, root: str) -> web.Response:
    """Have a phone keep the language that it chose; one that is not there is left alone."""
    if key in LANGUAGES:
        response.set_cookie(
            CHOSEN, key, path=root, max_age=CHOSEN_S, httponly=True, samesite="Strict"
        )
    return response


def in_words(value: object) -> object:
    """Return a sentence in the language in use, and all else as it is."""
    return shown(value) if isinstance(value, Worded) else value


def bold(text: str) -> Markup:
    """Return a sentence whose parts between `**` stand out."""
    parts = shown(text).split("**")
    told = [
        Markup("<b>{}</b>").format(part) if n % 2 else escape(part) for n, part in enumerate(parts)
    ]
    return Markup("").join(told)


@cache
def environment() -> jinja2.Environment:
    """Return what makes pages of the templates."""
    made = jinja2.Environment(**settings())  # type: ignore[arg-type]
    return prepare(made)


def _template(name: str) -> str | None:
    file = resources.files("rig.page") / "templates" / name
    return file.read_text("utf-8") if file.is_file() else None
