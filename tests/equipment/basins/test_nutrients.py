"""What manure brings to a field."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.basins.calc.nutrients import Analysis, Nutrient, Rates, application_rates
from equipment.site.units import UNITS

LB_TON = UNITS["lb"].factor / (UNITS["ton"].factor / 1000)  # kg/t in a lb/ton
LB_ACRE = UNITS["lb"].factor / (UNITS["acre"].factor / 10_000)  # kg/ha in a lb/acre
TON_ACRE = (UNITS["ton"].factor / 1000) / (UNITS["acre"].factor / 10_000)  # t/ha in a ton/acre
SHEET = Analysis(21 * LB_TON, 8 * LB_TON, 0, 18 * LB_TON, 26 * LB_TON)


def rates(limits: frozenset[Nutrient]) -> Rates:
    available = SHEET.available_n_kg_t(mineralised_frac=0.25, nh4_kept_frac=0.66)
    per_t = {Nutrient.N: available, Nutrient.P: SHEET.p2o5_kg_t, Nutrient.K: SHEET.k2o_kg_t}
    need = {
        Nutrient.N: 160 * LB_ACRE,
        Nutrient.P: 50 * LB_ACRE,
        Nutrient.K: 75 * LB_ACRE,
    }
    return application_rates(per_t, need, limits)


@pytest.mark.trade_check("9")
def test_rates_of_the_published_worksheet() -> None:
    """Montana State University step 5: PAN 8.53 lb/ton; 18.8, 2.8 and 2.9 ton/acre."""
    available = SHEET.available_n_kg_t(mineralised_frac=0.25, nh4_kept_frac=0.66)
    reckoned = rates(frozenset(Nutrient))

    assert available / LB_TON == pytest.approx(8.53, abs=0.005)
    assert [reckoned.t_ha[nutrient] / TON_ACRE for nutrient in Nutrient] == pytest.approx(
        [18.8, 2.8, 2.9], abs=0.05
    )


def test_phosphorus_governs_where_its_rules_apply_and_nitrogen_where_none_does() -> None:
    """At 18.76 ton/acre the same manure brings 338 lb of P2O5 against a need of 50."""
    by_all, by_n = rates(frozenset(Nutrient)), rates(frozenset({Nutrient.N}))

    assert (by_all.governing, by_n.governing) == (Nutrient.P, Nutrient.N)
    assert by_n.governing_t_ha * SHEET.p2o5_kg_t / LB_ACRE == pytest.approx(338, abs=0.5)


def test_what_a_manure_lacks_never_limits() -> None:
    none = dict.fromkeys(Nutrient, 0.0)
    assert application_rates(none, dict.fromkeys(Nutrient, 9.0), frozenset(Nutrient)).t_ha == (
        dict.fromkeys(Nutrient, float("inf"))
    )


@given(n=st.floats(0.01, 20), p=st.floats(0.01, 20), k=st.floats(0.01, 20))
def test_the_governing_rate_passes_no_need(n: float, p: float, k: float) -> None:
    per_t = {Nutrient.N: n, Nutrient.P: p, Nutrient.K: k}
    need = dict.fromkeys(Nutrient, 100.0)

    rate = application_rates(per_t, need, frozenset(Nutrient)).governing_t_ha

    assert all(rate * per_t[nutrient] <= 100 * (1 + 1e-9) for nutrient in Nutrient)


@pytest.mark.trade_check("T7")
def test_an_acre_foot_is_325_851_gallons_whatever_a_worksheet_prints() -> None:
    """A published sheet takes 350,850; 0.618 acre-ft of runoff are 201,268 gal by the true one."""
    acre_ft_gal = UNITS["acre"].factor * UNITS["ft"].factor / UNITS["gal"].factor
    runoff_acre_ft = (2.2 - 0.5) / 12 * 4.36

    assert acre_ft_gal == pytest.approx(325_851, abs=1)
    assert runoff_acre_ft * acre_ft_gal == pytest.approx(201_268, rel=2e-4)


def test_nonsense_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="n_kg_t"):
        Analysis(-1, 0, 0, 0, 0)
    with pytest.raises(ValueError, match="nh4_n_kg_t and no3_n_kg_t"):
        Analysis(1, 1, 1, 0, 0)
    with pytest.raises(ValueError, match="mineralised_frac"):
        SHEET.available_n_kg_t(mineralised_frac=2, nh4_kept_frac=0.5)
    with pytest.raises(ValueError, match="limits"):
        rates(frozenset())
    with pytest.raises(ValueError, match="per_t_kg"):
        application_rates(
            dict.fromkeys(Nutrient, -1.0), dict.fromkeys(Nutrient, 1.0), frozenset(Nutrient)
        )
