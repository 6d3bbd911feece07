"""The whole job on simulated devices: the demo, its faults, practice, and how near the truth."""
