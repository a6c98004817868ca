"""What a year ahead starts from: sand, pads, piles, basins and hours in plain numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from datetime import date
from typing import Any

from schedules.sand.calc.layer import Layer

N_MONTHS = 12
NEVER_D = 1_000_000  # later than any day: the open pile is ready then, an empty place never is


def _require(is_right: bool, name: str, value: object) -> None:
    if not is_right:
        raise ValueError(f"{name} cannot be {value!r}")


def _require_at_least_0(record: object, *names: str) -> None:
    for name in names:
        value = getattr(record, name)
        _require(0 <= value < math.inf, name, value)


@dataclass(frozen=True, slots=True, kw_only=True)
class SandUse:
    """What beds take and what the lane gives back. Masses are dry.

    Parameters
    ----------
    use_kg_d : float
        Bedded on a day of the year's mean, ≥ 0. [kg d⁻¹]
    use_sd_frac : float
        How far a year's mean may be off, as a share of it, ≥ 0. [-]
    season : tuple of float
        Use of each month, January first, over the year's mean; twelve, ≥ 0. [-]
    recovery_frac, recovery_sd_frac : float
        Share of the bedded sand that the lane gives back, 0 to 1, and how far it may be off. [-]
    screening_loss_frac : float
        Share that is lost when a layer is picked up, 0 to below 1. [-]
    safety_kg : float
        Released sand that is kept back, ≥ 0. [kg]
    """

    use_kg_d: float
    use_sd_frac: float = 0.05
    season: tuple[float, ...] = (1.0,) * N_MONTHS
    recovery_frac: float
    recovery_sd_frac: float = 0.1
    screening_loss_frac: float = 0.0
    safety_kg: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what no farm can have."""
        _require_at_least_0(self, "use_kg_d", "use_sd_frac", "recovery_sd_frac", "safety_kg")
        _require(0 <= self.recovery_frac <= 1, "recovery_frac", self.recovery_frac)
        _require(0 <= self.screening_loss_frac < 1, "screening_loss_frac", self.screening_loss_frac)
        _require(
            len(self.season) == N_MONTHS and all(0 <= s < math.inf for s in self.season),
            "season",
            self.season,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Buying:
    """How sand is bought when it would run low; nothing is bought without this.

    Parameters
    ----------
    lead_d : int
        Days from order to delivery, 1 or more. [d]
    truck_kg : float
        Dry mass of one delivery, above 0. [kg]
    """

    lead_d: int
    truck_kg: float

    def __post_init__(self) -> None:
        """Refuse a delivery that never comes or brings nothing."""
        _require(self.lead_d >= 1, "lead_d", self.lead_d)
        _require(0 < self.truck_kg < math.inf, "truck_kg", self.truck_kg)


@dataclass(frozen=True, slots=True, kw_only=True)
class BayNow:
    """One bay of a pad.

    Parameters
    ----------
    capacity_kg : float
        Dry mass of a load, above 0. [kg]
    dry_kg : float
        What lies on it now; 0 where it is free. [kg]
    water_mm : float
        Water in the layer that lies there. [mm]
    """

    capacity_kg: float
    dry_kg: float = 0.0
    water_mm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a bay without room."""
        _require(0 < self.capacity_kg < math.inf, "capacity_kg", self.capacity_kg)
        _require_at_least_0(self, "dry_kg", "water_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class PileNow:
    """One pile place.

    Parameters
    ----------
    capacity_kg : float
        Room for dry mass, above 0. [kg]
    dry_kg : float
        What lies there now; 0 where it is free. [kg]
    ready_in_d : int
        Days until it is cured, 0 where it is; `NEVER_D` while it still takes sand. [d]
    """

    capacity_kg: float
    dry_kg: float = 0.0
    ready_in_d: int = 0

    def __post_init__(self) -> None:
        """Refuse a place without room."""
        _require(0 < self.capacity_kg < math.inf, "capacity_kg", self.capacity_kg)
        _require_at_least_0(self, "dry_kg", "ready_in_d")


@dataclass(frozen=True, slots=True, kw_only=True)
class Yard:
    """How sand is drained, dried, piled and cured.

    Parameters
    ----------
    drain_d : int
        Whole days on the slab before it may be spread, 0 or more. [d]
    draining_kg : float
        On the slab now; counted as drained. [kg]
    slab_kg : float
        Room on the slab, above 0. [kg]
    layer : Layer
        The layer on a pad.
    turned_depth_m, turns_d : float, int
        How deep and how often a layer is turned on a day without rain. [m], [d⁻¹]
    spread_moisture_wb_frac, dry_moisture_wb_frac : float
        Of the layer when it is spread, and when it may be picked up, 0 to 1. [-]
    hold_d : int
        Dry evenings running before it is picked up, 1 or more. [d]
    capacity_sd_frac, log_rate_sd : float
        How far the sand's field capacity, by volume, and the logarithm of the pads' evaporation
        over kc · ET0 may be off; of all bays together. Common practice, no source. [-]
    pile_close_d, cure_d : int
        How long a pile takes sand, and how long it lies then, ≥ 1 and ≥ 0. [d]
    bays, piles : tuple
        At least one each.
    """

    drain_d: int
    draining_kg: float = 0.0
    slab_kg: float
    layer: Layer
    turned_depth_m: float
    turns_d: int
    spread_moisture_wb_frac: float
    dry_moisture_wb_frac: float
    hold_d: int
    capacity_sd_frac: float = 0.015
    log_rate_sd: float = 0.15
    pile_close_d: int
    cure_d: int
    bays: tuple[BayNow, ...]
    piles: tuple[PileNow, ...]

    def __post_init__(self) -> None:
        """Refuse what no yard can be."""
        _require_at_least_0(self, "drain_d", "draining_kg", "turned_depth_m", "turns_d", "cure_d")
        _require_at_least_0(self, "capacity_sd_frac", "log_rate_sd")
        _require(self.slab_kg > 0, "slab_kg", self.slab_kg)
        _require(self.hold_d >= 1, "hold_d", self.hold_d)
        _require(self.pile_close_d >= 1, "pile_close_d", self.pile_close_d)
        for name in ("spread_moisture_wb_frac", "dry_moisture_wb_frac"):
            _require(0 < getattr(self, name) < 1, name, getattr(self, name))
        _require(bool(self.bays), "bays", self.bays)
        _require(bool(self.piles), "piles", self.piles)


@dataclass(frozen=True, slots=True, kw_only=True)
class BasinNow:
    """One basin.

    Parameters
    ----------
    full_m3, line_m3 : float
        What it holds to the rim, and at the mark to act at, 0 < line ≤ full. [m³]
    rim_m2 : float
        Area that rain falls on. [m²]
    contents_m3, sludge_m3 : float
        In it now, and what a clean-out leaves. [m³]
    weep_frac, open_frac : float
        Share of the free liquid that drains in a day, and of the surface without a crust. [-]
    """

    full_m3: float
    line_m3: float
    rim_m2: float
    contents_m3: float = 0.0
    sludge_m3: float = 0.0
    weep_frac: float = 0.95
    open_frac: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what no basin can be."""
        _require(0 < self.line_m3 <= self.full_m3 < math.inf, "line_m3", self.line_m3)
        _require_at_least_0(self, "rim_m2", "contents_m3", "sludge_m3")
        for name in ("weep_frac", "open_frac"):
            _require(0 <= getattr(self, name) <= 1, name, getattr(self, name))


@dataclass(frozen=True, slots=True, kw_only=True)
class Basins:
    """Basins that take turns, and how they are emptied.

    Parameters
    ----------
    basins : tuple of BasinNow
        May be none. The first `n_filling` take the flush now, in equal parts; one that is at its
        line gives its part to the emptiest that rests.
    n_filling : int
        How many are filled at a time, 1 or more. [-]
    solids_m3_d, liquid_m3_d, wash_m3_d : float
        What flush and wash bring in a day: `DailyInflow`. [m³ d⁻¹]
    solids_sd_frac : float
        How far a year's solids may be off, as a share of them, ≥ 0. Common practice, no source. [-]
    clean_m3_d : float
        What is taken out on a day of cleaning. [m³ d⁻¹]
    rest_d : int
        Days a full basin drains before it is cleaned. [d]
    clean_months : tuple of bool
        Whether fields or a heap can take it in each month, January first.
    """

    basins: tuple[BasinNow, ...] = ()
    n_filling: int = 1
    solids_m3_d: float = 0.0
    solids_sd_frac: float = 0.1
    liquid_m3_d: float = 0.0
    wash_m3_d: float = 0.0
    clean_m3_d: float = 0.0
    rest_d: int = 0
    clean_months: tuple[bool, ...] = (True,) * N_MONTHS

    def __post_init__(self) -> None:
        """Refuse negative flows."""
        _require_at_least_0(self, "solids_m3_d", "liquid_m3_d", "wash_m3_d")
        _require_at_least_0(self, "solids_sd_frac", "clean_m3_d", "rest_d")
        _require(1 <= self.n_filling <= max(len(self.basins), 1), "n_filling", self.n_filling)
        _require(len(self.clean_months) == N_MONTHS, "clean_months", self.clean_months)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours:
    """Hours of work by what causes it, and hours there are.

    Parameters
    ----------
    people_base_h_d, loader_base_h_d : float
        A day's work that no sand or basin changes. [h d⁻¹]
    people_h_t, loader_h_t : float
        For each tonne scooped, spread, picked up or bedded, once for each. [h t⁻¹]
    turn_h : float
        A bay turned once, by one person with one loader. [h]
    clean_h_m3 : float
        A cubic meter taken out of a basin, likewise. [h m⁻³]
    people_there_h_d, loader_there_h_d : float
        Hours of people on shift and of loaders fit for work. [h d⁻¹]
    """

    people_base_h_d: float = 0.0
    loader_base_h_d: float = 0.0
    people_h_t: float = 0.0
    loader_h_t: float = 0.0
    turn_h: float = 0.0
    clean_h_m3: float = 0.0
    people_there_h_d: float = 0.0
    loader_there_h_d: float = 0.0

    def __post_init__(self) -> None:
        """Refuse negative hours."""
        _require_at_least_0(self, *(f.name for f in fields(self)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """All that a year ahead is reckoned from but the weather.

    Parameters
    ----------
    start_on : date
        Its first day.
    latitude_deg : float
        Of the site. [°]
    rain_factor : float
        On every day's rain, ≥ 0. [-]
    """

    start_on: date
    latitude_deg: float
    use: SandUse
    yard: Yard
    buying: Buying | None = None
    basins: Basins = Basins()
    hours: Hours = Hours()
    rain_factor: float = 1.0

    def __post_init__(self) -> None:
        """Refuse a factor below nothing."""
        _require_at_least_0(self, "rain_factor")

    def as_document(self) -> dict[str, Any]:
        """Give it as plain JSON, from which `scenario_of` makes the same again."""
        document = asdict(self)
        document["start_on"] = self.start_on.isoformat()
        return document


def scenario_of(document: Mapping[str, Any]) -> Scenario:
    """Make a scenario from its JSON.

    Parameters
    ----------
    document : mapping
        As `Scenario.as_document` gives it, or read back from JSON.

    Returns
    -------
    Scenario
        The same again.

    Raises
    ------
    ValueError
        What the records refuse.
    """
    yard = dict(document["yard"])
    yard["layer"] = Layer(**yard["layer"])
    yard["bays"] = tuple(BayNow(**bay) for bay in yard["bays"])
    yard["piles"] = tuple(PileNow(**pile) for pile in yard["piles"])
    basins = dict(document["basins"])
    basins["basins"] = tuple(BasinNow(**basin) for basin in basins["basins"])
    basins["clean_months"] = tuple(basins["clean_months"])
    use = dict(document["use"])
    use["season"] = tuple(use["season"])
    return Scenario(
        start_on=date.fromisoformat(document["start_on"]),
        latitude_deg=document["latitude_deg"],
        use=SandUse(**use),
        yard=Yard(**yard),
        buying=Buying(**document["buying"]) if document["buying"] else None,
        basins=Basins(**basins),
        hours=Hours(**document["hours"]),
        rain_factor=document["rain_factor"],
    )
