"""Sand in and out: buckets to dry mass."""

from dataclasses import dataclass

from equipment.sandyard.calc import dry_kg

# Moist to wet sand as it lies in a bucket: 95 lb/ft³ dry loose to 120 lb/ft³ wet, US Army
# TM 9-2320-366-10-1, Table 2-15.
WET_BULK_LOW_KG_M3, WET_BULK_HIGH_KG_M3 = 1522.0, 1922.0


@dataclass(frozen=True, slots=True)
class DryMass:
    """Dry mass with its range. [kg]"""

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
