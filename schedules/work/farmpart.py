"""What work brings to the farm file: standing orders."""

from collections import defaultdict
from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext_lazy as _

from equipment.machines.models import MachineKind
from equipment.site.farmfields import Complaint, Entry, Field, Kind, Values
from equipment.site.farmrows import Farm, Section, TitledRows
from equipment.site.models import PlaceKind

from . import rules
from .models import Effort, LateRule, StandingOrder, Trigger

# Where the farm file names the places of each kind; those of `places` say their kind themselves.
SECTION_OF_KIND = {
    PlaceKind.PARLOR: "parlors",
    PlaceKind.PEN: "pens",
    PlaceKind.BED_GROUP: "bed_groups",
    PlaceKind.ALLEY: "alleys",
    PlaceKind.TANK: "tanks",
    PlaceKind.LANE: "lanes",
    PlaceKind.SLAB: "slabs",
    PlaceKind.PAD: "pads",
    PlaceKind.BAY: "bays",
    PlaceKind.PILE_PLACE: "pile_places",
    PlaceKind.BASIN: "basins",
}


class OrderRows(TitledRows):
    """A standing order counts its edits, as one edited by hand does."""

    def update(self, farm: Farm, section: Section, key: str, values: Values) -> None:
        row: Any = self.find(farm, key)
        row.version += 1
        self.fill(farm, section, row, values)


def check_order(entry: Entry) -> Iterator[Complaint]:
    """Ask the room's own rules about the three documents, and whom the order follows."""
    values = entry.values
    faults = rules.check_documents(
        trigger=values["trigger"],
        trigger_rule=values["trigger_rule"],
        target=values["target"],
        duration=values["duration"],
        known_places=_known_places(entry),
    )
    yield from (Complaint(*fault) for fault in faults)
    if values["trigger"] == Trigger.AFTER:
        orders = entry.everything["standing_orders"]
        chain = {
            key: order["trigger_rule"].get("standing_order", "")
            for key, order in orders.items()
            if order["trigger"] == Trigger.AFTER
        }
        for key, reason, remedy in rules.check_chain(chain, orders):
            if key == entry.key:
                yield Complaint("trigger_rule.standing_order", reason, remedy)


def _known_places(entry: Entry) -> dict[str, set[str]]:
    known: dict[str, set[str]] = defaultdict(set)
    for kind, section in SECTION_OF_KIND.items():
        known[kind] |= set(entry.everything[section])
    for key, place in entry.everything["places"].items():
        known[place["kind"]].add(key)
    return known


STANDING_ORDERS = Section(
    name="standing_orders",
    help=_("Rules that make recurring work"),
    rows=OrderRows(StandingOrder),
    check=check_order,
    topic="standing_order.edited",
    fields=(
        Field("title", Kind.WORDS, _("What is done: a verb first")),
        Field("trigger", Kind.CHOICE, _("What makes it due"), choices=tuple(Trigger.values)),
        Field("trigger_rule", Kind.DOCUMENT, _("When exactly; its keys depend on the trigger")),
        Field("target", Kind.DOCUMENT, _("Where: a kind of place, or some by key"), {}),
        Field("duration", Kind.DOCUMENT, _("Minutes of one person, summed up")),
        Field("skill", Kind.ROW_KEY, _("Who may do it"), "", refers_to="skills"),
        Field(
            "machine_kinds",
            Kind.CHOICE,
            _("Any of these machines; none: by hand"),
            [],
            is_list=True,
            choices=tuple(MachineKind.values),
        ),
        Field("attachment_kind", Kind.TEXT, _("What the machine pulls"), "", high=12),
        Field("n_people", Kind.WHOLE, _("People at once"), 1, low=1, high=20),
        Field("priority", Kind.WHOLE, _("Priority: 1 first, 9 last"), 3, low=1, high=9),
        Field("effort", Kind.CHOICE, _("How hard"), "moderate", choices=tuple(Effort.values)),
        Field("is_daylight_only", Kind.BOOL, _("By daylight only"), False),
        Field("needs_lock", Kind.BOOL, _("Isolate the flush valve first"), False),
        Field("needs_clean_bucket", Kind.BOOL, _("Bucket must not have touched manure"), False),
        Field(
            "late_rule",
            Kind.CHOICE,
            _("What becomes of it when its time has passed"),
            "record_missed",
            choices=tuple(LateRule.values),
        ),
        Field("how", Kind.WORDS, _("How it is done"), {}),
        Field("caution", Kind.WORDS, _("What can hurt"), {}),
    ),
)

SECTIONS = (STANDING_ORDERS,)
