"""Each sentence once, with named values: terminal, page, voice and paper say the same.

A message is a whole sentence with its values named, as gettext wants them, so that a translation
may put them in another order. `say` and `say_many` are the names to extract messages by.
"""


def say(message: str, /, **values: object) -> str:
    """Return a sentence with its values put in: `say("{label} taken: {reading}", label=...)`."""
    return message.format(**values) if values else message


def say_many(one: str, many: str, count: float, /, **values: object) -> str:
    """Return the sentence that fits a count; `{count}` stands for it."""
    shown = f"{count:g}" if isinstance(count, float) else f"{count}"
    return (one if count == 1 else many).format(count=shown, **values)
