"""Loads the package before anything loads numpy, so that linear algebra runs on one thread.

What the tests read is English, whoever runs them.
"""

import os

import rig  # noqa: F401

os.environ["LANGUAGE"] = "en"
