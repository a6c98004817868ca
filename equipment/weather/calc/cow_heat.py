"""Heat and cows: the temperature-humidity index, by the formula that is named beside it."""

from enum import StrEnum

import numpy as np

from equipment.site.calc.refusal import RefusedValueError
from equipment.weather.calc.days import Floats
from equipment.weather.calc.et0 import saturation_kpa


class ThiFormula(StrEnum):
    """Three formulas in use; they differ by up to 2.3 points."""

    NRC = "nrc"  # (1.8 T + 32) - (0.55 - 0.55 rh) (1.8 T - 26)
    MADER = "mader"  # 0.8 T + rh (T - 14.4) + 46.4
    DEW_POINT = "dew_point"  # T + 0.36 Td + 41.2


class ThiBand(StrEnum):
    """How much heat is on a cow; codes of bands widely copied (see `thi_band`)."""

    NONE = "none"
    MILD = "mild"
    MODERATE = "moderate"
    SEVERE = "severe"
    EMERGENCY = "emergency"


# 68: milk loss begins (Collier et al. 2012); the rest widely copied, no better source
_BANDS = ((90, ThiBand.EMERGENCY), (80, ThiBand.SEVERE), (72, ThiBand.MODERATE), (68, ThiBand.MILD))


def thi(air_degc: Floats, rh_frac: Floats, formula: ThiFormula = ThiFormula.NRC) -> Floats:
    """Compute the temperature-humidity index of cattle.

    Parameters
    ----------
    air_degc : ndarray
        Air temperature, -60 to 60. [°C]
    rh_frac : ndarray
        Relative humidity, 0 to 1; above 0 for the dew-point form.
    formula : ThiFormula
        Which of the three; name it beside the number.

    Returns
    -------
    ndarray
        Points. [-]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for a humidity outside 0 to 1 or a temperature outside -60 to 60 °C.

    Notes
    -----
    Valid: shade and light air: none of the three knows sun or wind. Below 20 °C it says little.

    Checked: tests/equipment/weather/test_cow_heat.py::
    test_the_three_formulas_give_their_published_values,
    test_the_first_formula_is_that_of_an_open_library

    References
    ----------
    NRC, "A guide to environmental research on animals", National Academy of Sciences, 1971 (from
    memory); Mader, Davis and Brown, "Environmental factors influencing heat stress in feedlot
    cattle", J. Animal Science 84, 2006, eq. 1 (from memory); Yousef, "Stress physiology in
    livestock", 1985 (dew-point form, from memory).
    """
    _check(air_degc, rh_frac)
    if formula is ThiFormula.MADER:
        points = 0.8 * air_degc + rh_frac * (air_degc - 14.4) + 46.4
    elif formula is ThiFormula.DEW_POINT:
        points = air_degc + 0.36 * _dew_point_degc(air_degc, rh_frac) + 41.2
    else:
        points = 1.8 * air_degc + 32 - (0.55 - 0.55 * rh_frac) * (1.8 * air_degc - 26)
    return np.asarray(points, dtype=float)


def thi_band(points: float) -> ThiBand:
    """Tell how much heat an index means for a cow in milk.

    Parameters
    ----------
    points : float
        Index.

    Returns
    -------
    ThiBand
        From 68 mild, 72 moderate, 80 severe, 90 emergency. [-]

    Notes
    -----
    Valid: daily means and hours alike; a cow's own milk, coat and bed differ.

    Checked: tests/equipment/weather/test_cow_heat.py::test_bands_begin_where_they_are_said_to

    References
    ----------
    68: Collier, Hall, Rungruang and Zimbleman, "Quantifying heat stress and its impact on
    metabolism and performance", 2012, as restated in public pages; the bands above it are
    widely copied.
    """
    return next((band for low, band in _BANDS if points >= low), ThiBand.NONE)


def humidity_at_tmax_frac(tmin_degc: Floats, tmax_degc: Floats) -> Floats:
    """Estimate the humidity of the hottest hour where nobody measured it.

    Parameters
    ----------
    tmin_degc, tmax_degc : ndarray
        Lowest and highest air temperature of the day. [°C]

    Returns
    -------
    ndarray
        Relative humidity, with the night's lowest temperature as dew point. [-]

    Notes
    -----
    Valid: nights that reach the dew point; in dry country the air is drier than this, and heat
    reckoned with it errs on the safe side.

    Checked: tests/equipment/weather/test_cow_heat.py::
    test_humidity_at_the_highest_temperature_by_the_published_table

    References
    ----------
    FAO-56, eq. 48 and eq. 10.
    """
    return np.asarray(saturation_kpa(tmin_degc) / saturation_kpa(tmax_degc), dtype=float)


def _dew_point_degc(air_degc: Floats, rh_frac: Floats) -> Floats:
    """Invert FAO-56 eq. 11 (its eq. 3-11 of Annex 3)."""
    ln = np.log(saturation_kpa(air_degc) * np.maximum(rh_frac, 1e-3))
    return np.asarray((116.91 + 237.3 * ln) / (16.78 - ln), dtype=float)


def _check(air_degc: Floats, rh_frac: Floats) -> None:
    if not np.all((np.asarray(air_degc) >= -60) & (np.asarray(air_degc) <= 60)):
        raise RefusedValueError("out_of_range", "air_degc", air_degc)
    if not np.all((np.asarray(rh_frac) >= 0) & (np.asarray(rh_frac) <= 1)):
        raise RefusedValueError("out_of_range", "rh_frac", rh_frac)
