"""What a loader moves in an hour, and whether its bucket is within what it may lift."""

from math import isfinite

from equipment.site.calc.refusal import RefusedValueError

FIFTY_MIN_HOUR_FRAC = 50 / 60  # breaks, waits and tidying: FM 5-434, ch. 5
_MIN_PER_H = 60.0


def cycle_min(fixed_min: float, distance_m: float, speed_m_min: float) -> float:
    """Compute the time of one loader cycle: fill, turn, drive, dump and drive back.

    Parameters
    ----------
    fixed_min : float
        The cycle without the way: fill, turns, dump. [min]
    distance_m : float
        One way, from the face to where it is dumped. [m]
    speed_m_min : float
        Mean of the way out, full, and back, empty. [m min⁻¹]

    Returns
    -------
    float
        Of one bucket. [min]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for a fixed time or a speed that is not above zero, or a way below zero.

    Notes
    -----
    Valid: on the level and on firm ground; no waits, and nobody walking where it drives.
    Checked: tests/equipment/machines/test_productivity.py::
    test_fifty_metres_each_way_add_their_driving

    References
    ----------
    .. [1] US Army, FM 5-434 "Earthmoving Operations", 2000, ch. 5: cycle = fixed time + haul
       distance / haul speed + return distance / return speed.
    """
    _require_above_zero(fixed_min=fixed_min, speed_m_min=speed_m_min)
    if not 0 <= distance_m < float("inf"):
        raise RefusedValueError("out_of_range", "distance_m", distance_m)
    return fixed_min + 2 * distance_m / speed_m_min


def loads_h(one_cycle_min: float, efficiency_frac: float = FIFTY_MIN_HOUR_FRAC) -> float:
    """Compute the cycles, each one bucket or box, in an hour on the clock.

    Parameters
    ----------
    one_cycle_min : float
        Time of one, from `cycle_min`. [min]
    efficiency_frac : float
        Share of an hour in which it really works; 50 minutes in 60 as a rule. [-]

    Returns
    -------
    float
        Loads an hour. [h⁻¹]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for a cycle that is not above zero, or a share not above 0 and up to 1.

    Notes
    -----
    Valid: for steady work; a first hour with its look round is slower.
    Checked: tests/equipment/machines/test_productivity.py::
    test_four_cubic_yards_in_a_fifty_minute_hour

    References
    ----------
    .. [1] US Army, FM 5-434 "Earthmoving Operations", 2000, ch. 5.
    """
    _require_above_zero(one_cycle_min=one_cycle_min)
    if not 0 < efficiency_frac <= 1:
        raise RefusedValueError("out_of_range", "efficiency_frac", efficiency_frac)
    return _MIN_PER_H / one_cycle_min * efficiency_frac


def loader_m3_h(
    bucket_m3: float,
    fill_frac: float,
    one_cycle_min: float,
    efficiency_frac: float = FIFTY_MIN_HOUR_FRAC,
) -> float:
    """Compute what a loader moves in an hour on the clock, as loose volume.

    Parameters
    ----------
    bucket_m3 : float
        Struck or heaped as `fill_frac` has it. [m³]
    fill_frac : float
        Usual filling, 0.95 to 1.0 for moist loose sand. [-]
    one_cycle_min : float
        From `cycle_min`. [min]
    efficiency_frac : float
        As in `loads_h`. [-]

    Returns
    -------
    float
        Loose volume. [m³ h⁻¹]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for what is not above zero.

    Notes
    -----
    Valid: for loose material in the volume the bucket is rated in; see `cycle_min` and `loads_h`.
    Checked: tests/equipment/machines/test_productivity.py::
    test_four_cubic_yards_in_a_fifty_minute_hour

    References
    ----------
    .. [1] US Army, FM 5-434 "Earthmoving Operations", 2000, ch. 5: production = bucket capacity ×
       fill factor × cycles an hour.
    """
    _require_above_zero(bucket_m3=bucket_m3, fill_frac=fill_frac)
    return bucket_m3 * fill_frac * loads_h(one_cycle_min, efficiency_frac)


def loader_work_h(volume_m3: float, m3_h: float) -> float:
    """Compute the hours one loader needs to move a volume.

    Parameters
    ----------
    volume_m3 : float
        Loose volume to be moved. [m³]
    m3_h : float
        What it moves in an hour, from `loader_m3_h`. [m³ h⁻¹]

    Returns
    -------
    float
        Hours on the clock; share them among as many loaders as there are. [h]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for a volume below zero or an output that is not above zero.

    Notes
    -----
    Valid: as `loader_m3_h`.
    Checked: tests/equipment/machines/test_productivity.py::test_a_volume_takes_its_hours

    References
    ----------
    .. [1] Arithmetic.
    """
    _require_above_zero(m3_h=m3_h)
    if not 0 <= volume_m3 < float("inf"):
        raise RefusedValueError("out_of_range", "volume_m3", volume_m3)
    return volume_m3 / m3_h


def bucket_load_kg(bucket_m3: float, fill_frac: float, density_kg_m3: float) -> float:
    """Compute the mass in a bucket.

    Parameters
    ----------
    bucket_m3, fill_frac : float
        As in `loader_m3_h`. [m³], [-]
    density_kg_m3 : float
        Loose and as wet as it is lifted: scooped sand is about 1,920. [kg m⁻³]

    Returns
    -------
    float
        To be held against the machine's rated operating load. [kg]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for what is not above zero.

    Notes
    -----
    Valid: no better than the density; a scale is. The maker's rated load governs, on level, firm
    ground; on a slope or in a turn it is less.
    Checked: tests/equipment/machines/test_productivity.py::
    test_four_cubic_yards_of_wet_sand_weigh_12960_pounds

    References
    ----------
    .. [1] ISO 14397-1:2007, "Earth-moving machinery: Loaders and backhoe loaders, Part 1:
       Calculation of rated operating capacity", for what it is held against; from memory.
    """
    _require_above_zero(bucket_m3=bucket_m3, fill_frac=fill_frac, density_kg_m3=density_kg_m3)
    return bucket_m3 * fill_frac * density_kg_m3


def _require_above_zero(**values: float) -> None:
    for name, value in values.items():
        if not (isfinite(value) and value > 0):
            raise RefusedValueError("out_of_range", name, value)
