"""A quote for the job, at any stage of it; kept, and held against what came true."""

from rig.errors import BadInput, RigError
from rig.language import say
from rig.page.quotes import QuoteView, is_asked, job_quote, names_of, shown
from rig.page.visit import NO_ACT, Step, Visit
from rig.study.quote import came_true, keep
from rig.study.rooms import everywhere
from rig.words import quote as words


class _Quote(Step):
    key = "quote"
    of_job = True

    def view(self, visit: Visit) -> QuoteView:
        kept = ""
        with everywhere(visit.job) as job:
            try:
                told = came_true(job)
                bags = told.quoted.bags
                kept = words.came_true(bags["likely"], bags["low"], bags["high"], told.bags_used)
            except RigError:
                kept = say("A quote is kept.") if job.events(["quote"]) else ""
            if is_asked(visit.form) and not visit.form.wrong:
                try:
                    return shown(job_quote(job, visit.form, visit.cover_unit), kept)
                except RigError as error:
                    visit.form.wrong.setdefault("", str(error))
        return QuoteView(products=names_of("compound"), crews=names_of("crew"), kept=kept)

    def act(self, visit: Visit, act: str) -> str | None:
        if act not in ("quote", "keep"):
            raise BadInput(NO_ACT)
        with everywhere(visit.job) as job:
            answer = job_quote(job, visit.form, visit.cover_unit)
            if act == "keep":
                keep(job, answer)
        return None


STEP = _Quote()
