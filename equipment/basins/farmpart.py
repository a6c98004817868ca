"""What the basins bring to the farm file: basins, the farm's figures, trucks and fields."""

import re
from collections.abc import Iterator
from datetime import date

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import Complaint, Entry, Field, Kind
from equipment.site.farmrows import NAME, Rows, Section, SingleRows, place_fields
from equipment.site.models import PlaceKind

from .calc.storage import sloped_storage, surveyed_storage
from .models import (
    MONTH_DAY,
    Basin,
    BasinPractice,
    BasinStage,
    CropField,
    FieldWindow,
    HaulTruck,
    ManureTable,
)


def check_basin(entry: Entry) -> Iterator[Complaint]:
    values = entry.values
    if values["must_act_depth_m"] > values["depth_m"]:
        reason = _("is above the basin's own depth_m")
        yield Complaint("must_act_depth_m", reason, _("The mark to act at lies below the rim."))
    if values["sludge_m"] >= values["depth_m"]:
        yield Complaint("sludge_m", _("is not below the basin's own depth_m"), _("Lower it."))
    try:
        sloped_storage(
            length_m=values["length_m"],
            width_m=values["width_m"],
            depth_m=values["depth_m"],
            side_slope=values["side_slope"],
            ramp_slope=values["ramp_slope"],
        )
    except ValueError:
        reason = _("leaves no floor with ramp_slope at depth_m")
        yield Complaint("side_slope", reason, _("Lower a slope, or the depth."))
    if values["depth_volume"]:
        yield from _check_survey(values["depth_volume"], values["depth_m"])


def _check_survey(table: list[float], depth_m: float) -> Iterator[Complaint]:
    remedy = _("Write depth, volume, depth, volume ... from 0, 0 at the floor to the rim.")
    try:
        storage = surveyed_storage(list(zip(table[::2], table[1::2], strict=True)))
    except ValueError:
        yield Complaint("depth_volume", _("is no curve that rises from 0, 0"), remedy)
        return
    if storage.depth_m[-1] != depth_m:
        yield Complaint("depth_volume", _("does not end at depth_m"), remedy)


def check_practice(entry: Entry) -> Iterator[Complaint]:
    if entry.values["manure_table"] == ManureTable.NRCS and entry.values["n_dry_cows"]:
        reason = _("has no place beside manure_table: nrcs, whose row has none")
        yield Complaint("n_dry_cows", reason, _("Use manure_table: asae, or leave them out."))
    yield from _check_month_day(entry, "season_from_md")


def check_window(entry: Entry) -> Iterator[Complaint]:
    yield from _check_month_day(entry, "first_md")
    yield from _check_month_day(entry, "last_md")


def _check_month_day(entry: Entry, name: str) -> Iterator[Complaint]:
    text = entry.values[name]
    try:
        is_day = bool(re.fullmatch(MONTH_DAY, text)) and bool(date.fromisoformat(f"2024-{text}"))
    except ValueError:
        is_day = False
    if not is_day:
        yield Complaint(name, _("is no day of the year"), _('Write it as "04-15".'))


BASINS = Section(
    name="basins",
    help=_("Weeping-wall basins for flush solids, and those of the second stage"),
    rows=Rows(Basin),
    place_kinds=(PlaceKind.BASIN,),
    check=check_basin,
    fields=(
        *place_fields(),
        Field("length_m", Kind.NUMBER, _("Length inside"), low=0.5, high=2000),
        Field("width_m", Kind.NUMBER, _("Width inside"), low=0.5, high=1000),
        Field("depth_m", Kind.NUMBER, _("Depth to the rim"), low=0.1, high=20),
        Field("must_act_depth_m", Kind.NUMBER, _("Depth at which to act"), above=0, high=20),
        Field("side_slope", Kind.NUMBER, _("Run over rise of the long sides"), 0, low=0, high=10),
        Field("ramp_slope", Kind.NUMBER, _("Run over rise of the ramp"), 0, low=0, high=50),
        Field("depth_volume", Kind.NUMBER, _("Surveyed depths [m] and volumes [m³], in turn"), [],
              low=0, is_list=True),
        Field("stage", Kind.CHOICE, _("Behind the lane, or behind the walls"), BasinStage.FIRST,
              choices=tuple(BasinStage.values)),
        Field("pair", Kind.TEXT, _("What basins that take turns have in common"), "", high=60),
        Field("fills", Kind.BOOL, _("Whether its gate is open, until one is switched"), True),
        Field("weep_frac_d", Kind.NUMBER, _("Share of free liquid that leaves in a day"), 0.95,
              low=0, high=1),
        Field("open_frac", Kind.NUMBER, _("Share of its surface without a crust"), 0.3,
              low=0, high=1),
        Field("sludge_m", Kind.NUMBER, _("Depth that a clean-out leaves"), 0.1, low=0, high=20),
    ),
)  # fmt: skip

