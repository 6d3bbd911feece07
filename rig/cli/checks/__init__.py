"""The checks of `rig check`, one file each, and what they share."""
