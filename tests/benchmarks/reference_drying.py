"""Drying of turned layers as a bare numpy recurrence: about 25 array operations an hour.

The states are the water of the layer's two zones (what the air dries, and what a turn brings up
beside it) of every bay and member. Written before the compiled loop, and not changed after.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def water_by_hour(
    top_mm: Floats,
    low_mm: Floats,
    *,
    et0_mm: Floats,
    rain_mm: Floats,
    is_turned: NDArray[np.bool_],
    factor: Floats,
    top_capacity_mm: Floats,
    low_capacity_mm: Floats,
    top_full_mm: float,
    floor_mm: float,
    falling_mm: Floats,
    drained_frac: float,
    top_share_frac: float,
) -> Floats:
    """Water of the layer by the hour's end, shape (n_hours, n_bays, n_members).

    `top_mm` and all that differs by bay and member have shape (n_bays, n_members), the weather and
    `is_turned` (n_hours, n_members). Rain falls first, then drains, then the turn, then the sun.
    """
    water_mm = np.empty((et0_mm.shape[0], *top_mm.shape))
    for hour in range(et0_mm.shape[0]):
        top_mm = top_mm + rain_mm[hour]
        runs_mm = np.maximum(
            np.maximum(top_mm - top_capacity_mm, 0) * drained_frac, top_mm - top_full_mm
        )
        top_mm = top_mm - runs_mm
        lack_mm = low_capacity_mm - low_mm
        low_mm = low_mm + np.minimum(
            runs_mm, np.where(lack_mm > 0, lack_mm, lack_mm * drained_frac)
        )
        if is_turned[hour].any():
            mixed_mm = top_mm + low_mm
            top_mm = np.where(is_turned[hour], mixed_mm * top_share_frac, top_mm)
            low_mm = mixed_mm - top_mm
        demand_mm = factor * et0_mm[hour]
        left_mm = np.maximum(top_mm - floor_mm, 0)
        first_mm = np.minimum(demand_mm, np.maximum(left_mm - falling_mm, 0))
        taken_mm = first_mm + (left_mm - first_mm) * (
            1 - np.exp((first_mm - demand_mm) / falling_mm)
        )
        top_mm = top_mm - taken_mm
        water_mm[hour] = top_mm + low_mm
    return water_mm
