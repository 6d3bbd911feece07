"""Run the command line as `python -m rig.cli`."""

from rig.cli import main

main()
