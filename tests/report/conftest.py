"""The command line of `tests/cli`, for tests of what it writes."""

from tests.cli.conftest import run

__all__ = ["run"]
