"""The whole job on the phone: which page an address means, and how it is made.

Pages are rendered here from what the steps return; a step calls the same study and sessions as the
command line. Whatever reckons or touches a file runs in a thread beside the page's own.
"""

import asyncio
import contextlib
import contextvars
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TypeVar
from urllib.parse import quote, unquote

import aiohttp_jinja2
from aiohttp import web

from rig.errors import JobHeld, RigError
from rig.job.folder import JobFolder, holder_of
from rig.job.store import Job
from rig.language import current, say
from rig.page import firm, jobs, quotes
from rig.page.headers import served
from rig.page.memory import give_back
from rig.page.rendered import CHOSEN, choose_language, prepare, settings
from rig.page.steps import STEPS
from rig.page.visit import LONGEST_FIELD, MOST_UPLOAD, Form, Served, Step, Visit, Wrong
from rig.page.work import Rods, Wanted, Work
from rig.study.rooms import has_several, in_room, names_of
from rig.study.steps import following, stands_of
from rig.texts import harmless

T = TypeVar("T")
THREADS = 3
WRITE_WAIT_S = 5.0
MOST_FIELDS = 200
LONG_S = 0.5
TOO_LARGE = say(
    "That is more than 10 MB: send a smaller file, or take the photo at a lower setting."
)


@dataclass(frozen=True)
class _Shown:
    """What a template gets beside what it shows."""

    template: str
    context: Mapping[str, object]
    status: int = 200
    is_part: bool = False


@dataclass(frozen=True)
class _Goes:
    """To another page, below the page's own root."""

    path: str


_Answer = _Shown | _Goes | Served
_NO_PAGE = _Shown("trouble.html", {"text": say("There is no such page.")}, 404)


