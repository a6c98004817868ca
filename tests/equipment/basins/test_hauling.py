"""Loads, hours, and days for cleaning out."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.basins.calc.hauling import (
    MI_KM,
    CleanOut,
    Window,
    distance_pace_frac,
    haul_h,
    n_loads,
    plan_clean_out,
    windows_ahead,
)
from equipment.site.units import UNITS

GAL, FT = UNITS["gal"].factor, UNITS["ft"].factor
TODAY = date(2026, 11, 25)


def test_eight_million_gallons_are_843_loads() -> None:
    """8,000,000 gal by 9,500 are 842.1 loads: 843 trips."""
    assert n_loads(8_000_000 * GAL, tank_m3=9_500 * GAL) == 843


@given(loads=st.integers(0, 100_000), tank_m3=st.floats(0.1, 60))
def test_whole_loads_stay_whole(loads: int, tank_m3: float) -> None:
    assert n_loads(loads * tank_m3, tank_m3=tank_m3) == loads


def test_pace_falls_with_distance_as_published() -> None:
    """Michigan State University: −20 % at 1 mile, −40 % at 2, −50 % at 3."""
    paces = [distance_pace_frac(miles * MI_KM) for miles in (0, 1, 2, 3)]
    assert paces == pytest.approx([1, 0.8, 0.6, 0.5])


@given(near_km=st.floats(0, 40), more_km=st.floats(0, 40))
def test_farther_is_never_faster(near_km: float, more_km: float) -> None:
    assert 0 < distance_pace_frac(near_km + more_km) <= distance_pace_frac(near_km) + 1e-12


def test_hours_reckoned_by_hand() -> None:
    """60 loads, 3 trucks of 4 an hour at 1 mile: 60 / 9.6; one loader of 5 an hour: 60 / 5."""
    usual = {"n_trucks": 3, "loads_h": 4.0, "distance_km": MI_KM, "n_loaders": 1}

    assert haul_h(60, **usual, loader_loads_h=20) == pytest.approx(6.25)  # type: ignore[arg-type]
    assert haul_h(60, **usual, loader_loads_h=5) == pytest.approx(12)  # type: ignore[arg-type]


def test_windows_of_each_year_come_in_order_and_run_over_new_year() -> None:
    windows = windows_ahead([("04-01", "05-10"), ("11-01", "01-15")], TODAY, 200)

    assert windows == (
        Window(date(2026, 11, 1), date(2027, 1, 15)),
        Window(date(2027, 4, 1), date(2027, 5, 10)),
    )


def test_the_last_days_of_the_window_are_taken() -> None:
    window = Window(date(2026, 12, 1), date(2026, 12, 20))

    plan = plan_clean_out(
        hours=21, hours_per_d=8, line_on=date(2027, 2, 1), today=TODAY, windows=[window]
    )

    assert plan == CleanOut(3, date(2027, 1, 29), date(2026, 12, 18), date(2026, 12, 20))


def test_a_line_within_the_window_ends_it() -> None:
    window = Window(date(2026, 12, 1), date(2026, 12, 20))
    line_on = date(2026, 12, 10)

    plan = plan_clean_out(hours=16, hours_per_d=8, line_on=line_on, today=TODAY, windows=[window])

    assert plan.end_on == line_on - timedelta(days=1)


def test_no_window_in_time_gives_no_day() -> None:
    window = Window(date(2027, 4, 1), date(2027, 4, 20))

    plan = plan_clean_out(
        hours=16, hours_per_d=8, line_on=date(2026, 12, 30), today=TODAY, windows=[window]
    )

    assert (plan.begin_on, plan.end_on) == (None, None)


def test_nonsense_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="volume_m3"):
        n_loads(-1, tank_m3=1)
    with pytest.raises(ValueError, match="tank_m3"):
        n_loads(1, tank_m3=0)
    with pytest.raises(ValueError, match="fill_frac"):
        n_loads(1, tank_m3=1, fill_frac=1.5)
    with pytest.raises(ValueError, match="distance_km"):
        distance_pace_frac(-1)
    with pytest.raises(ValueError, match="n_trucks"):
        haul_h(1, n_trucks=0, loads_h=4, distance_km=1, n_loaders=1, loader_loads_h=9)
    with pytest.raises(ValueError, match="loader_loads_h"):
        haul_h(1, n_trucks=1, loads_h=4, distance_km=1, n_loaders=1, loader_loads_h=0)
    with pytest.raises(ValueError, match="loads must"):
        haul_h(-1, n_trucks=1, loads_h=4, distance_km=1, n_loaders=1, loader_loads_h=9)
    with pytest.raises(ValueError, match="hours_per_d"):
        plan_clean_out(hours=1, hours_per_d=0, line_on=TODAY, today=TODAY, windows=[])
    with pytest.raises(ValueError, match="hours must"):
        plan_clean_out(hours=-1, hours_per_d=8, line_on=TODAY, today=TODAY, windows=[])
