"""Writes spans of time as people read them off a clock."""

import time

from rig.words import moment, put, say


def minutes(seconds: float) -> str:
    """Write a span: `40 s`, `6 min`, `6 min 30 s`, `2 h 5 min`; negative ones with a minus.

    h, min and s are symbols of the SI (its brochure, table 8), the same in every language, and
    are typed so too.
    """
    whole = round(abs(seconds))
    sign = "-" if seconds < 0 and whole else ""
    if whole >= 7200:
        hours, rest = divmod(round(whole / 60), 60)
        if not rest:
            return put("{sign}{hours} h", sign=sign, hours=hours)
        return put("{sign}{hours} h {rest} min", sign=sign, hours=hours, rest=rest)
    whole_minutes, rest = divmod(whole, 60)
    if not whole_minutes:
        return put("{sign}{rest} s", sign=sign, rest=rest)
    if not rest:
        return put("{sign}{minutes} min", sign=sign, minutes=whole_minutes)
    return put("{sign}{minutes} min {rest} s", sign=sign, minutes=whole_minutes, rest=rest)


def clock(seconds: float) -> str:
    """Write a time of a schedule: `7:05`, `1:02:30`."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    if hours:
        return f"{hours}:{rest // 60:02d}:{rest % 60:02d}"
    return f"{rest // 60}:{rest % 60:02d}"


def when(utc_s: float, now_s: float) -> str:
    """Write a time of day and its day as seen from now: `today 17:40`, `yesterday 9:05`."""
    then, now = time.localtime(utc_s), time.localtime(now_s)
    at = moment(utc_s, "time")
    days = (_noon_s(now) - _noon_s(then)) / 86400.0
    match round(days):
        case 0:
            return say("today {at}", at=at)
        case 1:
            return say("yesterday {at}", at=at)
    return put("{day} {at}", day=moment(utc_s, "day"), at=at)


def _noon_s(day: time.struct_time) -> float:
    return time.mktime((day.tm_year, day.tm_mon, day.tm_mday, 12, 0, 0, 0, 0, -1))