class Site:
    """The pages of a folder of jobs.

    Parameters
    ----------
    folder : JobFolder
    work : Work
        Runs live sessions.
    rods : Rods
        What can be measured with.
    """

    def __init__(self, folder: JobFolder, work: Work, rods: Rods) -> None:
        self.folder, self.work, self.rods = folder, work, rods
        self.encrypted = False
        self.wait_s = WRITE_WAIT_S
        self._acting: Counter[str] = Counter()
        self._lock = threading.Lock()
        self._threads = ThreadPoolExecutor(THREADS, thread_name_prefix="site")

    def admits(self, request: web.Request) -> bool:
        """Whoever has the key is in."""
        return True

    def set_up(self, app: web.Application) -> None:
        """Make the templates known to the server."""
        prepare(aiohttp_jinja2.setup(app, **settings()))  # type: ignore[arg-type]

    def close(self) -> None:
        """Let the threads go."""
        self.work.close()
        self._threads.shutdown(wait=False, cancel_futures=True)

    async def answer(self, request: web.Request, path: str, root: str) -> web.StreamResponse:
        """Answer a request that may be answered.

        Parameters
        ----------
        request : web.Request
        path : str
            Below the root, as it was asked for.
        root : str
            Of all pages, beginning and ending with `/`.
        """
        loop = asyncio.get_running_loop()
        try:
            form = await _form(request, self._most_upload(path))
            if path == CHOSEN and request.method == "POST":
                return choose_language(_redirected(request, root), form.text("language"), root)
            work = self._post if request.method == "POST" else self._get
            context = contextvars.copy_context()  # the phone's language goes with its request
            told = await loop.run_in_executor(self._threads, context.run, _tidy, work, path, form)
            if isinstance(told, _Goes):
                return _redirected(request, root + told.path)
            return self._page(request, root, told)
        except web.HTTPRequestEntityTooLarge:
            told = _Shown("trouble.html", {"text": TOO_LARGE}, 413)
        except RigError as error:
            told = _Shown("trouble.html", {"text": error.text}, 400)
        except Exception as error:  # whatever one page cannot do, the others go on
            print(f"rig: the page {path!a} failed: {error!r}", file=sys.stderr)
            told = _Shown("trouble.html", {"text": say("This page cannot be shown just now.")}, 500)
        return _rendered(request, root, told, self.encrypted)

    def _page(self, request: web.Request, root: str, told: "_Shown | Served") -> web.Response:
        if isinstance(told, Served):
            return served(told)
        return _rendered(request, root, told, self.encrypted)

    def _most_upload(self, path: str) -> int:
        """Return how many bytes of a form may come here, 0 where it brings no file."""
        if path == "new" or path.partition("/")[0] == "firm":
            return MOST_UPLOAD
        key = path.rpartition("/")[2]
        return STEPS[key].most_upload if key in STEPS else 0

    # --- in a thread ------------------------------------------------------------------------

    def _get(self, path: str, form: Form) -> _Answer:
        match _parts(path):
            case [] | [""]:
                return self._jobs(form)
            case ["new"]:
                return _Shown("new.html", {"form": form, "view": jobs.new_view(form)})
            case ["away"]:
                return _Shown("away.html", {})
            case ["trust"]:
                return _Shown("trust.html", {})
            case ["quote"]:
                return _Shown("quick.html", {"form": form, "view": quotes.quick_quote(form)})
            case ["firm", *rest]:
                return self._firm(form, rest)
            case ["j", name, "in", room, *rest]:
                return self._get_of(_At(name, room), rest, form)
            case ["j", name, *rest]:
                return self._get_of(_At(name), rest, form)
        return _NO_PAGE

    def _get_of(self, at: "_At", rest: Sequence[str], form: Form) -> _Answer:
        """Answer what is asked of a job, or of one of its rooms."""
        match rest:
            case []:
                return _Goes(at.path)
            case [""]:
                with self._opened(at) as job:
                    return _Goes(at.path + stands_of(job).next)
            case ["after", key]:
                with self._opened(at) as job:
                    told = stands_of(job)
                done = next((step.done for step in told.steps if step.key == key), True)
                return _Goes(at.path + ((following(told, key) or told.next) if done else key))
            case [key] if key in STEPS:
                return self._shown(at, STEPS[key], form)
            case [key, part] if key in STEPS:
                return self._part(at, STEPS[key], part, form)
        return _NO_PAGE

    def _post(self, path: str, form: Form) -> _Answer:
        match _parts(path):
            case ["new"]:
                return self._new(form)
            case [""] | []:
                try:
                    jobs.act(self.folder, self.work, form)
                except RigError as error:
                    form.wrong.setdefault("", error.text)
                    return self._jobs(form, 422)
                return _Goes("")
            case ["firm", *rest]:
                return self._firm_act(form, rest)
            case ["stop"]:
                name = self.work.job
                self.work.stop()
                return _Goes("" if name is None else f"j/{quote(name, safe='')}/")
            case ["j", name, key] if key in STEPS:
                return self._act(_At(name), STEPS[key], form)
            case ["j", name, "in", room, key] if key in STEPS:
                return self._act(_At(name, room), STEPS[key], form)
        return _NO_PAGE

    def _jobs(self, form: Form, status: int = 200) -> _Shown:
        view = jobs.jobs_view(self.folder, self.work)
        context = {"form": form, "view": view, "encrypted": self.encrypted}
        return _Shown("jobs.html", context, status)

    def _new(self, form: Form) -> _Answer:
        try:
            name = jobs.make(self.folder, form)
        except RigError as error:
            if not isinstance(error, Wrong):
                form.wrong[""] = error.text
            return _Shown("new.html", {"form": form, "view": jobs.new_view(form)}, 422)
        if name is None:  # one wall more, or one less
            return _Shown("new.html", {"form": form, "view": jobs.new_view(form)})
        return _Goes(f"j/{quote(name, safe='')}/room")

    def _firm(self, form: Form, rest: list[str], status: int = 200) -> _Answer:
        told = firm.view(form, rest)
        if isinstance(told, Served):
            return told
        template, view = told
        return _Shown(template, {"form": form, "view": view}, status)

    def _firm_act(self, form: Form, rest: list[str]) -> _Answer:
        try:
            with self._lock:  # of two phones none takes the other's back
                return _Goes(firm.act(form, rest))
        except RigError as error:
            if not isinstance(error, Wrong):
                form.wrong[""] = error.text
            return self._firm(form, rest, 422)

    def _shown(self, at: "_At", step: Step, form: Form) -> _Answer:
        """Show a step, or that which stands for it where several rooms are looked at together."""
        if step.of_house:
            with self._opened(at) as job:
                if has_several(job):
                    return _Goes(at.path + step.of_house)
        return self._step(at, step, form)

    def _step(self, at: "_At", step: Step, form: Form, status: int = 200) -> _Shown:
        working = self.work.at(at.name)
        held = "" if working or at.name in self._acting else holder_of(self.folder.file(at.name))
        with self._opened(at) as job:
            visit = self._visit(job, at, form)
            missing, template = "", step.template(visit)
            try:
                view: object = step.view(visit)
            except RigError as error:
                view, missing, template = None, error.text, "missing.html"
            told = stands_of(job)
        context = {
            "form": form,
            "view": view,
            "missing": missing,
            "name": at.name,
            "at": at.path,
            "job_at": _At(at.name).path,
            "visit": visit,
            "step": step,
            "stands": told,
            "following": following(told, step.key),
            "working": working,
            "held": held,
        }
        return _Shown(template, context, status)

    def _part(self, at: "_At", step: Step, part: str, form: Form) -> _Answer:
        with self._opened(at) as job:
            visit = self._visit(job, at, form)
            try:
                told = step.part(visit, part)
            except RigError as error:
                told = "part_trouble.html", error.text
        if isinstance(told, Served):
            return told
        template, view = told
        context = {"view": view, "form": form, "visit": visit, "name": at.name, "at": at.path}
        return _Shown(template, context | {"step": step}, is_part=True)

    def _act(self, at: "_At", step: Step, form: Form) -> _Answer:
        name = at.name
        try:
            with self._writes(name), self._opened(at, write=True) as job:
                visit = self._visit(job, at, form)
                goes = step.act(visit, form.text("act"))
            if isinstance(goes, Wanted):
                path = self.folder.file(name)
                home = f"../{at.path}{goes.back or f'after/{step.key}'}"
                self.work.begin(name, path, goes.in_room(visit.room), home)
                return _Goes("session/")
        except JobHeld as error:
            session = say("A session is at work on this job: stop it first.")
            form.wrong[""] = session if self.work.at(name) else error.text
            return self._step(at, step, form, 409)
        except RigError as error:
            if not isinstance(error, Wrong):
                form.wrong[""] = error.text
            return self._step(at, step, form, 422)
        return self._step(at, step, form) if goes is None else _Goes(at.path + (goes or step.key))

    @contextlib.contextmanager
    def _opened(self, at: "_At", *, write: bool = False) -> Iterator[Job]:
        """Open the job, narrowed to the room that is asked for."""
        wait_s = self.wait_s if write else WRITE_WAIT_S
        with Job.open(self.folder.file(at.name), write=write, wait_s=wait_s) as job:
            yield in_room(job, at.room)

    @contextlib.contextmanager
    def _writes(self, name: str) -> Iterator[None]:
        """Note that a page writes to a job, which keeps nobody from looking at it."""
        with self._lock:
            self._acting[name] += 1
        try:
            yield
        finally:
            with self._lock:
                self._acting[name] -= 1
                if not self._acting[name]:
                    del self._acting[name]

    def _visit(self, job: Job, at: "_At", form: Form) -> Visit:
        several = job.room is not None or has_several(job)
        return Visit(
            job=job,
            name=at.name,
            path=self.folder.file(at.name),
            form=form,
            work=self.work,
            rods=self.rods,
            units=job.units,
            room=None if job.room is None else job.room.name,
            rooms=tuple(names_of(job)) if several else (),
        )


