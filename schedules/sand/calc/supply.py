"""Sand in and out: buckets to dry mass, how long it lasts, and the steady balance."""

from dataclasses import dataclass

from equipment.sandyard.calc import dry_kg

# Moist to wet sand as it lies in a bucket: 95 lb/ft³ dry loose to 120 lb/ft³ wet, US Army
# TM 9-2320-366-10-1, Table 2-15.
WET_BULK_LOW_KG_M3, WET_BULK_HIGH_KG_M3 = 1522.0, 1922.0


@dataclass(frozen=True, slots=True)
class DryMass:
    """Dry mass with its range [kg]."""

    dry_kg: float
    low_kg: float
    high_kg: float


def bucket_dry_kg(
    buckets: float, *, bucket_m3: float, fill_frac: float, moisture_wb_frac: float
) -> DryMass:
    """Turn buckets of moist sand into dry mass with a range.

    Parameters
    ----------
    buckets : float
        How many, above 0.
    bucket_m3 : float
        Heaped size of one, above 0. [m³]
    fill_frac : float
        Share of it that is filled; 0.95 to 1.0 for moist loose sand (common practice, no source).
    moisture_wb_frac : float
        Water over wet sand, 0 to below 1.

    Returns
    -------
    DryMass
        Middle, least and most, by the bulk density of wet sand.

    Raises
    ------
    ValueError
        An amount that is not above 0.
    """
    if not (buckets > 0 and bucket_m3 > 0 and fill_frac > 0):
        raise ValueError("buckets, bucket_m3 and fill_frac must be above 0")
    loose_m3 = buckets * bucket_m3 * fill_frac
    low, high = (
        float(dry_kg(loose_m3 * bulk, moisture_wb_frac))
        for bulk in (WET_BULK_LOW_KG_M3, WET_BULK_HIGH_KG_M3)
    )
    return DryMass((low + high) / 2, low, high)


@dataclass(frozen=True, slots=True)
class Range:
    """An amount that is not certain.

    Parameters
    ----------
    low, likely, high : float
        In this order, none negative, all of one unit. `high` may be infinite.

    Raises
    ------
    ValueError
        Not in order, negative or not a number.
    """

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        if not 0 <= self.low <= self.likely <= self.high:
            raise ValueError(f"0 ≤ {self.low} ≤ {self.likely} ≤ {self.high} does not hold")


@dataclass(frozen=True, slots=True)
class DaysOfSand:
    """How long released sand lasts.

    Parameters
    ----------
    days : Range
        Until it falls below the safety stock; infinite where nothing is used. [d]
    is_below_safety : bool
        Whether it lies below already; the days are then 0.
    """

    days: Range
    is_below_safety: bool


def days_of_sand(released_kg: float, safety_kg: float, use_kg_d: Range) -> DaysOfSand:
    """Tell how long released sand lasts at a steady use.

    Parameters
    ----------
    released_kg : float
        Dry mass that may go to beds, ≥ 0. [kg]
    safety_kg : float
        Dry mass to be kept back, ≥ 0. [kg]
    use_kg_d : Range
        Dry mass bedded in a day. [kg d⁻¹]

    Returns
    -------
    DaysOfSand
        Fewest days at the greatest use.

    Raises
    ------
    ValueError
        A negative mass.

    Notes
    -----
    Nothing that will be released later is counted.
    """
    if min(released_kg, safety_kg) < 0:
        raise ValueError("released_kg and safety_kg cannot be negative")
    spare_kg = max(released_kg - safety_kg, 0.0)
    days = Range(
        _lasts_d(spare_kg, use_kg_d.high),
        _lasts_d(spare_kg, use_kg_d.likely),
        _lasts_d(spare_kg, use_kg_d.low),
    )
    return DaysOfSand(days, is_below_safety=released_kg < safety_kg)


def _lasts_d(spare_kg: float, use_kg_d: float) -> float:
    if spare_kg == 0:
        return 0.0
    return spare_kg / use_kg_d if use_kg_d > 0 else float("inf")


@dataclass(frozen=True, slots=True)
class SteadyBalance:
    """Sand through the farm when nothing changes; dry mass a day.

    Parameters
    ----------
    use_kg_d : float
        Into the beds. [kg d⁻¹]
    recovered_kg_d : float
        Out of the lane, less what is screened out. [kg d⁻¹]
    make_up_kg_d : float
        What must be bought. [kg d⁻¹]
    """

    use_kg_d: float
    recovered_kg_d: float
    make_up_kg_d: float


def steady_balance(
    n_stalls: int,
    use_kg_stall_d: float,
    recovery_frac: float,
    *,
    screened_out_frac: float = 0.0,
) -> SteadyBalance:
    """Balance the sand of a steady day.

    Parameters
    ----------
    n_stalls : int
        Stalls bedded, ≥ 0.
    use_kg_stall_d : float
        Dry sand a stall loses in a day, ≥ 0. [kg d⁻¹]
    recovery_frac : float
        Of the lost sand, what the lane gives back, 0 to 1.
    screened_out_frac : float
        Of that, what is too coarse or too dirty, 0 to 1.

    Returns
    -------
    SteadyBalance
        Use, recovered and make-up.

    Raises
    ------
    ValueError
        Out of range.
    """
    if n_stalls < 0 or use_kg_stall_d < 0:
        raise ValueError("stalls and their use cannot be negative")
    if not (0 <= recovery_frac <= 1 and 0 <= screened_out_frac <= 1):
        raise ValueError("recovery_frac and screened_out_frac must be 0 to 1")
    use_kg_d = n_stalls * use_kg_stall_d
    recovered_kg_d = use_kg_d * recovery_frac * (1 - screened_out_frac)
    return SteadyBalance(use_kg_d, recovered_kg_d, use_kg_d - recovered_kg_d)
