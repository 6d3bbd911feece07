"""The office's pages, read only: jobs and their reports, and what the books answer."""

import asyncio
import contextvars
import sys
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any, NamedTuple

import aiohttp_jinja2
from aiohttp import web

from rig.drawing.bars import Bar, bars_drawing
from rig.errors import CannotAnswer, RigError
from rig.language import current, moment, numeral, put, say
from rig.office import books
from rig.office.ask import ask, questions
from rig.page.drawn import WIDE_MM
from rig.page.headers import plain, served
from rig.page.office_door import IN, OUT, Door, with_cookie
from rig.page.office_report import report_file, report_files
from rig.page.office_tables import answer_parts, job_facts
from rig.page.rendered import prepare, settings
from rig.page.told import parts
from rig.page.visit import Served
from rig.report.document import Block, Facts, Figure, Section, Words
from rig.words import office as words

if TYPE_CHECKING:
    from rig.office.place import Place

_Told = tuple[int, str, Mapping[str, object]]
"""A status, a template and what it shows."""
_MOST_JOBS, _MOST_BARS = 200, 30
_PLOTS: Mapping[str, tuple[str, float | None]] = {
    "yield": ("used_over_stated", 1.0),
    "short": ("share", None),
    "coverage": ("share", None),
    "laser": ("last", None),
    "markers": ("mean_mm", 0.0),
    "flatness": ("share_in", None),
    "pace": ("over_planned", 1.0),
}
"""Of each question the column that is drawn, and the line that it is held to."""
_JOBS = f"""SELECT uid, crew, product, area_m2, last_utc_s, fork,
    len(shots) AS shots, volume_l, poured_utc_s, proofs[-1].verdict AS verdict
    FROM job ORDER BY last_utc_s DESC, uid LIMIT {_MOST_JOBS}"""
_JOB = """SELECT uid, crew, product, laser, floor, area_m2, made_utc_s, last_utc_s, poured_utc_s,
    volume_l, cover_mean_mm, chance_min_cover, stated_bags, upper_bags, buy_bags, used_bags, fork
    FROM job WHERE uid = ?"""
_LISTS = ("checks", "pours", "proofs")


class OfficeSite:
    """The pages of an office.

    Parameters
    ----------
    place : Place
    door : Door, optional
        Lets in those who have an account; without it whoever has the key of the address is in.
    """

    def __init__(self, place: "Place", door: Door | None = None) -> None:
        self._place, self._door = place, door
        self._threads = ThreadPoolExecutor(2, thread_name_prefix="office")

    def set_up(self, app: web.Application) -> None:
        """Make the templates known to the server."""
        prepare(aiohttp_jinja2.setup(app, **settings()))  # type: ignore[arg-type]

    def close(self) -> None:
        """Let the threads go."""
        self._threads.shutdown(wait=False, cancel_futures=True)

    def admits(self, request: web.Request) -> bool:
        """Whether who asks may look."""
        return self._door is None or self._door.name_of(request) is not None

    async def answer(self, request: web.Request, path: str, root: str) -> web.StreamResponse:
        """Answer a request; nothing of the office can be changed here."""
        if self._door is not None:
            if path in (IN, OUT):
                return await self._at_the_door(self._door, request, path, root)
            if not self.admits(request):
                if request.method in ("GET", "HEAD"):
                    return web.Response(status=303, headers={"Location": root + IN})
                return plain(403, say("Come in first."))
        told: _Told | Served = (405, "trouble.html", {"text": say("Only GET.")})
        if request.method in ("GET", "HEAD"):
            loop = asyncio.get_running_loop()
            kept = contextvars.copy_context()
            told = await loop.run_in_executor(self._threads, kept.run, self._told, path)
        return served(told) if isinstance(told, Served) else self._rendered(request, root, told)

    async def _at_the_door(
        self, door: Door, request: web.Request, path: str, root: str
    ) -> web.StreamResponse:
        wrong = ""
        if request.method == "POST":
            if path == OUT:
                door.leave(request)
                out = web.Response(status=303, headers={"Location": root + IN})
                return with_cookie(out, "", root, secure=request.secure)
            form = await request.post()
            token = door.come_in(str(form.get("name", "")), str(form.get("password", "")))
            if token is not None:
                into = web.Response(status=303, headers={"Location": root})
                return with_cookie(into, token, root, secure=request.secure)
            wrong = say("Name and password do not go together.")
        told: _Told = (403 if wrong else 200), "office_in.html", {"wrong": wrong}
        return self._rendered(request, root, told)

    def _rendered(self, request: web.Request, root: str, told: "_Told") -> web.Response:
        status, template, context = told
        name = None if self._door is None else self._door.name_of(request)
        whole = {"root": root, "lang": current().lang, "installs": False, "who": name, **context}
        response = aiohttp_jinja2.render_template(template, request, whole)
        response.set_status(status)
        return response

    def _told(self, path: str) -> "_Told | Served":
        try:
            told = self._page(path)
        except KeyError:
            return 404, "trouble.html", {"text": say("There is no such page.")}
        except RigError as error:
            return 400, "trouble.html", {"text": error.text}
        except Exception as error:  # whatever one page cannot do, the others go on
            print(f"rig: the page {path!a} failed: {error!r}", file=sys.stderr)
            return 500, "trouble.html", {"text": say("This page cannot be shown just now.")}
        return told if isinstance(told, Served) else (200, *told)

    def _page(self, path: str) -> "tuple[str, dict[str, object]] | Served":
        """Return a page's template and what it shows, or a file.

        Raises
        ------
        KeyError
            There is no such page.
        """
        match path.split("/"):
            case [""]:
                return "office.html", self._jobs()
            case ["ask", key] if key in questions():
                shows = {"heading": key, "files": (), "view": self._question(key)}
                return "office_part.html", shows
            case ["job", uid]:
                view = self._job(uid)
                shows = {"heading": uid[:12], "files": report_files(uid), "view": view}
                return "office_part.html", shows
            case ["job", uid, file]:
                return report_file(self._place, uid, file)
        raise KeyError(path)

    def _jobs(self) -> dict[str, object]:
        asked = [(key, words.question(one.text)) for key, one in questions().items()]
        try:
            with books.opened(self._place) as connection:
                rows = [_Job(*row) for row in connection.execute(_JOBS).fetchall()]
        except CannotAnswer as error:
            return {"rows": (), "questions": asked, "none": error.text}
        return {"rows": [_listed(row) for row in rows], "questions": asked, "none": ""}

    def _question(self, key: str) -> object:
        answer = ask(self._place, key)
        question = questions()[key]
        blocks: list[Block] = list(answer_parts(answer, question))
        column, held_to = _PLOTS[key]
        bars = [bar for row in answer.rows if (bar := _bar(row, column)) is not None][:_MOST_BARS]
        if bars:
            title = words.question(question.text)
            line = _held_to(key, answer.rows, held_to)
            drawing = bars_drawing(title, bars, WIDE_MM, line, from_zero=key == "laser")
            blocks.insert(0, Figure(key, drawing, told="answer"))
        return parts([Section("answer", "", tuple(blocks))])

    def _job(self, uid: str) -> object:
        from rig.office.ask import Answer

        found: list[Block] = []
        with books.opened(self._place) as connection:
            rows = _dicts(connection.execute(_JOB, [uid]))
            if not rows:
                raise KeyError(uid)
            lists = {
                name: _dicts(
                    connection.execute(
                        f"SELECT one.* FROM (SELECT unnest({name}) AS one FROM job WHERE uid = ?)",
                        [uid],
                    )
                )
                for name in _LISTS
            }
        as_of = books.as_of(self._place)
        found.append(Facts(job_facts(rows[0]), told="answer"))
        if rows[0]["fork"]:
            found.append(Words(words.in_two_copies(), "warning", told="answer"))
        for name, told in lists.items():
            if told:
                answer = Answer(rows=tuple(_known(told)), jobs=1, as_of=as_of)
                found += answer_parts(answer, None, words.list_of(name))[:1]
        return parts([Section("job", "", tuple(found))])


