"""Pure computations of work: windows, lateness, and what reports add up to."""
