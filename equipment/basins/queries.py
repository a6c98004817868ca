"""Reads of basins and fields that pages and API share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import QuerySet, Sum
from django.db.models.functions import TruncDate

from equipment.barns.models import Pen
from equipment.flushing.models import FlushRun
from equipment.site.calc.local_time import day_bounds
from equipment.site.models import Site

from .calc.manure import DailyInflow, Table, daily_inflow, herd_excretion
from .calc.nutrients import Analysis, Nutrient, Rates, application_rates
from .calc.storage import StageStorage, sloped_storage, surveyed_storage
from .models import (
    Basin,
    BasinCleanOut,
    BasinOutlook,
    BasinPractice,
    CropField,
    FieldApplication,
    GateSwitch,
    LevelReading,
    ManureAnalysis,
)

FLUSH_D = 1  # the flush of a day is that of the next day's planned runs


def storage_of(basin: Basin) -> StageStorage:
    """Give a basin's curve: the surveyed one where there is one."""
    if basin.depth_volume:
        table = basin.depth_volume
        return surveyed_storage(list(zip(table[::2], table[1::2], strict=True)))
    return sloped_storage(
        length_m=basin.length_m,
        width_m=basin.width_m,
        depth_m=basin.depth_m,
        side_slope=basin.side_slope,
        ramp_slope=basin.ramp_slope,
    )


def practice_of(site_id: int) -> BasinPractice:
    """Give the farm's figures, or those that stand where it gives none: 1 query."""
    found = BasinPractice.objects.filter(site_id=site_id).first()
    return found or BasinPractice(site_id=site_id)


def latest_level(basin: Basin, at: datetime) -> LevelReading | None:
    """Give the last reading of a basin up to a time: 1 query."""
    return basin.levels.filter(read_at__lte=at).order_by("read_at", "pk").last()


def latest_levels(site_id: int, at: datetime) -> dict[int, LevelReading]:
    """Give the last reading of each basin: 1 query."""
    rows = LevelReading.objects.filter(site_id=site_id, read_at__lte=at).select_related("by")
    newest = rows.order_by("basin_id", "-read_at", "-pk").distinct("basin_id")
    return {row.basin_id: row for row in newest}


def filling_ids(basins: Sequence[Basin], site_id: int, at: datetime) -> set[int]:
    """Tell whose gate is open: of a pair the one switched to last, else as the farm file says.

    1 query.
    """
    switched = {}
    rows = GateSwitch.objects.filter(site_id=site_id, at__lte=at).select_related("basin")
    for row in rows.order_by("at", "pk"):
        switched[row.basin.pair] = row.basin_id
    return {
        basin.pk
        for basin in basins
        if (switched[basin.pair] == basin.pk if basin.pair in switched else basin.fills)
    }


def inflow_of(site_id: int, at: datetime, practice: BasinPractice) -> DailyInflow:
    """Give what comes in a day of herd, flush, wash and sand: 2 queries."""
    herd = Pen.objects.filter(site_id=site_id, place__retired_at=None)
    n_cows = herd.aggregate(n=Sum("n_cows"))["n"] or 0
    ahead = FlushRun.objects.filter(
        site_id=site_id, starts_at__gte=at, starts_at__lt=at + timedelta(days=FLUSH_D)
    )
    return daily_inflow(
        herd_excretion(
            table=Table(practice.manure_table),
            n_milking=n_cows,
            n_dry=practice.n_dry_cows,
            cow_kg=practice.cow_kg,
        ),
        flush_m3_d=ahead.aggregate(m3=Sum("volume_m3"))["m3"] or 0.0,
        wash_m3_d=practice.wash_m3_d,
        sand_kg_d=practice.sand_kg_d,
        retained_frac=practice.retained_frac,
        settled_dm_frac=practice.settled_dm_frac,
        late_settled_frac=practice.late_settled_frac,
    )


def settled_density_kg_m3(site_id: int, at: datetime) -> float:
    """Give the density of the first stage's solids by herd, sand and settings: 3 queries."""
    return inflow_of(site_id, at, practice_of(site_id)).settled_kg_m3


def available_n(practice: BasinPractice, sheet: ManureAnalysis) -> float | None:
    """Give a sheet's plant-available nitrogen [kg t⁻¹]; None while the farm gives no factors."""
    if practice.mineralised_frac is None or practice.nh4_kept_frac is None:
        return None
    analysis = Analysis(
        sheet.n_kg_t, sheet.nh4_n_kg_t, sheet.no3_n_kg_t, sheet.p2o5_kg_t, sheet.k2o_kg_t
    )
    return analysis.available_n_kg_t(
        mineralised_frac=practice.mineralised_frac, nh4_kept_frac=practice.nh4_kept_frac
    )


def basins_to_clean(site_id: int, today: date) -> list[BasinOutlook]:
    """Give basins that reach their line before a clean-out begun today would be done: 1 query."""
    rows = BasinOutlook.objects.filter(
        site_id=site_id, line_on__isnull=False, clean_d__isnull=False, basin__place__retired_at=None
    ).select_related("basin__place")
    return [
        row
        for row in rows.order_by("line_on", "pk")
        if row.line_on and row.clean_d and (row.line_on - today).days < row.clean_d
    ]


@dataclass(frozen=True, slots=True)
class FieldView:
    """A field in its season: what was brought, what is still needed, what governs."""

    field: CropField
    season_from: date
    n_applications: int
    mass_kg: float
    brought_kg_ha: dict[Nutrient, float]
    left_kg_ha: dict[Nutrient, float]
    sheet: ManureAnalysis | None
    rates: Rates | None

    @property
    def room_kg(self) -> float | None:
        """Mass of that manure the field still takes; None where nothing says."""
        if self.rates is None or self.rates.governing_t_ha == float("inf"):
            return None
        return 1000 * self.rates.governing_t_ha * self.field.area_ha


