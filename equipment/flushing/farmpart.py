"""What flushing brings to the farm file: tanks and the timers that open the valves."""

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import Complaint, Entry, Field, Kind
from equipment.site.farmrows import NAME, Rows, Section, place_fields
from equipment.site.models import PlaceKind

from .models import FlushTimer, Tank, TimerTrigger


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


TANKS = Section(
    name="tanks",
    help=_("Flush tanks"),
    rows=Rows(Tank),
    place_kinds=(PlaceKind.TANK,),
    fields=(
        *place_fields(),
        Field("volume_m3", Kind.NUMBER, _("What it holds"), above=0, high=10_000),
        Field("refill_m3_h", Kind.NUMBER, _("How fast it refills"), above=0, high=5_000),
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

SECTIONS = (TANKS, FLUSH_TIMERS)