def _known(rows: Sequence[Mapping[str, Any]]) -> Iterator[Mapping[str, Any]]:
    """Yield rows without the columns that none of them fills, and what is reckoned for others."""
    filled = [
        name
        for name in rows[0]
        if not name.startswith("log_") and any(row[name] is not None for row in rows)
    ]
    for row in rows:
        yield {name: row[name] for name in filled}


class _Job(NamedTuple):
    """A job as `_JOBS` returns it."""

    uid: str
    crew: str | None
    product: str | None
    area_m2: float
    last_utc_s: float
    fork: bool
    shots: int
    volume_l: float | None
    poured_utc_s: float | None
    verdict: str | None


def _listed(job: _Job) -> dict[str, object]:
    """Return a job as the list shows it."""
    state = (
        words.proved(job.verdict)
        if job.verdict
        else words.poured()
        if job.poured_utc_s
        else words.planned()
        if job.volume_l
        else words.surveyed()
        if job.shots
        else words.begun()
    )
    return {
        "uid": job.uid,
        "name": job.uid[:12],
        "state": state,
        "who": " · ".join(one for one in (job.crew, job.product) if one),
        "area": put("{n} m²", n=numeral(job.area_m2, ".1f")),
        "when": moment(job.last_utc_s, "day", utc=True),
        "fork": job.fork,
    }


def _bar(row: Mapping[str, Any], column: str) -> Bar | None:
    value = row.get(column)
    if value is None:
        return None
    names = ("crew", "product", "value", "laser", "kind", "rule")
    told = [str(row[name]) for name in names if row.get(name) is not None]
    label = " ".join(told or [str(row.get("by", ""))])
    low, high = row.get("low"), row.get("high")
    if column == "mean_mm" and row.get("sd_mm") is not None:
        low, high = value - row["sd_mm"], value + row["sd_mm"]
    return Bar(label or "–", float(value), low, high)


def _held_to(key: str, rows: Sequence[Mapping[str, Any]], usual: float | None) -> float | None:
    """Return the line that all rows are held to, where they are held to the same."""
    name = {"coverage": "confidence", "laser": "limit_mm_per_m"}.get(key)
    told = {row[name] for row in rows} if name else set()
    return told.pop() if len(told) == 1 else usual


def _dicts(found: Any) -> list[dict[str, Any]]:
    names = [column[0] for column in found.description or ()]
    return [dict(zip(names, row, strict=True)) for row in found.fetchall()]
