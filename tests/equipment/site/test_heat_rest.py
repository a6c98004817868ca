"""Heat index and work/rest minutes against the published equation, chart and table."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from metpy.calc import heat_index as metpy_heat_index
from metpy.units import units
from pythermalcomfort.models import heat_index_rothfusz

from equipment.site.calc.heat_rest import (
    Effort,
    HeatCode,
    Sky,
    WorkRest,
    adjusted_air_degf,
    heat_index_degc,
    work_rest,
)
from equipment.site.calc.refusal import RefusedValueError


def index_degf(air_degf: float, rh_pct: float) -> float:
    return float(heat_index_degc((air_degf - 32) * 5 / 9, rh_pct / 100)) * 9 / 5 + 32


# The chart of the National Weather Service (srh.noaa.gov/tsa/?n=heatindex), rows from 40 % humidity
# in steps of 5 %. Whole degrees; the chart leaves out the correction for humid air, which adds up
# to 2 degrees at 80 to 87 °F above 85 %.
CHART = {
    100: [109, 114, 118, 124, 129, 136],
    96: [101, 104, 108, 112, 116, 121, 126, 132],
    90: [91, 93, 95, 97, 100, 103, 106, 109, 113, 117, 122, 127, 132],
    86: [85, 87, 88, 89, 91, 93, 95, 97, 100, 102, 105, 108, 112],
    80: [80, 80, 81, 81, 82, 82, 83, 84, 84, 85, 86, 86, 87],
}


@pytest.mark.trade_check("6")
@pytest.mark.trade_check("T4")
@pytest.mark.parametrize(
    ("air_degf", "rh_pct", "printed"),
    [
        (air_degf, 40 + 5 * step, printed)
        for air_degf, row in CHART.items()
        for step, printed in enumerate(row)
    ],
)
def test_heat_index_is_the_one_on_the_chart(air_degf: int, rh_pct: int, printed: int) -> None:
    is_corrected = rh_pct > 85 and 80 <= air_degf <= 87
    assert index_degf(air_degf, rh_pct) == pytest.approx(printed, abs=2.3 if is_corrected else 0.6)


@pytest.mark.parametrize(
    ("air_degf", "rh_pct", "expected"),
    # The equation page of the Weather Prediction Center with its corrections, evaluated
    # independently by the open library metpy 1.7.1 (metpy.calc.heat_index), to 0.01
    [
        (80, 75, 83.58),
        (85, 90, 101.78),
        (88, 60, 95.15),
        (90, 70, 105.92),
        (80, 100, 89.29),
        (95, 10, 89.45),
        (100, 10, 94.12),
        (104, 40, 118.88),
        (110, 10, 104.39),
        (110, 40, 135.66),
    ],
)
def test_heat_index_follows_the_equation_and_its_corrections(
    air_degf: float, rh_pct: float, expected: float
) -> None:
    assert index_degf(air_degf, rh_pct) == pytest.approx(expected, abs=0.006)


@pytest.mark.trade_check("T5")
@pytest.mark.parametrize(("air_degf", "rh_pct"), [(88, 60), (95, 50), (100, 40), (110, 40)])
def test_heat_index_beside_two_open_libraries(air_degf: float, rh_pct: float) -> None:
    # Both agree where no correction and no blend is near
    air_degc = (air_degf - 32) * 5 / 9
    rothfusz = float(heat_index_rothfusz(tdb=air_degc, rh=rh_pct, round_output=False).hi)
    assert index_degf(air_degf, rh_pct) == pytest.approx(rothfusz * 9 / 5 + 32, abs=0.02)
    assert index_degf(air_degf, rh_pct) == pytest.approx(metpy_degf(air_degf, rh_pct), abs=0.01)


@pytest.mark.trade_check("T5")
def test_where_the_libraries_leave_the_published_procedure() -> None:
    # pythermalcomfort has no correction for dry air (95 °F, 10 %: 0.75 °F too much) and gives
    # nothing when mild; metpy has all steps, but blends otherwise at 80 °F, 40 % (79.93)
    dry = float(heat_index_rothfusz(tdb=35.0, rh=10, round_output=False).hi) * 9 / 5 + 32
    assert dry == pytest.approx(89.45 + 0.75, abs=0.01)
    assert index_degf(95, 10) == pytest.approx(89.45, abs=0.01)
    with pytest.warns(UserWarning, match="applicability limits"):
        assert np.isnan(heat_index_rothfusz(tdb=25.0, rh=50).hi)
    assert index_degf(77, 50) == pytest.approx(76.9, abs=0.5)
    assert metpy_degf(80, 40) == pytest.approx(79.93, abs=0.01)
    assert index_degf(80, 40) == pytest.approx(79.79, abs=0.01)


def metpy_degf(air_degf: float, rh_pct: float) -> float:
    found = metpy_heat_index(air_degf * units.degF, rh_pct * units.percent, mask_undefined=False)
    return float(found.to("degF").magnitude.squeeze())


def test_a_mild_hour_takes_the_simple_formula() -> None:
    # equation page, 75 °F and 50 %: (0.5 x (75 + 61 + 1.2 x 7 + 0.094 x 50) + 75) / 2
    assert index_degf(75, 50) == pytest.approx(74.775, abs=0.001)


def test_an_array_of_hours_gives_what_each_hour_gives() -> None:
    air_degc, rh_frac = np.array([20.0, 30.0, 40.0]), np.array([0.5, 0.9, 0.1])
    together = heat_index_degc(air_degc, rh_frac)
    alone = [heat_index_degc(t, r) for t, r in zip(air_degc, rh_frac, strict=True)]
    assert np.asarray(together).tolist() == alone


# NIOSH, "Heat Stress: Work/Rest Schedules", Publication 2017-127; every row of the table as read at
# cdc.gov/niosh/mining/content/heatstressworkrest.html: work/rest minutes, N normal, C caution.
TABLE = """
90 N N N|91 N N N|92 N N N|93 N N N|94 N N N|95 N N 45/15|96 N N 45/15|97 N N 40/20|98 N N 35/25
99 N N 35/25|100 N 45/15 30/30|101 N 40/20 30/30|102 N 35/25 25/35|103 N 30/30 20/40
104 N 30/30 20/40|105 N 25/35 15/45|106 45/15 20/40 C|107 40/20 15/45 C|108 35/25 C C
109 30/30 C C|110 15/45 C C|111 C C C|112 C C C
"""


def printed_cell(cell: str) -> WorkRest:
    if cell in "NC":
        is_normal = cell == "N"
        code = HeatCode.NORMAL if is_normal else HeatCode.CAUTION
        return WorkRest(code, 0 if is_normal else None)
    work_min, rest_min = map(int, cell.split("/"))
    assert work_min + rest_min == 60
    return WorkRest(HeatCode.REST, rest_min)


@pytest.mark.trade_check("7")
def test_every_cell_of_the_work_rest_table_is_looked_up_as_printed() -> None:
    rows = TABLE.strip().replace("\n", "|").split("|")
    assert len(rows) == 23
    for row in rows:
        degf, *cells = row.split()
        found = [work_rest(float(degf), effort) for effort in Effort]
        assert found == [printed_cell(cell) for cell in cells], degf


@pytest.mark.parametrize("degf", [-40.0, 20.0, 89.9])
def test_below_the_table_work_is_normal(degf: float) -> None:
    assert work_rest(degf, Effort.HEAVY) == WorkRest(HeatCode.NORMAL, 0)


@pytest.mark.parametrize("degf", [113.0, 500.0, float("inf")])
def test_above_the_table_it_stays_at_caution(degf: float) -> None:
    assert work_rest(degf, Effort.LIGHT) == WorkRest(HeatCode.CAUTION, None)


def test_between_two_rows_the_hotter_one_counts() -> None:
    assert work_rest(94.2, Effort.HEAVY) == work_rest(95, Effort.HEAVY)
    assert work_rest(100 + 1e-9, Effort.HEAVY) == work_rest(100, Effort.HEAVY)


def rest(found: WorkRest) -> float:
    return float("inf") if found.rest_min_per_h is None else found.rest_min_per_h


@given(degf=st.floats(60, 130), warmer=st.floats(0, 20), effort=st.sampled_from(list(Effort)))
def test_rest_never_shrinks_as_it_grows_hotter_or_the_work_harder(
    degf: float, warmer: float, effort: Effort
) -> None:
    assert rest(work_rest(degf + warmer, effort)) >= rest(work_rest(degf, effort))
    by_effort = [rest(work_rest(degf, each)) for each in Effort]
    assert by_effort == sorted(by_effort)


@pytest.mark.parametrize(
    ("rh_frac", "sky", "added_degf"),
    # the sheet's reverse side, from memory; 70 % is our own extension
    [
        (0.3, Sky.SHADE, 0),
        (0.3, Sky.PARTLY_CLOUDY, 7),
        (0.3, Sky.FULL_SUN, 13),
        (0.1, Sky.SHADE, -8),
        (0.2, Sky.SHADE, -4),
        (0.4, Sky.SHADE, 3),
        (0.6, Sky.FULL_SUN, 22),
        (0.0, Sky.SHADE, -8),
        (0.45, Sky.SHADE, 4.5),
        (0.7, Sky.SHADE, 12),
    ],
)
def test_sun_and_humidity_move_the_temperature_that_is_looked_up(
    rh_frac: float, sky: Sky, added_degf: float
) -> None:
    assert adjusted_air_degf(35.0, rh_frac, sky) == pytest.approx(95 + added_degf)


@pytest.mark.parametrize(
    ("air_degc", "rh_frac"), [(95.0, 0.5), (30.0, 50.0), (float("nan"), 0.5), (30.0, -0.1)]
)
def test_impossible_air_is_refused(air_degc: float, rh_frac: float) -> None:
    with pytest.raises(RefusedValueError, match="out_of_range"):
        heat_index_degc(air_degc, rh_frac)
    with pytest.raises(RefusedValueError, match="out_of_range"):
        adjusted_air_degf(air_degc, rh_frac, Sky.SHADE)


def test_a_temperature_that_is_no_number_is_refused() -> None:
    with pytest.raises(RefusedValueError, match="out_of_range"):
        work_rest(float("nan"), Effort.LIGHT)
