"""What taking manure to fields needs: loads, hours, days, and when there is time for it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

MI_KM = 1.609344
# Loads an hour against those near the storage at 0, 1, 2 and 3 miles: a Michigan State University
# study of 13 systems
_AT_MI = (0.0, 1.0, 2.0, 3.0)
_PACE_FRAC = (1.0, 0.8, 0.6, 0.5)


def n_loads(volume_m3: float, *, tank_m3: float, fill_frac: float = 1.0) -> int:
    """Count the loads of a volume, rounded up: part of a load is a trip too.

    Parameters
    ----------
    volume_m3 : float
        To haul, ≥ 0. [m³]
    tank_m3 : float
        What a truck or spreader holds, above 0. [m³]
    fill_frac : float
        How full it goes, above 0 to 1.

    Returns
    -------
    int
        Loads. [-]

    Raises
    ------
    ValueError
        A negative volume, no tank, or a filling outside its range.

    Notes
    -----
    Valid: any volume; a whole number of loads stays itself in spite of rounding.
    Checked: tests/equipment/basins/test_hauling.py::test_eight_million_gallons_are_843_loads

    References
    ----------
    Arithmetic.
    """
    if not 0 <= volume_m3 < float("inf"):
        raise ValueError(f"volume_m3 must be >= 0, got {volume_m3}")
    if not 0 < tank_m3 < float("inf"):
        raise ValueError(f"tank_m3 must be > 0, got {tank_m3}")
    if not 0 < fill_frac <= 1:
        raise ValueError(f"fill_frac must be above 0 to 1, got {fill_frac}")
    return math.ceil(volume_m3 / (tank_m3 * fill_frac) * (1 - 1e-12))


def distance_pace_frac(distance_km: float) -> float:
    """Tell how a truck's loads an hour fall with the distance of the field.

    Parameters
    ----------
    distance_km : float
        Storage to field by road, ≥ 0. [km]

    Returns
    -------
    float
        Loads an hour over those near the storage, 0 to 1. [-]

    Raises
    ------
    ValueError
        A negative distance.

    Notes
    -----
    −20 % at 1 mile, −40 % at 2, −50 % at 3, straight between. Beyond, the time of a load grows on
    by what the third mile added, which is our own extension.

    Valid: to 3 miles (4.8 km), for systems like the 13 of the study; beyond is a guess.
    Checked: tests/equipment/basins/test_hauling.py::test_pace_falls_with_distance_as_published

    References
    ----------
    Michigan State University Extension, manure transport study of 13 systems (canr.msu.edu).
    """
    if not 0 <= distance_km < float("inf"):
        raise ValueError(f"distance_km must be >= 0, got {distance_km}")
    miles = distance_km / MI_KM
    if miles <= _AT_MI[-1]:
        return float(np.interp(miles, _AT_MI, _PACE_FRAC))
    per_mile = 1 / _PACE_FRAC[-1] - 1 / _PACE_FRAC[-2]
    return 1 / (1 / _PACE_FRAC[-1] + per_mile * (miles - _AT_MI[-1]))


def haul_h(
    loads: int,
    *,
    n_trucks: int,
    loads_h: float,
    distance_km: float,
    n_loaders: int,
    loader_loads_h: float,
) -> float:
    """Give the hours that hauling takes: what trucks or loaders hold up.

    Parameters
    ----------
    loads : int
        To haul, ≥ 0.
    n_trucks, n_loaders : int
        In use, 1 or more.
    loads_h : float
        Of one truck near the storage, above 0. [h⁻¹]
    distance_km : float
        Storage to field, ≥ 0. [km]
    loader_loads_h : float
        That one loader (or pump) fills, above 0. [h⁻¹]

    Returns
    -------
    float
        Hours. [h]

    Raises
    ------
    ValueError
        A value outside its range, by name.

    Notes
    -----
    loads / min(trucks · pace at that distance, loaders · their pace).

    Valid: for steady running; no breakdowns, meals or waits are in it.
    Checked: tests/equipment/basins/test_hauling.py::test_hours_reckoned_by_hand

    References
    ----------
    Arithmetic; near the storage 3-4 loads an hour with a tank spreader: Michigan State University.
    """
    if loads < 0:
        raise ValueError(f"loads must be >= 0, got {loads}")
    for name, count in (("n_trucks", n_trucks), ("n_loaders", n_loaders)):
        if count < 1:
            raise ValueError(f"{name} must be 1 or more, got {count}")
    for name, pace in (("loads_h", loads_h), ("loader_loads_h", loader_loads_h)):
        if not 0 < pace < float("inf"):
            raise ValueError(f"{name} must be > 0, got {pace}")
    trucks = n_trucks * loads_h * distance_pace_frac(distance_km)
    return loads / min(trucks, n_loaders * loader_loads_h)


@dataclass(frozen=True, slots=True)
class Window:
    """Days on which a field can take manure, both ends in it."""

    from_on: date
    until_on: date


def windows_ahead(
    rules: Sequence[tuple[str, str]], today: date, horizon_d: int
) -> tuple[Window, ...]:
    """List the windows of every year that are open or open within the horizon, in order.

    A rule is (first, last) day as "MM-DD"; one whose last lies before its first runs over New Year.
    """
    ends_on = today + timedelta(days=horizon_d)
    found = set()
    for first, last in rules:
        for year in range(today.year - 1, ends_on.year + 1):
            until_year = year if last >= first else year + 1
            window = Window(_on(year, first), _on(until_year, last))
            if window.until_on >= today and window.from_on <= ends_on:
                found.add(window)
    return tuple(sorted(found, key=lambda w: (w.from_on, w.until_on)))


def _on(year: int, month_day: str) -> date:
    leap_day = "02-28" if month_day == "02-29" else month_day
    return date.fromisoformat(f"{year}-{leap_day}")


@dataclass(frozen=True, slots=True)
class CleanOut:
    """When to clean a basin out.

    Parameters
    ----------
    n_days : int
        Working days that it takes. [d]
    latest_on : date
        The last day to begin so as to end before the line is passed.
    begin_on, end_on : date or None
        First day that a window leaves room for, and its last; None where none does in time.
    """

    n_days: int
    latest_on: date
    begin_on: date | None
    end_on: date | None


def plan_clean_out(
    *, hours: float, hours_per_d: float, line_on: date, today: date, windows: Sequence[Window]
) -> CleanOut:
    """Find the last good time to clean a basin out before it passes its line.

    Parameters
    ----------
    hours : float
        Of hauling, ≥ 0. [h]
    hours_per_d : float
        That are hauled in a day, above 0 to 24. [h]
    line_on : date
        When the line is passed in the early runs (1 in 10).
    today : date
        Before it nothing begins.
    windows : sequence of Window
        When fields can take it.

    Returns
    -------
    CleanOut
        The latest begin within a window that still ends before the line. [dates]

    Raises
    ------
    ValueError
        Negative hours, or a day of no hours or of more than 24.

    Notes
    -----
    As late as it goes, since more is then taken out at once; every day of the window counts as
    fit, which rain and frost may change.

    Valid: any dates; None where no window leaves the days.
    Checked: tests/equipment/basins/test_hauling.py::test_the_last_days_of_the_window_are_taken

    References
    ----------
    Arithmetic.
    """
    if not 0 <= hours < float("inf"):
        raise ValueError(f"hours must be >= 0, got {hours}")
    if not 0 < hours_per_d <= 24:
        raise ValueError(f"hours_per_d must be above 0 to 24, got {hours_per_d}")
    n_days = max(math.ceil(hours / hours_per_d * (1 - 1e-12)), 1)
    span = timedelta(days=n_days - 1)
    latest_on = line_on - span - timedelta(days=1)
    begins = [
        min(window.until_on - span, latest_on)
        for window in windows
        if min(window.until_on - span, latest_on) >= max(window.from_on, today)
    ]
    begin_on = max(begins, default=None)
    return CleanOut(n_days, latest_on, begin_on, begin_on and begin_on + span)
