"""A bound that no plan's cost can be below, proved apart from the search."""
