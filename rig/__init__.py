"""floor-rig: from a rod's readings to a level floor."""

__version__ = "0.1.0"
