"""How much manure a field's crop can use, and which nutrient says stop.

Availability differs by state, season and way of spreading: the factors are the farm's, from its
state's guide, and local rules govern.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Nutrient(StrEnum):
    """What a rate is based on."""

    N = "n"
    P = "p"
    K = "k"


@dataclass(frozen=True, slots=True)
class Analysis:
    """Manure of a laboratory's sheet, per tonne as it lies.

    Parameters
    ----------
    n_kg_t, nh4_n_kg_t, no3_n_kg_t : float
        Total, ammonium and nitrate nitrogen. [kg t⁻¹]
    p2o5_kg_t, k2o_kg_t : float
        Phosphate and potash. [kg t⁻¹]

    Raises
    ------
    ValueError
        A negative amount, or more ammonium and nitrate than total nitrogen.
    """

    n_kg_t: float
    nh4_n_kg_t: float
    no3_n_kg_t: float
    p2o5_kg_t: float
    k2o_kg_t: float

    def __post_init__(self) -> None:
        for name in ("n_kg_t", "nh4_n_kg_t", "no3_n_kg_t", "p2o5_kg_t", "k2o_kg_t"):
            if not 0 <= getattr(self, name) < float("inf"):
                raise ValueError(f"{name} must be >= 0, got {getattr(self, name)}")
        if self.nh4_n_kg_t + self.no3_n_kg_t > self.n_kg_t * (1 + 1e-9):
            raise ValueError("nh4_n_kg_t and no3_n_kg_t together are above n_kg_t")

    def available_n_kg_t(self, *, mineralised_frac: float, nh4_kept_frac: float) -> float:
        """Give the nitrogen that this season's crop can take.

        Parameters
        ----------
        mineralised_frac : float
            Share of organic nitrogen that becomes available this season, 0 to 1.
        nh4_kept_frac : float
            Share of ammonium that is not lost to the air, 0 to 1.

        Returns
        -------
        float
            Plant-available nitrogen. [kg t⁻¹]

        Raises
        ------
        ValueError
            A share outside 0 to 1.

        Notes
        -----
        (total − NH4 − NO3) · mineralised + NH4 · kept + NO3.

        Valid: with factors of the state's guide; none is built in.
        Checked: tests/equipment/basins/test_nutrients.py::
        test_rates_of_the_published_worksheet

        References
        ----------
        Montana State University Extension, comprehensive nutrient management planning, step 5.
        """
        for name, share in (
            ("mineralised_frac", mineralised_frac),
            ("nh4_kept_frac", nh4_kept_frac),
        ):
            if not 0 <= share <= 1:
                raise ValueError(f"{name} must be 0 to 1, got {share}")
        organic_kg_t = max(self.n_kg_t - self.nh4_n_kg_t - self.no3_n_kg_t, 0.0)
        return organic_kg_t * mineralised_frac + self.nh4_n_kg_t * nh4_kept_frac + self.no3_n_kg_t


@dataclass(frozen=True, slots=True)
class Rates:
    """How much of a manure each nutrient allows on a hectare.

    Parameters
    ----------
    t_ha : mapping of Nutrient to float
        Infinite where the manure has none of it. [t ha⁻¹]
    governing : Nutrient
        The one that says stop first among those that count.
    """

    t_ha: dict[Nutrient, float]
    governing: Nutrient

    @property
    def governing_t_ha(self) -> float:
        """The rate to keep to. [t ha⁻¹]."""
        return self.t_ha[self.governing]


def application_rates(
    per_t_kg: dict[Nutrient, float],
    need_kg_ha: dict[Nutrient, float],
    limits: frozenset[Nutrient],
) -> Rates:
    """Give the rate that each nutrient allows, and name the one that governs.

    Parameters
    ----------
    per_t_kg : mapping
        Available N, P2O5 and K2O of a tonne, ≥ 0. [kg t⁻¹]
    need_kg_ha : mapping
        What the crop still needs of each, ≥ 0. [kg ha⁻¹]
    limits : frozenset of Nutrient
        Those that may not be passed on this field; one at least. Where soil phosphorus rules
        apply, P is among them.

    Returns
    -------
    Rates
        By nutrient, and the governing one. [t ha⁻¹]

    Raises
    ------
    ValueError
        A negative amount, or no limit.

    Notes
    -----
    rate = need / available; what a manure lacks never limits.

    Valid: for one season; residual nitrogen of past years goes off the need.
    Checked: tests/equipment/basins/test_nutrients.py::test_rates_of_the_published_worksheet

    References
    ----------
    Montana State University Extension, comprehensive nutrient management planning, step 5.
    """
    for name, amounts in (("per_t_kg", per_t_kg), ("need_kg_ha", need_kg_ha)):
        if not all(0 <= amounts[nutrient] < float("inf") for nutrient in Nutrient):
            raise ValueError(f"{name} must be >= 0 for each nutrient")
    if not limits:
        raise ValueError("limits must name one nutrient at least")
    t_ha = {
        nutrient: need_kg_ha[nutrient] / per_t_kg[nutrient] if per_t_kg[nutrient] else float("inf")
        for nutrient in Nutrient
    }
    in_order = [nutrient for nutrient in Nutrient if nutrient in limits]
    return Rates(t_ha, min(in_order, key=t_ha.__getitem__))
