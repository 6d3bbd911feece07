"""The list of jobs, and a new one."""

import time
from dataclasses import dataclass

from rig.errors import BadInput, RigError
from rig.job.folder import JobFolder
from rig.job.settings import Settings
from rig.job.store import Job
from rig.language import current, say
from rig.page.shapes import ShapeView, paces, shape_of, shape_view
from rig.page.visit import NO_ACT, Form
from rig.page.work import Work
from rig.record import Record
from rig.study.steps import stands_of
from rig.units import Units
from rig.words.clock import when


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRow(Record):
    """A job as the list shows it; `trouble` says why it cannot be opened."""

    name: str
    text: str
    when: str = ""
    working: bool = False
    trouble: str = ""


def jobs_view(folder: JobFolder, work: Work) -> list[JobRow]:
    """Return the jobs of a folder, the one that was touched last first."""
    rows = []
    for name in folder.names():
        try:
            with Job.open(folder.file(name), wait_s=0.2) as job:
                told = stands_of(job)
        except RigError as error:
            rows.append(JobRow(name=name, text="", trouble=error.text))
            continue
        stopped = "" if told.last_utc_s is None else when(told.last_utc_s, time.time())
        rows.append(JobRow(name=name, text=told.text, when=stopped, working=work.at(name)))
    return rows


def act(folder: JobFolder, work: Work, form: Form) -> None:
    """Copy, rename or put away a job."""
    name, new = form.text("job"), form.text("new")
    if work.at(name) and form.text("act") != "copy":
        raise BadInput(say("A session is at work on this job: stop it first."))
    match form.text("act"):
        case "copy":
            folder.copy(name, new)
        case "rename":
            folder.rename(name, new)
        case "archive":
            folder.put_away(name)
        case _:
            raise BadInput(NO_ACT)


# --- a new job ---------------------------------------------------------------------------------


def _units(form: Form) -> Units:
    usual = "in" if current().key == "en" else "mm"  # who speaks another language measures in m
    return Units("mm" if (form.text("units") or usual) == "mm" else "in")


def new_view(form: Form) -> ShapeView:
    """Return what the page of a new job shows of what was typed so far."""
    return shape_view(form, _units(form))


def make(folder: JobFolder, form: Form) -> str | None:
    """Make the job that a form describes and return its name; None where a wall was paced.

    Raises
    ------
    RigError
        Where something in it is wrong.
    """
    from rig.study.described import refuse_no_room

    units = _units(form)
    if paces(form, units):
        return None
    name = form.name("name", say("The job's name"))
    if name is not None:
        with form.noted("name"):
            folder.free(name)
    outline = shape_of(form, units)
    refuse_no_room(outline, units)
    assert name is not None
    file = folder.free(name)
    with Job.create(file, Settings(units=units.system), outline.walls, outline.openings):
        pass
    return file.stem