def season_start(season_from_md: str, today: date) -> date:
    """Give the first day of the season that a day lies in."""
    day = "02-28" if season_from_md == "02-29" else season_from_md
    this_year = date.fromisoformat(f"{today.year}-{day}")
    return this_year if this_year <= today else date.fromisoformat(f"{today.year - 1}-{day}")


def field_views(site_id: int, practice: BasinPractice, today: date) -> list[FieldView]:
    """Reckon each field in use by the newest manure analysis: 3 queries."""
    sheet = (
        ManureAnalysis.objects.filter(site_id=site_id, sampled_on__lte=today)
        .select_related("basin__place")
        .last()
    )
    season_from = season_start(practice.season_from_md, today)
    applied: dict[int, list[FieldApplication]] = {}
    for row in FieldApplication.objects.filter(site_id=site_id, applied_on__gte=season_from):
        applied.setdefault(row.field_id, []).append(row)
    fields = CropField.objects.filter(site_id=site_id, retired_at=None).order_by("name", "pk")
    return [
        _field_view(field, applied.get(field.pk, []), season_from, sheet, practice)
        for field in fields
    ]


def _field_view(
    field: CropField,
    rows: Sequence[FieldApplication],
    season_from: date,
    sheet: ManureAnalysis | None,
    practice: BasinPractice,
) -> FieldView:
    brought = {
        Nutrient.N: sum(row.available_n_kg for row in rows) / field.area_ha,
        Nutrient.P: sum(row.p2o5_kg for row in rows) / field.area_ha,
        Nutrient.K: sum(row.k2o_kg for row in rows) / field.area_ha,
    }
    need = {
        Nutrient.N: field.need_n_kg_ha,
        Nutrient.P: field.need_p2o5_kg_ha,
        Nutrient.K: field.need_k2o_kg_ha,
    }
    left = {nutrient: need[nutrient] - brought[nutrient] for nutrient in Nutrient}
    return FieldView(
        field=field,
        season_from=season_from,
        n_applications=len(rows),
        mass_kg=sum(row.mass_kg for row in rows),
        brought_kg_ha=brought,
        left_kg_ha=left,
        sheet=sheet,
        rates=_rates(field, left, sheet, practice) if sheet else None,
    )


def _rates(
    field: CropField, left: dict[Nutrient, float], sheet: ManureAnalysis, practice: BasinPractice
) -> Rates | None:
    available_n_kg_t = available_n(practice, sheet)
    if available_n_kg_t is None:
        return None
    limits = {Nutrient.N: True, Nutrient.P: field.is_p_limited, Nutrient.K: field.is_k_limited}
    per_t = {
        Nutrient.N: available_n_kg_t,
        Nutrient.P: sheet.p2o5_kg_t,
        Nutrient.K: sheet.k2o_kg_t,
    }
    return application_rates(
        per_t,
        {nutrient: max(amount, 0.0) for nutrient, amount in left.items()},
        frozenset(nutrient for nutrient, counts in limits.items() if counts),
    )


def levels_between(site_id: int, start: datetime, end: datetime) -> QuerySet[LevelReading]:
    """Levels read in a span, with basin and who: 1 query."""
    rows = LevelReading.objects.filter(site_id=site_id, read_at__gte=start, read_at__lt=end)
    return rows.select_related("basin__place", "by")


def clean_outs_between(site_id: int, start: datetime, end: datetime) -> QuerySet[BasinCleanOut]:
    """Clean-outs done in a span, with basin and who: 1 query."""
    rows = BasinCleanOut.objects.filter(site_id=site_id, done_at__gte=start, done_at__lt=end)
    return rows.select_related("basin__place", "by")


def applications_between(site_id: int, from_on: date, until_on: date) -> QuerySet[FieldApplication]:
    """What was brought to fields on the days, with field, basin, analysis and who: 1 query."""
    rows = FieldApplication.objects.filter(
        site_id=site_id, applied_on__gte=from_on, applied_on__lt=until_on
    )
    return rows.select_related("field", "basin__place", "analysis", "by")


def analyses_between(site_id: int, from_on: date, until_on: date) -> QuerySet[ManureAnalysis]:
    """Laboratory sheets of what was sampled on the days, with basin and who: 1 query."""
    rows = ManureAnalysis.objects.filter(
        site_id=site_id, sampled_on__gte=from_on, sampled_on__lt=until_on
    )
    return rows.select_related("basin__place", "by")


def level_days(site: Site, from_on: date, until_on: date) -> list[tuple[Basin, list[date]]]:
    """Give each basin in use with the days on which its level was read, in order: 2 queries."""
    (start, _), (end, _) = day_bounds(from_on, site.zone), day_bounds(until_on, site.zone)
    rows = (
        LevelReading.objects.filter(site=site, read_at__gte=start, read_at__lt=end)
        .annotate(on=TruncDate("read_at", tzinfo=site.zone))
        .order_by("on")
        .values_list("basin_id", "on")
        .distinct()
    )
    days: dict[int, list[date]] = {}
    for basin_id, on in rows:
        days.setdefault(basin_id, []).append(on)
    basins = Basin.objects.filter(site=site, place__retired_at=None).select_related("place")
    return [(basin, days.get(basin.pk, [])) for basin in basins.order_by("place__key")]
