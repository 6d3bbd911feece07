"""The pour: its order, its crew and clock, the list before it, and the live log."""
