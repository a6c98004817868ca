"""Manure as excreted, and what of it settles."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.basins.calc.manure import (
    MANURE_SOLIDS_KG_M3,
    WET_SAND_KG_M3,
    Table,
    daily_inflow,
    herd_excretion,
    mixed_density_kg_m3,
)
from equipment.site.units import UNITS

LB, FT3, GAL = UNITS["lb"].factor, UNITS["ft³"].factor, UNITS["gal"].factor
SHARES = {"retained_frac": 0.6, "settled_dm_frac": 0.2, "late_settled_frac": 0.3}


@pytest.mark.trade_check("8")
def test_a_cow_by_its_weight_agrees_with_the_tabulated_cow() -> None:
    """NRCS 651 ch. 4 (2008), Table 4-5: 1,375 lb, 148 lb of manure and 0.97 lb of N a day."""
    cow = herd_excretion(table=Table.NRCS, n_milking=1, cow_kg=1375 * LB)

    assert cow.mass_kg_d / LB == pytest.approx(148, rel=0.01)
    assert cow.n_kg_d / LB == pytest.approx(0.97, rel=0.01)
    assert cow.volume_m3_d / FT3 == pytest.approx(2.4, rel=0.03)


def test_the_planning_rule_of_18_gallons_is_near() -> None:
    """150 lb or 18 gal a cow and day: University of Wisconsin, planning rule."""
    cow = herd_excretion(table=Table.ASAE, n_milking=1)

    assert cow.mass_kg_d / LB == pytest.approx(150, rel=0.01)
    assert cow.volume_m3_d / GAL == pytest.approx(18, rel=0.01)


def test_the_two_tables_stay_apart() -> None:
    """Potassium of D384.2 is half of the NRCS row's; and NRCS has no dry cows here."""
    nrcs = herd_excretion(table=Table.NRCS, n_milking=100)
    asae = herd_excretion(table=Table.ASAE, n_milking=100)

    assert asae.k_kg_d / nrcs.k_kg_d == pytest.approx(0.5, abs=0.01)
    with pytest.raises(ValueError, match="n_dry"):
        herd_excretion(table=Table.NRCS, n_milking=100, n_dry=1)


def test_dry_cows_add_their_own_row() -> None:
    """D384.2 Table 1: 38 kg a day of a dry cow, 87 % water."""
    herd = herd_excretion(table=Table.ASAE, n_milking=2, n_dry=3)

    assert herd.mass_kg_d == pytest.approx(2 * 68 + 3 * 38)
    assert herd.solids_kg_d == pytest.approx(0.13 * herd.mass_kg_d)


def test_no_cows_no_manure() -> None:
    assert herd_excretion(table=Table.ASAE, n_milking=0).mass_kg_d == 0


@pytest.mark.trade_check("T9")
def test_a_fifth_of_sand_by_volume_weighs_72() -> None:
    """Published 72 lb/ft3 of 60 and 120 is by volume; by mass it would be 66.7."""
    by_volume = mixed_density_kg_m3(0.2, WET_SAND_KG_M3, MANURE_SOLIDS_KG_M3)

    assert by_volume / (LB / FT3) == pytest.approx(72)
    by_mass_lb_ft3 = 1 / (0.2 / 120 + 0.8 / 60)
    assert by_mass_lb_ft3 == pytest.approx(66.7, abs=0.05)


def test_settled_solids_reckoned_by_hand() -> None:
    """1,000 cows: 8,840 kg of solids, 60 % kept at 20 % dry matter of 961 kg/m3: 27.6 m3."""
    manure = herd_excretion(table=Table.ASAE, n_milking=1000)
    sand_kg_d = 1922.2

    inflow = daily_inflow(manure, flush_m3_d=900, wash_m3_d=50, sand_kg_d=sand_kg_d, **SHARES)

    assert inflow.settled_m3 == pytest.approx(27.6 + 1.0, abs=0.05)
    assert inflow.late_settled_m3 == pytest.approx(8840 * 0.4 * 0.3 / (0.2 * 961.1), rel=1e-3)
    assert inflow.settled_kg_m3 == pytest.approx(961.1 * (1 + 1 / 28.6), rel=1e-3)


@given(
    n=st.integers(0, 5000),
    flush_m3_d=st.floats(0, 5000),
    sand_kg_d=st.floats(0, 50_000),
    retained=st.floats(0, 1),
    dm=st.floats(0.01, 1),
)
def test_what_settles_and_what_passes_is_all_that_came(
    n: int, flush_m3_d: float, sand_kg_d: float, retained: float, dm: float
) -> None:
    manure = herd_excretion(table=Table.ASAE, n_milking=n)
    inflow = daily_inflow(
        manure,
        flush_m3_d=flush_m3_d,
        wash_m3_d=0,
        sand_kg_d=sand_kg_d,
        retained_frac=retained,
        settled_dm_frac=dm,
        late_settled_frac=1,
    )

    came_m3 = flush_m3_d + manure.volume_m3_d + sand_kg_d / WET_SAND_KG_M3
    assert inflow.settled_m3 + inflow.liquid_m3 == pytest.approx(came_m3)
    assert 0 <= inflow.late_settled_m3 <= inflow.liquid_m3 + 1e-9


@pytest.mark.parametrize(
    "wrong",
    [
        {"flush_m3_d": -1.0},
        {"wash_m3_d": float("nan")},
        {"sand_kg_d": -1.0},
        {"retained_frac": 1.1},
        {"settled_dm_frac": 0.0},
        {"late_settled_frac": -0.1},
    ],
)
def test_nonsense_is_refused_by_name(wrong: dict[str, float]) -> None:
    usual = {"flush_m3_d": 1.0, "wash_m3_d": 1.0, "sand_kg_d": 1.0, **SHARES}
    with pytest.raises(ValueError, match=next(iter(wrong))):
        daily_inflow(herd_excretion(table=Table.ASAE, n_milking=1), **usual | wrong)


def test_herds_and_mixtures_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="n_milking"):
        herd_excretion(table=Table.ASAE, n_milking=-1)
    with pytest.raises(ValueError, match="cow_kg"):
        herd_excretion(table=Table.NRCS, n_milking=1, cow_kg=0)
    with pytest.raises(ValueError, match="share_frac"):
        mixed_density_kg_m3(1.2, 1900, 1000)
    with pytest.raises(ValueError, match="base_kg_m3"):
        mixed_density_kg_m3(0.2, 1900, 0)
