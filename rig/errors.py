"""What can go wrong for a user, each with the exit code the command line gives it.

Every message says what is wrong, where, and what to do; it is printed as it stands.
"""


class RigError(Exception):
    """A mistake or mishap that the user can mend; never shown as a traceback."""

    exit_code = 2

    @property
    def text(self) -> str:
        """What it says, a sentence that other languages know of."""
        return self.args[0] if self.args and isinstance(self.args[0], str) else str(self)


class BadInput(RigError):
    """Something the user gave is wrong: text, file, option."""

    exit_code = 2


class CannotAnswer(RigError):
    """The job is sound but does not hold enough to answer."""

    exit_code = 1


class DeviceUnavailable(RigError):
    """The rod could not be reached at the start."""

    exit_code = 3


class OfficeUnavailable(RigError):
    """The company's office could not be reached, or did not let in."""

    exit_code = 3


class JobUnusable(RigError):
    """The job file is damaged, newer than this program, or cannot be written."""

    exit_code = 4


class JobWarning(UserWarning):
    """Something about a job file that its user should hear of, and that stops nothing."""


class JobHeld(JobUnusable):
    """Another process writes to the job; once that has ended it is as good as ever."""

    exit_code = 5
