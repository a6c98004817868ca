"""Basins in two stages as a bare numpy recurrence: every member at once, day after day.

Written after the compiled loop, from the rules that `step_basin` and `project_basins` state, as
operations on whole arrays; not changed for its speed since.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def volumes_by_day(
    liquid_m3: Floats,
    solids_m3: Floats,
    *,
    capacity_m3: Floats,
    rim_m2: Floats,
    open_m2: Floats,
    weep_frac: Floats,
    gets_frac: Floats,
    n_first: int,
    settled_m3: float,
    passing_m3: float,
    wash_m3: float,
    late_m3: float,
    returned_m3: float,
    rain_mm: Floats,
    evaporation_mm: Floats,
) -> Floats:
    """Volume of each basin in the evening, shape (n_members, n_days, n_basins).

    All that is a basin's own has shape (n_basins,), the first stage first; the weather
    (n_members, n_days).
    """
    n_members, n_days = rain_mm.shape
    first, second = slice(0, n_first), slice(n_first, None)
    liquid = np.tile(liquid_m3, (n_members, 1))
    solids = np.tile(solids_m3, (n_members, 1))
    volume = np.empty((n_members, n_days, liquid_m3.size))
    for day in range(n_days):
        rain_m3 = rain_mm[:, day, None] / 1000 * rim_m2
        dries_m3 = evaporation_mm[:, day, None] / 1000 * open_m2
        liquid += rain_m3
        liquid[:, first] += gets_frac[first] * (passing_m3 + wash_m3)
        solids[:, first] += gets_frac[first] * settled_m3
        out = _let_go(liquid, solids, first, dries_m3, weep_frac, capacity_m3)
        passed_m3 = out.sum(axis=1, keepdims=True)
        settles_m3 = np.minimum(late_m3, passed_m3)
        comes_m3 = gets_frac[second] * (passed_m3 - settles_m3 - returned_m3)
        # Rain of the day is not drawn back: only what stood there before it, and the flow.
        stood_m3 = liquid[:, second] - rain_m3[:, second]
        liquid[:, second] = np.maximum(stood_m3 + comes_m3, 0) + rain_m3[:, second]
        solids[:, second] += gets_frac[second] * settles_m3
        _let_go(liquid, solids, second, dries_m3, weep_frac, capacity_m3)
        volume[:, day] = liquid + solids
    return volume


def _let_go(
    liquid: Floats,
    solids: Floats,
    stage: slice,
    dries_m3: Floats,
    weep_frac: Floats,
    capacity_m3: Floats,
) -> Floats:
    """Dry, weep and spill one stage in place; gives what left for the next."""
    wet_m3 = np.maximum(liquid[:, stage] - dries_m3[:, stage], 0)
    weeps_m3 = wet_m3 * weep_frac[stage]
    wet_m3 = wet_m3 - weeps_m3
    solid_m3 = np.minimum(solids[:, stage], capacity_m3[stage])
    held_m3 = np.minimum(wet_m3, capacity_m3[stage] - solid_m3)
    spills_m3 = (wet_m3 - held_m3) + (solids[:, stage] - solid_m3)
    liquid[:, stage], solids[:, stage] = held_m3, solid_m3
    out: Floats = weeps_m3 + spills_m3
    return out
