"""Manure as cows give it, and what of it settles in a basin.

Two published tables stand side by side; they differ (potassium by half), so that a herd is reckoned
by one of them alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

LB_KG = 0.45359237
FT3_M3 = 0.3048**3
P2O5_P = 2.29  # P2O5 over P by atomic masses: 141.94 / 61.95
K2O_K = 1.205  # K2O over K: 94.20 / 78.20
# Of sand-laden manure, 60 and 120 lb/ft3: university extension, from memory
MANURE_SOLIDS_KG_M3 = 60 * LB_KG / FT3_M3
WET_SAND_KG_M3 = 120 * LB_KG / FT3_M3


class Table(StrEnum):
    """Whose figures a herd is reckoned by."""

    NRCS = "nrcs"  # by live weight; its dry-cow row is not known whole
    ASAE = "asae"  # by head; cows of 40 kg of milk a day, and dry cows


@dataclass(frozen=True, slots=True)
class Excretion:
    """Manure of a day, as excreted: no water added, no bedding, no losses.

    Parameters
    ----------
    mass_kg_d : float
        Faeces and urine. [kg d⁻¹]
    volume_m3_d : float
        The same by volume. [m³ d⁻¹]
    n_kg_d, p_kg_d, k_kg_d : float
        Nitrogen, phosphorus, potassium as elements. [kg d⁻¹]
    moisture_wb_frac : float
        Water of the mass, 0 to 1.
    """

    mass_kg_d: float
    volume_m3_d: float
    n_kg_d: float
    p_kg_d: float
    k_kg_d: float
    moisture_wb_frac: float

    @property
    def solids_kg_d(self) -> float:
        """Dry matter. [kg d⁻¹]."""
        return self.mass_kg_d * (1 - self.moisture_wb_frac)

    def times(self, n: float) -> Excretion:
        """Give the same of several."""
        return Excretion(
            n * self.mass_kg_d,
            n * self.volume_m3_d,
            n * self.n_kg_d,
            n * self.p_kg_d,
            n * self.k_kg_d,
            self.moisture_wb_frac,
        )

    def plus(self, other: Excretion) -> Excretion:
        """Give both together."""
        mass_kg_d = self.mass_kg_d + other.mass_kg_d
        solids_kg_d = self.solids_kg_d + other.solids_kg_d
        return Excretion(
            mass_kg_d,
            self.volume_m3_d + other.volume_m3_d,
            self.n_kg_d + other.n_kg_d,
            self.p_kg_d + other.p_kg_d,
            self.k_kg_d + other.k_kg_d,
            1 - solids_kg_d / mass_kg_d if mass_kg_d else self.moisture_wb_frac,
        )


# Per 1,000 lb of live weight in milk (75 lb of milk): NRCS 651 ch. 4 (2008), Table 4-5, as quoted
# in a public course text
_NRCS_1000_LB = Excretion(108 * LB_KG, 1.7 * FT3_M3, 0.71 * LB_KG, 0.12 * LB_KG, 0.33 * LB_KG, 0.87)
# Per cow: ASAE D384.2, Table 1, from memory
_ASAE_MILKING = Excretion(68.0, 2.4 * FT3_M3, 0.45, 0.078, 0.103, 0.87)
_ASAE_DRY = Excretion(38.0, 1.3 * FT3_M3, 0.50 * LB_KG, 0.066 * LB_KG, 0.33 * LB_KG, 0.87)


def herd_excretion(
    *, table: Table, n_milking: int, n_dry: int = 0, cow_kg: float = 1375 * LB_KG
) -> Excretion:
    """Give what a herd excretes in a day, by one table alone.

    Parameters
    ----------
    table : Table
        Whose figures.
    n_milking, n_dry : int
        Cows in milk and dry, ≥ 0; the NRCS row known here has no dry cows.
    cow_kg : float
        Live weight of a cow in milk, above 0; for NRCS, whose figures are per 1,000 lb. [kg]

    Returns
    -------
    Excretion
        Of the herd. [kg d⁻¹], [m³ d⁻¹]

    Raises
    ------
    ValueError
        Fewer than no cows, no weight, or dry cows by the NRCS row.

    Notes
    -----
    Valid: for cows of about the milk that a table names (75 lb, 40 kg a day); more milk, more
    manure. Book values: no two herds are alike, and a reading of the level beats them.
    Checked: tests/equipment/basins/test_manure.py::
    test_a_cow_by_its_weight_agrees_with_the_tabulated_cow,
    test_the_two_tables_stay_apart

    References
    ----------
    NRCS, Agricultural Waste Management Field Handbook (651), ch. 4 (2008), Table 4-5; ASAE D384.2,
    "Manure production and characteristics", 2005, Table 1 (from memory).
    """
    if n_milking < 0 or n_dry < 0:
        raise ValueError("n_milking and n_dry must be 0 or more")
    if not 0 < cow_kg < float("inf"):
        raise ValueError(f"cow_kg must be > 0, got {cow_kg}")
    if table is Table.ASAE:
        return _ASAE_MILKING.times(n_milking).plus(_ASAE_DRY.times(n_dry))
    if n_dry:
        raise ValueError("n_dry must be 0: the NRCS row known here has no dry cows")
    return _NRCS_1000_LB.times(n_milking * cow_kg / (1000 * LB_KG))


def mixed_density_kg_m3(share_frac: float, added_kg_m3: float, base_kg_m3: float) -> float:
    """Give the density of two materials mixed by volume.

    Parameters
    ----------
    share_frac : float
        Share of the volume that the added material takes, 0 to 1.
    added_kg_m3, base_kg_m3 : float
        Densities, above 0. [kg m⁻³]

    Returns
    -------
    float
        Of the mixture. [kg m⁻³]

    Raises
    ------
    ValueError
        A share outside 0 to 1, or a density that is not above 0.

    Notes
    -----
    By volume: "20 % sand" at 60 and 120 lb/ft³ gives 72 lb/ft³; by mass it would be 66.7.

    Valid: volumes that add up, without one filling the other's pores.
    Checked: tests/equipment/basins/test_manure.py::test_a_fifth_of_sand_by_volume_weighs_72

    References
    ----------
    Arithmetic; the 72 lb/ft³ is of extension bulletins on sand-laden manure (trap T9).
    """
    if not 0 <= share_frac <= 1:
        raise ValueError(f"share_frac must be 0 to 1, got {share_frac}")
    for name, value in (("added_kg_m3", added_kg_m3), ("base_kg_m3", base_kg_m3)):
        if not 0 < value < float("inf"):
            raise ValueError(f"{name} must be > 0, got {value}")
    return share_frac * added_kg_m3 + (1 - share_frac) * base_kg_m3


@dataclass(frozen=True, slots=True)
class DailyInflow:
    """What comes to the basins in a day, before rain.

    Parameters
    ----------
    settled_m3 : float
        Settled solids that stay behind the walls, with the water and sand in them. [m³ d⁻¹]
    liquid_m3 : float
        All else of flush, manure and sand; it passes. [m³ d⁻¹]
    wash_m3 : float
        Wash water. [m³ d⁻¹]
    late_settled_m3 : float
        Of the liquid, what settles in the second stage. [m³ d⁻¹]
    settled_kg_m3 : float
        Density of the settled solids. [kg m⁻³]
    returned_m3 : float
        What the flush draws back from the second stage. [m³ d⁻¹]
    """

    settled_m3: float
    liquid_m3: float
    wash_m3: float
    late_settled_m3: float
    settled_kg_m3: float
    returned_m3: float = 0.0


def daily_inflow(
    manure: Excretion,
    *,
    flush_m3_d: float,
    wash_m3_d: float,
    sand_kg_d: float,
    retained_frac: float,
    settled_dm_frac: float,
    late_settled_frac: float,
) -> DailyInflow:
    """Part what flows to the basins into what stays in the first stage and what passes.

    Parameters
    ----------
    manure : Excretion
        Of the herd.
    flush_m3_d, wash_m3_d : float
        Flush water, drawn from the second stage and back in it, and wash water, ≥ 0. [m³ d⁻¹]
    sand_kg_d : float
        Sand, dry, that the lane lets go, ≥ 0; all of it settles. [kg d⁻¹]
    retained_frac : float
        Share of the manure's solids that stays behind the walls, 0 to 1.
    settled_dm_frac : float
        Dry matter of settled solids without sand, above 0 to 1.
    late_settled_frac : float
        Share of the solids that pass which settles in the second stage, 0 to 1.

    Returns
    -------
    DailyInflow
        Settled and liquid add up to flush, manure and sand. [m³ d⁻¹]

    Raises
    ------
    ValueError
        A negative amount, or a share outside its range.

    Notes
    -----
    Settled volume = retained solids / (dry matter · 60 lb/ft³) + sand / 120 lb/ft³; never more than
    came.

    Valid: retained 0.50-0.65 and dry matter 0.15-0.25 are published for weeping walls, with a wide
    spread between farms: both are settings of the farm.
    Checked: tests/equipment/basins/test_manure.py::test_settled_solids_reckoned_by_hand,
    test_what_settles_and_what_passes_is_all_that_came

    References
    ----------
    University of Missouri Extension WQ326 (dry matter of settled solids); weeping-wall retention of
    total solids 50-65 %: from memory.
    """
    for name, amount in (
        ("flush_m3_d", flush_m3_d),
        ("wash_m3_d", wash_m3_d),
        ("sand_kg_d", sand_kg_d),
    ):
        if not 0 <= amount < float("inf"):
            raise ValueError(f"{name} must be >= 0, got {amount}")
    for name, share in (("retained_frac", retained_frac), ("late_settled_frac", late_settled_frac)):
        if not 0 <= share <= 1:
            raise ValueError(f"{name} must be 0 to 1, got {share}")
    if not 0 < settled_dm_frac <= 1:
        raise ValueError(f"settled_dm_frac must be above 0 to 1, got {settled_dm_frac}")
    sand_m3 = sand_kg_d / WET_SAND_KG_M3
    settled_m3_kg = settled_dm_frac * MANURE_SOLIDS_KG_M3
    came_m3 = flush_m3_d + manure.volume_m3_d + sand_m3
    settled_m3 = min(manure.solids_kg_d * retained_frac / settled_m3_kg + sand_m3, came_m3)
    late_m3 = manure.solids_kg_d * (1 - retained_frac) * late_settled_frac / settled_m3_kg
    sand_share = min(sand_m3 / settled_m3, 1.0) if settled_m3 else 0.0
    return DailyInflow(
        settled_m3,
        came_m3 - settled_m3,
        wash_m3_d,
        min(late_m3, came_m3 - settled_m3),
        mixed_density_kg_m3(sand_share, WET_SAND_KG_M3, MANURE_SOLIDS_KG_M3),
        flush_m3_d,
    )
