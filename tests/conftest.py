"""Loads the package before anything loads numpy, so that linear algebra runs on one thread."""

import rig  # noqa: F401
