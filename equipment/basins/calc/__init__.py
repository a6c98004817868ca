"""What basins hold, how they fill, what hauling takes, and what manure brings to fields."""
