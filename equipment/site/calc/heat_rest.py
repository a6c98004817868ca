"""Heat at work: the heat index, and the minutes of rest an hour that a published table asks for.

Guidance, not law: state rules and the farm's own plan govern. Symptoms of heat stroke are an
emergency whatever a table says.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from equipment.site.calc.refusal import RefusedValueError

FloatOrArray = float | NDArray[np.float64]


class Effort(StrEnum):
    """How hard the work is on the body, in the words of the table."""

    LIGHT = "light"
    MODERATE = "moderate"
    HEAVY = "heavy"


class Sky(StrEnum):
    """How much of the sun reaches the worker."""

    SHADE = "shade"
    PARTLY_CLOUDY = "partly_cloudy"
    FULL_SUN = "full_sun"


class HeatCode(StrEnum):
    """What the table says of an hour's work."""

    NORMAL = "normal"
    REST = "rest"
    CAUTION = "caution"


@dataclass(frozen=True, slots=True)
class WorkRest:
    """What the table says of an hour's work.

    Parameters
    ----------
    code : HeatCode
        ``caution`` means extreme caution: the table gives no minutes, a lead decides.
    rest_min_per_h : int or None
        Rest in each hour; None with ``caution``. [min/h]
    """

    code: HeatCode
    rest_min_per_h: int | None


_CAUTION = WorkRest(HeatCode.CAUTION, None)
_NORMAL = WorkRest(HeatCode.NORMAL, 0)
# Rest minutes by whole °F of adjusted air temperature, from the first row that is not all normal.
# NIOSH, "Heat Stress: Work/Rest Schedules", DHHS (NIOSH) Publication 2017-127, the table; None is
# the table's "Caution".
_FIRST_ROW_DEGF = 95
_REST_MIN: dict[Effort, tuple[int | None, ...]] = {
    Effort.LIGHT: (0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 15, 20, 25, 30, 45, None),
    Effort.MODERATE: (0, 0, 0, 0, 0, 15, 20, 25, 30, 30, 35, 40, 45, None),
    Effort.HEAVY: (15, 15, 20, 25, 25, 30, 30, 35, 40, 40, 45, None),
}
# The same sheet's reverse side, from memory, not re-read: °F to add to the air temperature.
_SKY_ADD_DEGF = {Sky.SHADE: 0.0, Sky.PARTLY_CLOUDY: 7.0, Sky.FULL_SUN: 13.0}
_RH_FRAC = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6)
_RH_ADD_DEGF = (-8.0, -4.0, 0.0, 3.0, 6.0, 9.0)
_RH_ADD_DEGF_PER_FRAC = 30.0  # the sheet ends at 60 %: carried on at its last slope, cautiously
_ROUNDING_DEGF = 1e-6  # so that 37.78 °C written for 100 °F does not fall into the row of 101


def _degf(degc: FloatOrArray) -> FloatOrArray:
    return degc * 9 / 5 + 32


def adjusted_air_degf(air_degc: float, rh_frac: float, sky: Sky) -> float:
    """Adjust the air temperature for sun and humidity, as the work/rest table asks.

    Parameters
    ----------
    air_degc : float
        Air temperature in the shade. [°C]
    rh_frac : float
        Relative humidity, 0 to 1.
    sky : Sky
        Sun on the worker; shade also at night and indoors.

    Returns
    -------
    float
        Temperature to look up. [°F]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for a humidity outside 0 to 1 or a temperature outside -60 to 60 °C.

    Notes
    -----
    Between the sheet's humidities the addition is interpolated; below 10 % it stays -8 °F, and
    above 60 % it grows by 3 °F for each tenth, which is ours and errs to more rest.

    Valid: air from -60 to 60 °C; humidity beyond 60 % is our own extension.

    Checked: tests/equipment/site/test_heat_rest.py::
    test_sun_and_humidity_move_the_temperature_that_is_looked_up

    References
    ----------
    .. [1] NIOSH Publication 2017-127, reverse side (values from memory).
    """
    _check_air(air_degc, rh_frac)
    beyond = max(0.0, rh_frac - _RH_FRAC[-1]) * _RH_ADD_DEGF_PER_FRAC
    humid = float(np.interp(rh_frac, _RH_FRAC, _RH_ADD_DEGF)) + beyond
    return float(_degf(air_degc)) + _SKY_ADD_DEGF[sky] + humid


