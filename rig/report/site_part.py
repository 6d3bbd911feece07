"""What was logged on the site, and what the compound's sheet asks for."""

from rig.report.document import Abreast, Section, Table, bullets, section
from rig.report.pictures import all_photos
from rig.report.source import Source
from rig.study.site_log import site_log
from rig.words import say
from rig.words import site_log as words


def site_section(source: Source) -> Section | None:
    """Tell the site's log; nothing where nothing was logged."""
    log = site_log(source.job)
    if not log.entries:
        return None
    units = source.units
    rows = tuple(
        (
            source.time(one.utc_s),
            words.named(one.what),
            "" if one.value is None else words.value(one.what, one.value, units),
            one.text or "",
            {True: "within", False: "OUT", None: ""}[one.within],
        )
        for one in log.entries
    )
    head = (say("Time (UTC)"), say("What"), say("Read"), say("Note"), say("By the sheet"))
    photos = all_photos(source.job)
    out = [one.text for one in log.asks if one.within is not True]
    return section(
        "site",
        say("The site"),
        bullets(out, "warning"),
        Table(say("Logged on the site"), head, rows),
        *(Abreast(photos[n : n + 2]) for n in range(0, len(photos), 2)),
    )
