"""Pure computations of the roster: shifts, rest between them, heads by skill."""
