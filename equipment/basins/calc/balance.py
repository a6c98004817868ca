"""One day of one basin, compiled: what the projection of levels and the year ahead share."""

from equipment.site.calc.compiled import compiled

MM_M = 1000.0


@compiled
def step_basin(  # noqa: PLR0917  compiled code takes no keyword-only arguments
    liquid_m3: float,
    solids_m3: float,
    capacity_m3: float,
    sludge_m3: float,
    flush_liquid_m3: float,
    flush_solids_m3: float,
    wash_m3: float,
    rain_mm: float,
    evaporation_mm: float,
    catch_m2: float,
    open_m2: float,
    weep_frac: float,
    removed_m3: float,
) -> tuple[float, float, float, float, float, float, float]:
    """Follow the water and the solids of one basin through a day.

    Parameters
    ----------
    liquid_m3 : float
        Free liquid in it in the morning, ≥ 0. [m³]
    solids_m3 : float
        Settled solids in it, with the water they hold, ≥ 0. [m³]
    capacity_m3 : float
        Held to the rim: `StageStorage.full_m3`. [m³]
    sludge_m3 : float
        What a clean-out leaves behind; removal takes nothing below it. [m³]
    flush_liquid_m3 : float
        Liquid that comes with the flush in the day, without what stays in settled solids. [m³]
    flush_solids_m3 : float
        Settled solids that stay in this basin of the day's flush, with the water they hold. [m³]
    wash_m3 : float
        Wash water and other liquid that comes besides. [m³]
    rain_mm : float
        Rain of the day. [mm]
    evaporation_mm : float
        Evaporation of open water in the day, such as ET0. [mm]
    catch_m2 : float
        Area that rain is caught on: to the rim, `StageStorage.rim_m2`. [m²]
    open_m2 : float
        Area that evaporates: 0 under a crust. [m²]
    weep_frac : float
        Share of the free liquid that leaves through the walls (or a pump) in the day, 0 to 1.
    removed_m3 : float
        What loaders can take out in the day, solids first; 0 on other days. [m³]

    Returns
    -------
    liquid_m3, solids_m3 : float
        In it in the evening. [m³]
    rain_m3, evaporated_m3, weeped_m3, taken_m3, overflow_m3 : float
        What came of rain; what left by each way. In − out is the change of liquid + solids. [m³]

    Notes
    -----
    The order is inflow and rain, clean-out, evaporation, weeping, overflow. Evaporation and weeping
    take from free liquid only: a basin without any loses nothing to them, and solids do not
    shrink while they rest (which errs to the full side). Overflow takes liquid before solids. One
    day is one step: a level within the day may stand higher than in the evening.

    Valid: amounts ≥ 0 and shares from 0 to 1; compiled, so nothing is refused here: who calls
    refuses nonsense first.
    Checked: tests/equipment/basins/test_balance.py::test_volume_closes_and_nothing_is_negative,
    test_a_day_reckoned_by_hand

    References
    ----------
    Arithmetic: conservation of volume. Parts of the balance as a storage must hold them: NRCS
    Agricultural Waste Management Field Handbook (651), ch. 10, worksheet 10A-1.
    """
    rain_m3 = rain_mm / MM_M * catch_m2
    liquid_m3 += flush_liquid_m3 + wash_m3 + rain_m3
    solids_m3 += flush_solids_m3
    taken_m3 = min(removed_m3, max(liquid_m3 + solids_m3 - sludge_m3, 0.0))
    taken_solids_m3 = min(taken_m3, solids_m3)
    solids_m3 -= taken_solids_m3
    liquid_m3 = max(liquid_m3 - (taken_m3 - taken_solids_m3), 0.0)
    evaporated_m3 = min(evaporation_mm / MM_M * open_m2, liquid_m3)
    liquid_m3 -= evaporated_m3
    weeped_m3 = weep_frac * liquid_m3
    liquid_m3 -= weeped_m3
    # By what stays, since a difference of what spills could leave less than nothing
    solids_stay_m3 = min(solids_m3, capacity_m3)
    liquid_stay_m3 = min(liquid_m3, capacity_m3 - solids_stay_m3)
    overflow_m3 = (solids_m3 - solids_stay_m3) + (liquid_m3 - liquid_stay_m3)
    return (
        liquid_stay_m3,
        solids_stay_m3,
        rain_m3,
        evaporated_m3,
        weeped_m3,
        taken_m3,
        overflow_m3,
    )
