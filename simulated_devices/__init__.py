"""Invented hardware: a floor, a laser's line, a rod and an installer who walks it.

It stands for real devices in docs, demos and tests. Everything it says is made up from a seed, and
it shares no code with the tool that reads it, so that an error in one is not hidden by the other.
"""


class Refused(Exception):
    """Something the user asked for cannot be simulated; the message says what and why."""
