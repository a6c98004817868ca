"""The farm's flush water over days: what goes round, what leaves, what comes in."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isclose

OPEN_WATER_KC = 1.05  # open water against grass reference: FAO-56, table 12, less than 2 m deep
MM_M = 1e-3


@dataclass(frozen=True, slots=True)
class WaterDay:
    """What a day asks of the water.

    Parameters
    ----------
    flush_m3 : float
        Let go into alleys, 0 or more. [m³]
    sand_m3 : float
        Carried off in scooped sand when all of that is flushed, 0 or more. [m³]
    solids_m3 : float
        Carried off with solids when all of that is flushed, 0 or more; with `sand_m3` at most
        `flush_m3`. [m³]
    rain_mm, et0_mm : float
        Rain and reference evapotranspiration, 0 or more. [mm]
    fresh_m3 : float
        Fresh make-up, 0 or more. [m³]

    Raises
    ------
    ValueError
        If an amount is out of range.
    """

    flush_m3: float
    sand_m3: float
    solids_m3: float
    rain_mm: float
    et0_mm: float
    fresh_m3: float

    def __post_init__(self) -> None:
        for name in ("flush_m3", "sand_m3", "solids_m3", "rain_mm", "et0_mm", "fresh_m3"):
            value = getattr(self, name)
            if not 0 <= value < float("inf"):
                raise ValueError(f"{name} must be 0 or more, got {value}")
        if self.sand_m3 + self.solids_m3 > self.flush_m3 * (1 + 1e-9):
            raise ValueError("sand_m3 and solids_m3 carry off more than flush_m3")


@dataclass(frozen=True, slots=True)
class WaterStore:
    """Where flush water is kept: tanks and the recycled-water store taken together.

    Parameters
    ----------
    capacity_m3 : float
        What it holds, above 0; more spills to the basins. [m³]
    area_m2 : float
        Open surface that rain falls on and air dries, 0 or more. [m²]

    Raises
    ------
    ValueError
        If a value is out of range.
    """

    capacity_m3: float
    area_m2: float

    def __post_init__(self) -> None:
        if not 0 < self.capacity_m3 < float("inf"):
            raise ValueError(f"capacity_m3 must be > 0, got {self.capacity_m3}")
        if not 0 <= self.area_m2 < float("inf"):
            raise ValueError(f"area_m2 must be 0 or more, got {self.area_m2}")


@dataclass(frozen=True, slots=True)
class WaterBalance:
    """One day, or several added up: all in cubic metres.

    Parameters
    ----------
    start_m3, end_m3 : float
        Stored at the start and at the end. [m³]
    flush_m3, return_m3 : float
        Let go, and come back before what sand and solids keep. [m³]
    sand_m3, solids_m3 : float
        Carried off in sand and with solids. [m³]
    evaporation_m3, rain_m3, fresh_m3, spilled_m3 : float
        From and onto the open surface, fresh make-up, over the brim to the basins. [m³]
    short_m3 : float
        Flush that could not be, for want of water. [m³]
    """

    start_m3: float
    flush_m3: float
    return_m3: float
    sand_m3: float
    solids_m3: float
    evaporation_m3: float
    rain_m3: float
    fresh_m3: float
    spilled_m3: float
    short_m3: float
    end_m3: float

    @property
    def rest_m3(self) -> float:
        """What the rows leave unexplained: zero but for rounding [m³]."""
        came = self.return_m3 + self.rain_m3 + self.fresh_m3
        went = self.flush_m3 + self.sand_m3 + self.solids_m3 + self.evaporation_m3 + self.spilled_m3
        return self.start_m3 + came - went - self.end_m3

    def __add__(self, later: "WaterBalance") -> "WaterBalance":
        """Add the days that follow."""
        return WaterBalance(
            self.start_m3,
            self.flush_m3 + later.flush_m3,
            self.return_m3 + later.return_m3,
            self.sand_m3 + later.sand_m3,
            self.solids_m3 + later.solids_m3,
            self.evaporation_m3 + later.evaporation_m3,
            self.rain_m3 + later.rain_m3,
            self.fresh_m3 + later.fresh_m3,
            self.spilled_m3 + later.spilled_m3,
            self.short_m3 + later.short_m3,
            later.end_m3,
        )


def balance_days(
    store: WaterStore, level_m3: float, days: Sequence[WaterDay]
) -> tuple[WaterBalance, ...]:
    """Balance the flush water day by day.

    Parameters
    ----------
    store : WaterStore
        Tanks and recycled water.
    level_m3 : float
        Stored at the start, 0 to the capacity. [m³]
    days : sequence of WaterDay
        In order.

    Returns
    -------
    tuple of WaterBalance
        One for each day. [m³]

    Raises
    ------
    ValueError
        If the level is out of range.

    Notes
    -----
    stored + return − flush − carry-off in sand and solids − evaporation + rain + fresh = stored
    the day after + what spills; it is checked for each day.

    Valid: water that is flushed comes back on the same day, all of it but for what sand and solids
    keep. Rain and fresh water come first, then evaporation takes at most what is there, then the
    flush what it loses; where that is not there, the flush is cut in proportion and told as short.

    Checked: tests/equipment/flushing/test_balance.py::test_a_week_worked_by_hand,
    test_every_day_closes_to_zero

    References
    ----------
    Arithmetic; open water at 1.05 of the reference: Allen et al., Crop Evapotranspiration, FAO-56,
    1998, table 12.
    """
    if not 0 <= level_m3 <= store.capacity_m3:
        raise ValueError(f"level_m3 must be in [0, {store.capacity_m3}], got {level_m3}")
    found: list[WaterBalance] = []
    for day in days:
        found.append(_balance_day(store, level_m3, day))
        level_m3 = found[-1].end_m3
    return tuple(found)


def _balance_day(store: WaterStore, start_m3: float, day: WaterDay) -> WaterBalance:
    rain_m3 = day.rain_mm * MM_M * store.area_m2
    there_m3 = start_m3 + rain_m3 + day.fresh_m3
    evaporation_m3 = min(there_m3, OPEN_WATER_KC * day.et0_mm * MM_M * store.area_m2)
    there_m3 -= evaporation_m3
    loss_m3 = day.sand_m3 + day.solids_m3
    done_frac = min(1.0, there_m3 / loss_m3) if loss_m3 > 0 else float(there_m3 > 0)
    flush_m3 = day.flush_m3 * done_frac
    sand_m3, solids_m3 = day.sand_m3 * done_frac, day.solids_m3 * done_frac
    there_m3 = max(there_m3 - sand_m3 - solids_m3, 0.0)
    end_m3 = min(there_m3, store.capacity_m3)
    found = WaterBalance(
        start_m3=start_m3,
        flush_m3=flush_m3,
        return_m3=flush_m3,
        sand_m3=sand_m3,
        solids_m3=solids_m3,
        evaporation_m3=evaporation_m3,
        rain_m3=rain_m3,
        fresh_m3=day.fresh_m3,
        spilled_m3=there_m3 - end_m3,
        short_m3=day.flush_m3 - flush_m3,
        end_m3=end_m3,
    )
    scale_m3 = start_m3 + rain_m3 + day.fresh_m3 + day.flush_m3
    if not isclose(found.rest_m3, 0.0, abs_tol=1e-9 * (1 + scale_m3)):
        raise ArithmeticError(f"water balance does not close: {found}")
    return found
