"""Checks of the laser and the rod with nothing but the rod, and what they leave in the heights."""
