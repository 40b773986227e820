"""The invented demo fleet: its files and the seeded generator that made them."""
