"""Where to stand, in what order, and when a reading counts as a shot."""
