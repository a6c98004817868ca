"""Fall velocities against published tables and a library's own examples."""

import numpy as np
import pytest
from fluids.drag import v_terminal
from hypothesis import given
from hypothesis import strategies as st

from equipment.sandyard.calc import (
    natural_grain_velocity_m_s,
    sphere_velocity_m_s,
    stokes_is_valid,
    stokes_velocity_m_s,
    water_density_kg_m3,
    water_viscosity_pa_s,
)
from equipment.sandyard.calc.settling import reynolds

grains_m = st.floats(0.02e-3, 4e-3)
waters_degc = st.floats(0, 39)


@pytest.mark.parametrize(
    ("degc", "density_kg_m3", "viscosity_pa_s"),
    # CRC Handbook of Chemistry and Physics, "Viscosity and density of water" (from memory).
    [(0, 999.84, 1.792e-3), (5, 999.97, 1.518e-3), (10, 999.70, 1.306e-3), (20, 998.21, 1.0016e-3)],
)
def test_water_of_published_temperatures(
    degc: float, density_kg_m3: float, viscosity_pa_s: float
) -> None:
    assert water_density_kg_m3(degc) == pytest.approx(density_kg_m3, abs=0.01)
    assert water_viscosity_pa_s(degc) == pytest.approx(viscosity_pa_s, rel=1e-3)


def test_viscosity_at_25_degrees_is_the_releases_own_check() -> None:
    # IAPWS SR6-08(2011), computer-program verification: 889.996 µPa s at 298.15 K (from memory).
    assert water_viscosity_pa_s(25.0) == pytest.approx(889.996e-6, rel=1e-5)


@pytest.mark.trade_check("5")
@pytest.mark.parametrize(
    ("grain_mm", "stokes", "natural", "sphere"),
    [  # Stokes and Ferguson-Church: the formulas worked at 998.2 kg/m³, 1.002e-3 Pa s, 9.81 m/s²
        (0.05, 2.246, 2.102, 2.218),  # spheres: fluids 1.3.1, v_terminal
        (0.10, 8.984, 7.529, 8.261),
        (0.25, 56.15, 31.84, 32.81),
        (0.50, 224.6, 71.10, 76.60),
        (1.00, 898.4, 126.4, 159.3),
        (2.00, 3594.0, 196.7, 283.6),
    ],
)
def test_velocities_of_the_published_table(
    grain_mm: float, stokes: float, natural: float, sphere: float
) -> None:
    grain_m = grain_mm / 1000
    assert stokes_velocity_m_s(grain_m) * 1000 == pytest.approx(stokes, rel=0.01)
    assert natural_grain_velocity_m_s(grain_m) * 1000 == pytest.approx(natural, rel=0.01)
    assert sphere_velocity_m_s(grain_m) * 1000 == pytest.approx(sphere, rel=0.01)


def test_the_gas_processors_example() -> None:
    # GPSA Engineering Data Book, 13th ed., example 7-1: 0.46 ft/s printed for a drop of 150 µm;
    # fluids gives 0.4492, of its documentation like the second case.
    ft_s = v_terminal(D=150e-6, rhop=31.2 * 16.018463, rho=2.07 * 16.018463, mu=1.2e-5) / 0.3048
    assert ft_s == pytest.approx(0.4492, rel=5e-4)
    assert v_terminal(D=70e-6, rhop=2600, rho=1000, mu=1e-3) == pytest.approx(0.00414249724453)


@pytest.mark.trade_check("5")
def test_stokes_is_flagged_out_of_range() -> None:
    speed = sphere_velocity_m_s(0.25e-3)
    assert reynolds(0.25e-3, speed) == pytest.approx(8.2, rel=0.01)
    assert not stokes_is_valid(0.25e-3)
    assert stokes_is_valid(0.05e-3)
    assert np.asarray(stokes_is_valid(np.array([0.05e-3, 0.25e-3]))).tolist() == [True, False]


@pytest.mark.parametrize(("grain_mm", "mm_s"), [(0.1, 5.25), (0.25, 24.6), (0.5, 61.0)])
def test_cold_water_slows_fine_grains(grain_mm: float, mm_s: float) -> None:
    # Ferguson and Church worked with 5 °C, ν = 1.519e-6 m²/s
    found = natural_grain_velocity_m_s(grain_mm / 1000, water_degc=5.0)
    assert found * 1000 == pytest.approx(mm_s, rel=0.01)


@given(waters_degc)
def test_warm_water_is_thinner(degc: float) -> None:
    assert water_viscosity_pa_s(degc + 1) < water_viscosity_pa_s(degc)


@given(grains_m, waters_degc, st.floats(1.05, 1.5))
def test_heavier_larger_and_warmer_fall_faster(grain_m: float, degc: float, factor: float) -> None:
    speed = natural_grain_velocity_m_s(grain_m, water_degc=degc)
    assert natural_grain_velocity_m_s(grain_m * factor, water_degc=degc) > speed
    assert natural_grain_velocity_m_s(grain_m, water_degc=degc + 1) > speed
    heavy = natural_grain_velocity_m_s(grain_m, grain_kg_m3=2650 * factor, water_degc=degc)
    assert heavy > speed


@given(st.floats(1e-6, 5e-6))
def test_the_smallest_grains_obey_stokes(grain_m: float) -> None:
    stokes = stokes_velocity_m_s(grain_m)
    assert natural_grain_velocity_m_s(grain_m) == pytest.approx(stokes, rel=0.01)
    assert sphere_velocity_m_s(grain_m) == pytest.approx(stokes, rel=0.01)


def test_arrays_equal_scalars() -> None:
    grains = np.array([0.075e-3, 0.25e-3, 1e-3])
    for law in (stokes_velocity_m_s, natural_grain_velocity_m_s, sphere_velocity_m_s):
        assert np.asarray(law(grains)) == pytest.approx(
            [law(float(one)) for one in grains], rel=1e-12
        )


def test_what_does_not_sink_or_is_no_water_is_refused() -> None:
    with pytest.raises(ValueError, match="grain_m must be > 0"):
        natural_grain_velocity_m_s(0.0)
    with pytest.raises(ValueError, match="grain_kg_m3 must be above"):
        stokes_velocity_m_s(1e-4, grain_kg_m3=900)
    for degc in (-1.0, 41.0, float("nan")):
        with pytest.raises(ValueError, match="water_degc must be 0 to 40"):
            sphere_velocity_m_s(1e-4, water_degc=degc)
