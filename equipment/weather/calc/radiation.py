"""The sun above the air and under a clear sky, day by day."""

import numpy as np
from numpy.typing import NDArray
from refet import calcs

from equipment.weather.calc.days import Floats, Place


def extraterrestrial_mj_m2_d(place: Place, day_of_year: NDArray[np.int64]) -> Floats:
    """Compute the radiation on a horizontal plane above the atmosphere, summed over the day.

    Parameters
    ----------
    place : Place
        Its latitude counts.
    day_of_year : ndarray of int, shape (n_days,)
        1 on 1 January.

    Returns
    -------
    ndarray, shape (n_days,)
        Ra. [MJ m⁻² d⁻¹]

    Notes
    -----
    Valid: latitudes within ±66 (`Place`).

    Checked: tests/equipment/weather/test_et0.py::
    test_extraterrestrial_radiation_of_fao56_example_8,
    test_fao56_example_18_intermediate_values

    References
    ----------
    Allen et al., "Crop evapotranspiration", FAO Irrigation and Drainage Paper 56, 1998, eq. 21;
    the `refet` library's ASCE form (solar constant 4.92 MJ m⁻² h⁻¹) differs by less than 0.1 %.
    """
    return np.asarray(calcs.ra_daily(np.radians(place.latitude_deg), day_of_year), dtype=float)


def clear_sky_mj_m2_d(place: Place, day_of_year: NDArray[np.int64]) -> Floats:
    """Compute the global radiation of a cloudless day.

    Parameters
    ----------
    place : Place
        Latitude and elevation count.
    day_of_year : ndarray of int, shape (n_days,)
        1 on 1 January.

    Returns
    -------
    ndarray, shape (n_days,)
        Rso = (0.75 + 2·10⁻⁵ z) Ra. [MJ m⁻² d⁻¹]

    Notes
    -----
    Valid: stations below 6 000 m; the air as clear as FAO-56 has it.

    Checked: tests/equipment/weather/test_et0.py::
    test_fao56_example_18_intermediate_values

    References
    ----------
    FAO-56, eq. 37.
    """
    ra_mj_m2_d = extraterrestrial_mj_m2_d(place, day_of_year)
    return np.asarray(calcs.rso_simple(ra_mj_m2_d, place.elevation_m), dtype=float)
