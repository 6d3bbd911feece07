"""Rods and receivers: from bytes on a wire to readings in millimetres."""

from rig.devices.reading import Back, Lost, Notice, Reading

__all__ = ["Back", "Lost", "Notice", "Reading"]
