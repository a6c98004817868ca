"""Water by temperature: how heavy and how thick it is.

No library in use here gives these (fluids has air alone), so they stand as published equations.
"""

import numpy as np

from .moisture import Amount

_KELL = (999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12)
_VISCOSITY = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))


def water_density_kg_m3(water_degc: Amount) -> Amount:
    """Compute the density of clean water.

    Parameters
    ----------
    water_degc : float or ndarray
        Temperature of the water, 0 to 40. [°C]

    Returns
    -------
    float or ndarray
        Density at the pressure of the sea's level. [kg m⁻³]

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    Valid: 0 to 40 °C, which is narrower than the source; refused outside. Flush water holds solids
    and is a little heavier.

    Checked: tests/equipment/sandyard/test_settling.py::test_water_of_published_temperatures

    References
    ----------
    Kell, "Density, thermal expansivity, and compressibility of liquid water from 0 to 150 °C",
    J. Chem. Eng. Data 20, 1975, eq. 16.
    """
    _require_liquid(water_degc)
    above = sum(c * water_degc**power for power, c in enumerate(_KELL))
    return above / (1 + 16.87985e-3 * water_degc)


def water_viscosity_pa_s(water_degc: Amount) -> Amount:
    """Compute the dynamic viscosity of clean water.

    Parameters
    ----------
    water_degc : float or ndarray
        Temperature of the water, 0 to 40. [°C]

    Returns
    -------
    float or ndarray
        Dynamic viscosity at 0.1 MPa. [Pa s]

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    Valid: 0 to 40 °C, which is narrower than the source; refused outside. Flush water holds solids
    and is thicker.

    Checked: tests/equipment/sandyard/test_settling.py::test_water_of_published_temperatures,
    test_warm_water_is_thinner

    References
    ----------
    IAPWS SR6-08(2011), "Revised Supplementary Release on Properties of Liquid Water at 0.1 MPa",
    eq. 7 (coefficients from memory, checked against the source named in the test).
    """
    _require_liquid(water_degc)
    t = (np.asarray(water_degc, dtype=float) + 273.15) / 300.0
    found = sum(a * t**b for a, b in _VISCOSITY) * 1e-6
    return float(found) if np.ndim(water_degc) == 0 else found


def _require_liquid(water_degc: Amount) -> None:
    t = np.asarray(water_degc)
    if not np.all((t >= 0) & (t <= 40)):
        raise ValueError(f"water_degc must be 0 to 40, got {water_degc}")
