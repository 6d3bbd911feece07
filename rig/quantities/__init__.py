"""What to buy and what it weighs: volume, bags, dead load."""
