"""What flushing brings to the farm file: tanks and the timers that open the valves."""

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import Complaint, Entry, Field, Kind
from equipment.site.farmrows import NAME, Rows, Section, SingleRows, place_fields
from equipment.site.models import PlaceKind

from .models import FlushTimer, FlushWater, Tank, TimerTrigger


def check_timer(entry: Entry) -> Iterator[Complaint]:
    at_times = entry.values["trigger"] == TimerTrigger.AT_TIMES
    if at_times and not entry.values["times_local"]:
        yield Complaint("times_local", _("is missing"), _("Say when it opens, or use at_visit."))
    if not at_times and entry.values["times_local"]:
        reason = _("has no place beside trigger: at_visit")
        yield Complaint("times_local", reason, _("Leave it out, or use trigger: at_times."))
    alley = entry.everything["alleys"].get(entry.values["alley"])
    if not at_times and alley is not None and alley["pen"] is None:
        reason = _("belongs to no pen, so it has no visits")
        yield Complaint("alley", reason, _("Use trigger: at_times with times_local."))


def check_tank(entry: Entry) -> Iterator[Complaint]:
    if entry.values["reserve_m3"] >= entry.values["volume_m3"]:
        yield Complaint("reserve_m3", _("is not below volume_m3"), _("Lower it."))


def check_water(entry: Entry) -> Iterator[Complaint]:
    values = entry.values
    if values["recycled_level_m3"] > values["recycled_capacity_m3"]:
        yield Complaint("recycled_level_m3", _("is above recycled_capacity_m3"), _("Lower it."))
    if values["no_flush_below_degc"] > values["drain_below_degc"]:
        reason = _("is above drain_below_degc, where valves are drained already")
        yield Complaint("no_flush_below_degc", reason, _("Lower it, or raise the other."))


TANKS = Section(
    name="tanks",
    help=_("Flush tanks"),
    rows=Rows(Tank),
    check=check_tank,
    place_kinds=(PlaceKind.TANK,),
    fields=(
        *place_fields(),
        Field("volume_m3", Kind.NUMBER, _("What it holds"), above=0, high=10_000),
        Field("refill_m3_h", Kind.NUMBER, _("How fast it refills"), above=0, high=5_000),
        Field("reserve_m3", Kind.NUMBER, _("Water the valves cannot draw"), 0, low=0),
    ),
)

FLUSH_TIMERS = Section(
    name="flush_timers",
    help=_("What opens an alley's valve, and when"),
    rows=Rows(FlushTimer),
    check=check_timer,
    fields=(
        NAME,
        Field("alley", Kind.ROW, _("Alley it washes"), refers_to="alleys"),
        Field("tank", Kind.ROW, _("Tank it draws from"), refers_to="tanks"),
        Field("trigger", Kind.CHOICE, _("When it opens"), choices=tuple(TimerTrigger.values)),
        Field("times_local", Kind.TIME, _("Set times, for at_times"), [], is_list=True),
        Field("open_s", Kind.NUMBER, _("How long the valve is open"), low=1, high=1800),
        Field("flow_m3_s", Kind.NUMBER, _("Flow while it is open"), low=0.001, high=5),
    ),
)

FLUSH_WATER = Section(
    name="flush_water",
    help=_("The farm's own figures for its flush water"),
    is_single=True,
    rows=SingleRows(FlushWater),
    check=check_water,
    fields=(
        Field("wait_max_min", Kind.NUMBER, _("How long a run at a set time waits for its tank"),
              45, low=0, high=240),
        Field("recycled_capacity_m3", Kind.NUMBER, _("What the recycled-water store holds"), 4000,
              above=0, high=1_000_000),
        Field("recycled_level_m3", Kind.NUMBER, _("Water in it, as last measured"), 2500, low=0),
        Field("recycled_area_m2", Kind.NUMBER, _("Its open surface"), 2000, low=0, high=1_000_000),
        Field("fresh_m3_d", Kind.NUMBER, _("Fresh water that comes in a day"), 0, low=0),
        Field("solids_frac", Kind.NUMBER, _("Share of flush water that leaves with solids"), 0.03,
              low=0, high=1),
        Field("no_flush_below_degc", Kind.NUMBER, _("No flush in colder air"), -10,
              low=-60, high=20),
        Field("drain_below_degc", Kind.NUMBER, _("Valves are drained in colder air"), -2,
              low=-60, high=20),
    ),
)  # fmt: skip

SECTIONS = (TANKS, FLUSH_TIMERS, FLUSH_WATER)
