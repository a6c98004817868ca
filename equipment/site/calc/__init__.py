"""Pure computations of the ground floor: local time, recurrence, daylight, heat, refusals."""