def work_rest(adjusted_degf: float, effort: Effort) -> WorkRest:
    """Look up the minutes of rest that the table asks for in each hour of work.

    Parameters
    ----------
    adjusted_degf : float
        Air temperature adjusted for sun and humidity; between two rows the hotter counts. [°F]
    effort : Effort
        How hard the work is.

    Returns
    -------
    WorkRest
        Minutes of rest, or the table's caution. [min/h]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` when the temperature is not a number.

    Notes
    -----
    The table takes for granted people who are fit, rested, drinking, under 40, used to the heat and
    in ordinary clothes, with 30 % humidity and some air movement.

    Valid: 90 to 112 °F; below it is normal, above it the caution stays. Guidance, and local law
    governs.

    Checked: tests/equipment/site/test_heat_rest.py::
    test_every_cell_of_the_work_rest_table_is_looked_up_as_printed

    References
    ----------
    .. [1] NIOSH, "Heat Stress: Work/Rest Schedules", Publication 2017-127, table; read at
       cdc.gov/niosh/mining/content/heatstressworkrest.html.
    """
    if math.isnan(adjusted_degf):
        raise RefusedValueError("out_of_range", "adjusted_degf", adjusted_degf)
    rows = _REST_MIN[effort]
    if adjusted_degf < _FIRST_ROW_DEGF - 1:
        return _NORMAL
    if adjusted_degf > _FIRST_ROW_DEGF + len(rows):
        return _CAUTION
    row = math.ceil(adjusted_degf - _ROUNDING_DEGF) - _FIRST_ROW_DEGF
    rest_min = rows[min(row, len(rows) - 1)] if row >= 0 else 0
    if rest_min is None:
        return _CAUTION
    return WorkRest(HeatCode.REST, rest_min) if rest_min else _NORMAL


def heat_index_degc(air_degc: FloatOrArray, rh_frac: FloatOrArray) -> FloatOrArray:
    """Compute the heat index of the US National Weather Service.

    Parameters
    ----------
    air_degc : float or ndarray
        Air temperature in the shade; instants or means. [°C]
    rh_frac : float or ndarray
        Relative humidity, 0 to 1.

    Returns
    -------
    float or ndarray
        Heat index in the shade and light wind; full sun can add up to 8 °C. [°C]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for a humidity outside 0 to 1 or a temperature outside -60 to 60 °C.

    Notes
    -----
    Steadman's simple formula averaged with the air temperature holds while that average is below
    80 °F; above it the regression holds, with its two corrections for dry and for humid air. Where
    the simple formula holds, the average is returned.

    Valid: shade and light wind; the regression from 80 °F up, to about 112 °F. The chart of the
    weather service leaves out the correction for humid air, 2 °F at most.

    Checked: tests/equipment/site/test_heat_rest.py::
    test_heat_index_follows_the_equation_and_its_corrections,
    test_heat_index_is_the_one_on_the_chart,
    test_heat_index_beside_two_open_libraries

    References
    ----------
    .. [1] L. Rothfusz, "The Heat Index Equation", NWS Southern Region Technical Attachment SR
       90-23, 1990; with the adjustments of wpc.ncep.noaa.gov/html/heatindex_equation.shtml.
    """
    _check_air(air_degc, rh_frac)
    t_degf, rh_pct = np.asarray(_degf(air_degc)), np.asarray(rh_frac) * 100
    simple_degf = (0.5 * (t_degf + 61 + 1.2 * (t_degf - 68) + 0.094 * rh_pct) + t_degf) / 2
    full_degf = _rothfusz_degf(t_degf, rh_pct) + _correction_degf(t_degf, rh_pct)
    index_degc = (np.where(simple_degf < 80, simple_degf, full_degf) - 32) * 5 / 9
    return index_degc if index_degc.ndim else float(index_degc)


def _rothfusz_degf(t: NDArray[np.float64], r: NDArray[np.float64]) -> NDArray[np.float64]:
    """Compute the regression; t in °F, r in per cent."""
    constant = -42.379 + 2.04901523 * t + 10.14333127 * r - 0.22475541 * t * r
    squares = -0.00683783 * t**2 - 0.05481717 * r**2 + 0.00122874 * t**2 * r
    return constant + squares + 0.00085282 * t * r**2 - 0.00000199 * t**2 * r**2


def _correction_degf(t: NDArray[np.float64], r: NDArray[np.float64]) -> NDArray[np.float64]:
    """Compute what dry air takes off and humid air adds; t in °F, r in per cent."""
    dry = -(13 - r) / 4 * np.sqrt(np.maximum(0, 17 - np.abs(t - 95)) / 17)
    humid = (r - 85) / 10 * (87 - t) / 5
    is_dry = (r < 13) & (t >= 80) & (t <= 112)
    is_humid = (r > 85) & (t >= 80) & (t <= 87)
    return np.where(is_dry, dry, np.where(is_humid, humid, 0.0))


def _check_air(air_degc: FloatOrArray, rh_frac: FloatOrArray) -> None:
    if not np.all((np.asarray(air_degc) >= -60) & (np.asarray(air_degc) <= 60)):
        raise RefusedValueError("out_of_range", "air_degc", air_degc)
    if not np.all((np.asarray(rh_frac) >= 0) & (np.asarray(rh_frac) <= 1)):
        raise RefusedValueError("out_of_range", "rh_frac", rh_frac)
