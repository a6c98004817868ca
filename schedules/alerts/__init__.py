"""The few things that need a decision: what will go wrong, by when to decide, two answers."""
