"""A year of a sand farm as a bare numpy recurrence: about 20 array operations a state update.

States are the water of each pad bay, the sand of each pile and stage, the contents of each basin.
Bays are stepped once or 24 times a day, all else once. Written before the year ahead was made, and
not changed after; only its time for one state update counts, not its answer.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def follow_year(
    rain_mm: Floats, et0_mm: Floats, *, n_bays: int, n_others: int, steps_a_day: int
) -> tuple[Floats, Floats]:
    """Give bays and all else at the end; weather has shape (n_days, n_members)."""
    n_days, n_members = rain_mm.shape
    bays = np.full((n_bays, n_members), 40.0)
    others = np.full((n_others, n_members), 1_000.0)
    for day in range(n_days):
        for _ in range(steps_a_day):
            bays = _step_bays(bays, rain_mm[day] / steps_a_day, et0_mm[day] / steps_a_day)
        others = _step_others(others, rain_mm[day], et0_mm[day])
    return bays, others


def n_state_updates(
    n_days: int, n_members: int, *, n_bays: int, n_others: int, steps_a_day: int
) -> int:
    """Count what `follow_year` does: one for each state, member and step."""
    return n_days * n_members * (n_bays * steps_a_day + n_others)


def _step_bays(water_mm: Floats, rain_mm: Floats, et0_mm: Floats) -> Floats:
    """Rain, draining, two stages of evaporation, a bay that is dry laid anew: 20 operations."""
    water_mm = water_mm + rain_mm
    spare_mm = np.maximum(water_mm - 36.0, 0.0)
    runs_mm = np.maximum(spare_mm * 0.4, water_mm - 120.0)
    water_mm = water_mm - runs_mm
    demand_mm = 1.2 * et0_mm
    left_mm = np.maximum(water_mm - 6.0, 0.0)
    first_mm = np.minimum(demand_mm, np.maximum(left_mm - 5.0, 0.0))
    taken_mm = first_mm + (left_mm - first_mm) * (1.0 - np.exp((first_mm - demand_mm) / 5.0))
    water_mm = water_mm - taken_mm
    return np.where(water_mm < 12.0, 48.0, water_mm)


def _step_others(held: Floats, rain_mm: Floats, et0_mm: Floats) -> Floats:
    """Inflow, rain, losses, use and what runs over: 20 operations."""
    held = held + 25.0 + 0.9 * rain_mm
    lost = np.minimum(held, 0.7 * et0_mm)
    held = held - lost
    seeped = held * 0.01
    held = held - seeped
    used = np.minimum(held, 20.0 + 0.5 * np.abs(et0_mm - 3.0))
    held = held - used
    over = np.maximum(held - 2_000.0, 0.0)
    held = held - over
    is_low = held < 100.0
    held = np.where(is_low, held + 50.0, held)
    return np.where(held > 1_900.0, held * 0.5 + over, held)