@dataclass(frozen=True)
class _At:
    """A job that is asked for by its name, and a room of it where one is."""

    name: str
    room: str | None = None

    @property
    def path(self) -> str:
        """Where its pages are, below the page's own root."""
        within = "" if self.room is None else f"in/{quote(self.room, safe='')}/"
        return f"j/{quote(self.name, safe='')}/{within}"


def _parts(path: str) -> list[str]:
    return [unquote(part) for part in path.split("/")]


def _tidy(work: "Callable[[str, Form], _Answer]", path: str, form: Form) -> _Answer:
    """Do a page's work, and give back the memory that a long reckoning took."""
    begun_s = time.thread_time()
    try:
        return work(path, form)
    finally:
        if time.thread_time() - begun_s > LONG_S:
            give_back()


async def _form(request: web.Request, most_upload: int) -> Form:
    """Read the fields that were sent; files only where some are taken, whatever they are called."""
    if request.method != "POST":
        told: Mapping[str, object] = request.query
    elif most_upload:
        if (request.content_length or 0) > most_upload:
            raise web.HTTPRequestEntityTooLarge(most_upload, request.content_length or 0)
        told = await request.clone(client_max_size=most_upload).post()
    else:
        told = await request.post()
    fields, files = {}, {}
    for name, value in list(told.items())[:MOST_FIELDS]:
        if isinstance(value, str) and len(value) <= LONGEST_FIELD:
            fields[name[:64]] = harmless(value)
        elif isinstance(value, web.FileField) and most_upload:
            with value.file:
                files[name[:64]] = value.file.read(most_upload)
    return Form(fields, files)


def _rendered(request: web.Request, root: str, told: _Shown, installs: bool) -> web.Response:
    context = {"root": root, "lang": current().lang, "installs": installs, **told.context}
    template = told.template
    if told.is_part and request.headers.get("HX-Request") != "true":  # nothing to put it into
        template, context = "part.html", context | {"part": template}
    response = aiohttp_jinja2.render_template(template, request, context)
    response.set_status(told.status)
    return response


def _redirected(request: web.Request, to: str) -> web.Response:
    if request.headers.get("HX-Request") == "true":
        return web.Response(headers={"HX-Redirect": to})
    return web.Response(status=303, headers={"Location": to})
