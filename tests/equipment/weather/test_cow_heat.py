"""The temperature-humidity index against published values and an open library."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pythermalcomfort.models import thi as library_thi

from equipment.site.calc.refusal import RefusedValueError
from equipment.weather.calc.cow_heat import (
    ThiBand,
    ThiFormula,
    humidity_at_tmax_frac,
    thi,
    thi_band,
)


def points(air_degc: float, rh_pct: float, formula: ThiFormula) -> float:
    return float(thi(np.array([air_degc]), np.array([rh_pct / 100]), formula)[0])


@pytest.mark.parametrize(
    ("air_degc", "rh_pct", "expected"),
    # The three formulas evaluated by hand and by a second program; the first also in
    # pythermalcomfort 4.8.1, the second as printed at veterinaryhandbook.com.au
    [
        (20, 50, (65.25, 65.20, 64.54)),
        (25, 50, (71.78, 71.70, 71.19)),
        (30, 20, (73.68, 73.52, 72.86)),
        (30, 80, (82.92, 82.88, 80.62)),
        (35, 30, (80.75, 80.58, 81.54)),
        (38, 20, (81.74, 81.52, 83.21)),
    ],
)
def test_the_three_formulas_give_their_published_values(
    air_degc: float, rh_pct: float, expected: tuple[float, ...]
) -> None:
    found = [points(air_degc, rh_pct, formula) for formula in ThiFormula]
    assert found == pytest.approx(expected, abs=0.02)


@given(air_degc=st.floats(10, 45), rh_pct=st.floats(5, 100))
def test_the_first_formula_is_that_of_an_open_library(air_degc: float, rh_pct: float) -> None:
    # pythermalcomfort 4.8.1 rounds to a tenth
    other = float(library_thi(tdb=air_degc, rh=rh_pct).thi)
    assert points(air_degc, rh_pct, ThiFormula.NRC) == pytest.approx(other, abs=0.0501)


@given(air_degc=st.floats(20, 45), rh_pct=st.floats(10, 95), more=st.floats(0.1, 5))
@pytest.mark.parametrize("formula", list(ThiFormula))
def test_hotter_or_damper_air_never_lowers_it(
    formula: ThiFormula, air_degc: float, rh_pct: float, more: float
) -> None:
    here = points(air_degc, rh_pct, formula)
    assert points(air_degc + more, rh_pct, formula) > here
    assert points(air_degc, rh_pct + more, formula) > here


def test_bands_begin_where_they_are_said_to() -> None:
    # 68 (Collier et al. 2012); 72, 80 and 90 as widely copied
    found = [thi_band(p) for p in (67.9, 68, 71.9, 72, 79.9, 80, 89.9, 90)]
    assert found == [
        ThiBand.NONE,
        *[ThiBand.MILD] * 2,
        *[ThiBand.MODERATE] * 2,
        *[ThiBand.SEVERE] * 2,
        ThiBand.EMERGENCY,
    ]


def test_humidity_at_the_highest_temperature_by_the_published_table() -> None:
    # FAO-56 Annex 2, Table 2.3: e°(15) 1.705, e°(35) 5.623 kPa
    found = humidity_at_tmax_frac(np.array([15.0]), np.array([35.0]))
    assert found[0] == pytest.approx(1.705 / 5.623, abs=1e-3)


@pytest.mark.parametrize(("air_degc", "rh_frac"), [(95.0, 0.5), (30.0, 50.0), (np.nan, 0.5)])
def test_impossible_air_is_refused(air_degc: float, rh_frac: float) -> None:
    with pytest.raises(RefusedValueError, match="out_of_range"):
        thi(np.array([air_degc]), np.array([rh_frac]))
