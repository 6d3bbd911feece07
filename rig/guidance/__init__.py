"""Depth markers: where they stand, and what to do with each until its top is at height."""
