"""Height model of the floor: from shots to a surface, its doubt, and its high point."""
