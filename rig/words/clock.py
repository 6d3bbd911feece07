"""Writes spans of time as people read them off a clock."""


def minutes(seconds: float) -> str:
    """Write a span: `40 s`, `6 min`, `6 min 30 s`, `2 h 5 min`; negative ones with a minus."""
    whole = round(abs(seconds))
    sign = "-" if seconds < 0 and whole else ""
    if whole >= 7200:
        hours, rest = divmod(round(whole / 60), 60)
        return f"{sign}{hours} h" + (f" {rest} min" if rest else "")
    whole_minutes, rest = divmod(whole, 60)
    if not whole_minutes:
        return f"{sign}{rest} s"
    return f"{sign}{whole_minutes} min" + (f" {rest} s" if rest else "")


def clock(seconds: float) -> str:
    """Write a time of a schedule: `7:05`, `1:02:30`."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    if hours:
        return f"{hours}:{rest // 60:02d}:{rest % 60:02d}"
    return f"{rest // 60}:{rest % 60:02d}"
