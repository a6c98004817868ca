"""A day of a basin."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.basins.calc.balance import step_basin

amount = st.floats(0, 5000)
share = st.floats(0, 1)


def test_a_day_reckoned_by_hand() -> None:
    """10 mm on 1,000 m2 brings 10 m3; 5 mm from 400 m2 takes 2; half of 148 + 10 − 2 weeps."""
    day = step_basin(100.0, 500.0, 2000.0, 0.0, 40.0, 20.0, 8.0, 10.0, 5.0, 1000.0, 400.0, 0.5, 0.0)

    assert day == pytest.approx((78.0, 520.0, 10.0, 2.0, 78.0, 0.0, 0.0))


@given(
    state=st.tuples(amount, amount),
    capacity=amount,
    sludge=amount,
    flows=st.tuples(amount, amount, amount),
    rain=st.floats(0, 300),
    evaporation=st.floats(0, 20),
    open_m2=amount,
    weep=share,
    removed=amount,
)
def test_volume_closes_and_nothing_is_negative(
    state: tuple[float, float],
    capacity: float,
    sludge: float,
    flows: tuple[float, float, float],
    rain: float,
    evaporation: float,
    open_m2: float,
    weep: float,
    removed: float,
) -> None:
    liquid, solids, rained, evaporated, weeped, taken, spilled = step_basin(
        *state, capacity, sludge, *flows, rain, evaporation, 1000.0, open_m2, weep, removed
    )

    came = sum(state) + sum(flows) + rained
    assert liquid + solids + evaporated + weeped + taken + spilled == pytest.approx(came, abs=1e-9)
    assert min(liquid, solids, evaporated, weeped, taken, spilled) >= 0
    assert liquid + solids <= capacity + 1e-9
    assert taken <= removed


def test_an_empty_basin_in_the_sun_stays_empty() -> None:
    day = step_basin(0.0, 0.0, 100.0, 0.0, 0.0, 0.0, 0.0, 0.0, 9.0, 100.0, 100.0, 0.5, 50.0)
    assert day == (0, 0, 0, 0, 0, 0, 0)


def test_a_full_basin_spills_what_comes_liquid_first() -> None:
    liquid, solids, *_flows, spilled = step_basin(
        10.0, 90.0, 100.0, 0.0, 5.0, 3.0, 0.0, 0.0, 0.0, 100.0, 0.0, 0.0, 0.0
    )
    assert (liquid, solids, spilled) == (7.0, 93.0, 8.0)


def test_a_crust_shuts_evaporation_off() -> None:
    day = step_basin(100.0, 0.0, 500.0, 0.0, 0.0, 0.0, 0.0, 0.0, 9.0, 100.0, 0.0, 0.0, 0.0)
    assert day[3] == 0


def test_a_clean_out_leaves_the_sludge() -> None:
    liquid, solids, *_rest, taken, _spilled = step_basin(
        0.0, 800.0, 1000.0, 50.0, 0.0, 0.0, 0.0, 0.0, 0.0, 100.0, 0.0, 0.0, 9999.0
    )
    assert (liquid, solids, taken) == (0, 50, 750)


@given(rain_mm=st.floats(0, 300), more_mm=st.floats(0, 100), weep=share)
def test_more_rain_never_means_less_in_it(rain_mm: float, more_mm: float, weep: float) -> None:
    def held(mm: float) -> float:
        day = step_basin(50.0, 200.0, 900.0, 0.0, 5.0, 5.0, 5.0, mm, 3.0, 1000.0, 500.0, weep, 0.0)
        return day[0] + day[1]

    assert held(rain_mm + more_mm) >= held(rain_mm) - 1e-9
