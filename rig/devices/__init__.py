"""Rods and receivers: from bytes on a wire to readings in millimetres."""

from rig.devices.reading import Back, Battery, Lost, Notice, Reading

__all__ = ["Back", "Battery", "Lost", "Notice", "Reading"]