PRACTICE = Section(
    name="basin_practice",
    help=_("The farm's own figures for basins, hauling and fields; local rules govern"),
    is_single=True,
    rows=SingleRows(BasinPractice),
    check=check_practice,
    fields=(
        Field("storm_mm", Kind.NUMBER, _("Design storm of this place, 25 years and 24 hours"),
              None, low=0, high=1000),
        Field("manure_table", Kind.CHOICE, _("Whose figures of manure as excreted"),
              ManureTable.ASAE, choices=tuple(ManureTable.values)),
        Field("cow_kg", Kind.NUMBER, _("Live weight of a cow, for nrcs"), 624, above=0, high=1500),
        Field("n_dry_cows", Kind.WHOLE, _("Dry cows whose manure comes too"), 0,
              low=0, high=100_000),
        Field("wash_m3_d", Kind.NUMBER, _("Wash water"), 0, low=0, high=100_000),
        Field("sand_kg_d", Kind.NUMBER, _("Sand that the lane lets go"), 0, low=0, high=1_000_000),
        Field("retained_frac", Kind.NUMBER, _("Share of solids that the walls keep"), 0.55,
              low=0, high=1),
        Field("settled_dm_frac", Kind.NUMBER, _("Dry matter of settled solids"), 0.18,
              low=0.01, high=1),
        Field("late_settled_frac", Kind.NUMBER, _("Share of passing solids that settles later"),
              0.3, low=0, high=1),
        Field("haul_h_d", Kind.NUMBER, _("Hours of hauling in a day"), 10, above=0, high=24),
        Field("n_loaders", Kind.WHOLE, _("Loaders or pumps that fill trucks"), 1, low=1, high=100),
        Field("loader_loads_h", Kind.NUMBER, _("Loads that one fills in an hour"), 10,
              above=0, high=100),
        Field("mineralised_frac", Kind.NUMBER, _("Organic nitrogen available in the season"), None,
              low=0, high=1),
        Field("nh4_kept_frac", Kind.NUMBER, _("Ammonium that is not lost to the air"), None,
              low=0, high=1),
        Field("season_from_md", Kind.TEXT, _("First day of a season, as MM-DD"), "09-01", high=5),
    ),
)  # fmt: skip

TRUCKS = Section(
    name="haul_trucks",
    help=_("Trucks and spreaders that take manure to fields"),
    rows=Rows(HaulTruck),
    fields=(
        NAME,
        Field("n_trucks", Kind.WHOLE, _("How many of this kind"), 1, low=1, high=100),
        Field("tank_m3", Kind.NUMBER, _("What one holds"), above=0, high=100),
        Field("fill_frac", Kind.NUMBER, _("How full it goes"), 0.95, above=0, high=1),
        Field("loads_h", Kind.NUMBER, _("Loads an hour near the basins"), 3.5, above=0, high=30),
    ),
)

FIELDS = Section(
    name="crop_fields",
    help=_("Fields that take manure, and what their crop needs in a season"),
    rows=Rows(CropField),
    fields=(
        NAME,
        Field("crop", Kind.TEXT, _("Crop"), high=60),
        Field("area_ha", Kind.NUMBER, _("Area that is spread on"), above=0, high=10_000),
        Field("distance_km", Kind.NUMBER, _("By road from the basins"), low=0, high=200),
        Field("need_n_kg_ha", Kind.NUMBER, _("Nitrogen the crop needs"), low=0, high=1000),
        Field("need_p2o5_kg_ha", Kind.NUMBER, _("P2O5 the crop needs"), low=0, high=1000),
        Field("need_k2o_kg_ha", Kind.NUMBER, _("K2O the crop needs"), low=0, high=1000),
        Field("is_p_limited", Kind.BOOL, _("Soil phosphorus rules apply"), True),
        Field("is_k_limited", Kind.BOOL, _("Potash may not be passed"), False),
    ),
)

WINDOWS = Section(
    name="field_windows",
    help=_("Days of each year on which a field can take manure"),
    rows=Rows(FieldWindow),
    check=check_window,
    fields=(
        NAME,
        Field("field", Kind.ROW, _("Field"), refers_to="crop_fields"),
        Field("first_md", Kind.TEXT, _("First day, as MM-DD"), high=5),
        Field("last_md", Kind.TEXT, _("Last day, as MM-DD"), high=5),
    ),
)

SECTIONS = (BASINS, PRACTICE, TRUCKS, FIELDS, WINDOWS)
