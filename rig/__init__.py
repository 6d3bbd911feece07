"""floor-rig: from a rod's readings to a level floor."""

import os

# The matrices of a room are small: threads of the linear algebra gain little on them, and where
# another program runs too they wait for each other a hundred times longer than they work.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"


def main() -> None:
    """Start the command line; a Ctrl-C while it loads ends it as quietly as one later."""
    import sys

    try:
        from rig.cli import main as run
    except KeyboardInterrupt:
        sys.exit(130)
    run()
