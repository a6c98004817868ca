"""Measures of loose piles: cones and windrows."""

import math
from dataclasses import dataclass

REPOSE_DEG = 34.0  # loose sand; published tables give 25-45° by moisture: a setting of the farm


@dataclass(frozen=True, slots=True)
class Pile:
    """Measures of a loose pile.

    Parameters
    ----------
    height_m : float
        Crest above the ground. [m]
    volume_m3 : float
        Loose volume. [m³]
    """

    height_m: float
    volume_m3: float


def cone(base_diameter_m: float, repose_deg: float = REPOSE_DEG) -> Pile:
    """Measure a conical pile from its foot.

    Parameters
    ----------
    base_diameter_m : float
        Across the foot, > 0. [m]
    repose_deg : float
        Slope of the face, above 0 and below 60. [deg]

    Returns
    -------
    Pile
        h = r tan φ [m], V = π r² h / 3 [m³].

    Raises
    ------
    ValueError
        A measure out of range.

    Notes
    -----
    Valid: faces at one slope, repose_deg above 0 and below 60; refused outside.

    Checked: tests/equipment/sandyard/test_calc.py::test_cones_of_40_and_60_feet

    References
    ----------
    Euclid, Elements, book XII, propositions 7 and 10 (cone and prism).
    """
    return windrow(base_diameter_m, base_diameter_m, repose_deg)


def windrow(length_m: float, width_m: float, repose_deg: float = REPOSE_DEG) -> Pile:
    """Measure a long pile whose ends are half cones.

    Parameters
    ----------
    length_m : float
        Overall, at the foot; as long as wide is a cone. [m]
    width_m : float
        At the foot, > 0. [m]
    repose_deg : float
        Slope of the faces, above 0 and below 60. [deg]

    Returns
    -------
    Pile
        h = (w/2) tan φ [m], V = ½ w h (L − w) + π (w/2)² h / 3 [m³].

    Raises
    ------
    ValueError
        A measure out of range, or shorter than wide.

    Notes
    -----
    Valid: as `cone`; at least as long as wide; refused outside.

    Checked: tests/equipment/sandyard/test_calc.py::test_a_windrow_as_long_as_wide_is_a_cone

    References
    ----------
    Euclid, Elements, book XII, propositions 7 and 10 (cone and prism).
    """
    if not 0 < width_m <= length_m:
        raise ValueError(f"a pile {length_m} m long and {width_m} m wide cannot be")
    if not 0 < repose_deg < 60:
        raise ValueError(f"repose_deg {repose_deg} is not between 0 and 60")
    height_m = width_m / 2 * math.tan(math.radians(repose_deg))
    prism_m3 = width_m * height_m / 2 * (length_m - width_m)
    return Pile(height_m, prism_m3 + math.pi * (width_m / 2) ** 2 * height_m / 3)


def windrow_length_m(volume_m3: float, width_m: float, repose_deg: float = REPOSE_DEG) -> float:
    """Find how long a windrow of a given width becomes.

    Parameters
    ----------
    volume_m3 : float
        Loose volume to place. [m³]
    width_m : float
        At the foot, > 0. [m]
    repose_deg : float
        Slope of the faces. [deg]

    Returns
    -------
    float
        Overall length at the foot. [m]

    Raises
    ------
    ValueError
        Less than a cone of that width holds, or a measure out of range.

    Notes
    -----
    Valid: volume_m3 of at least a cone of that width; refused below.

    Checked: tests/equipment/sandyard/test_calc.py::test_length_is_the_inverse_of_volume

    References
    ----------
    Euclid, Elements, book XII, propositions 7 and 10 (cone and prism).
    """
    ends = cone(width_m, repose_deg)
    if volume_m3 < ends.volume_m3:
        raise ValueError(f"{volume_m3} m³ do not fill a cone {width_m} m wide")
    return width_m + (volume_m3 - ends.volume_m3) / (width_m * ends.height_m / 2)
