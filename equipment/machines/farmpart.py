"""What the machines bring to the farm file: themselves, their services and their checks."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import ANY_PLACE, Complaint, Entry, Field, Kind, Values
from equipment.site.farmrows import NAME, Rows, Section, SingleRows, TitledRows

from .models import CheckItem, Machine, MachineKind, MachinePractice, RepairRow, ServiceItem

if TYPE_CHECKING:
    from equipment.site.farmfields import Text

KINDS = tuple(MachineKind.values)
MAX_CHECK_ITEMS = 15  # a list of 16 is no longer read


def check_service_item(entry: Entry) -> Iterator[Complaint]:
    if bool(entry.values["machine_kind"]) == bool(entry.values["machine"]):
        reason = _("must be given when machine is not, and only then")
        yield Complaint("machine_kind", reason, _("Name a kind of machines or one machine."))
    if entry.values["every_h"] is None and entry.values["every_d"] is None:
        remedy = _("Give every_h (meter hours), every_d (days) or both.")
        yield Complaint("every_h", _("is missing"), remedy)
    if entry.values["first_at_h"] is not None and entry.values["every_h"] is None:
        remedy = _("Give every_h too, or leave first_at_h out.")
        yield Complaint("first_at_h", _("needs every_h"), remedy)


def check_check_item(entry: Entry) -> Iterator[Complaint]:
    items = entry.everything["check_items"]
    kind, position = entry.values["machine_kind"], entry.values["position"]
    same = [key for key, item in items.items() if item["machine_kind"] == kind]
    if same.index(entry.key) >= MAX_CHECK_ITEMS:
        text = _("is one of %(n)d items of this kind; nobody reads more than %(max)d")
        words = {"n": len(same), "max": MAX_CHECK_ITEMS}
        yield Complaint("machine_kind", text % words, _("Keep the nine that can kill or strand."))
    if [items[key]["position"] for key in same].count(position) > 1:
        clash = _("is the position of another item of this kind too")
        yield Complaint("position", clash, _("Number the items in walking order."))


def check_machine(entry: Entry) -> Iterator[Complaint]:
    price, salvage = entry.values["price"], entry.values["salvage"]
    if price is not None and salvage is not None and salvage > price:
        remedy = _("Give what it will fetch at the end of its life.")
        yield Complaint("salvage", _("is more than price"), remedy)


def to_the_cent(values: Values) -> Values:
    """Round money as it is stored, so that a file with more digits compares equal."""
    money = {"price", "list_price", "salvage", "worth_now", "visit_cost", "shop_cost_per_h"}
    digits = dict.fromkeys(money, 2) | {"fuel_price_per_l": 4}
    return {
        name: value if value is None or name not in digits else round(float(value), digits[name])
        for name, value in values.items()
    }


def money(name: str, meaning: Text) -> Field:
    """Give a field of money, which need not be known."""
    return Field(name, Kind.NUMBER, meaning, None, low=0, high=9_999_999)


MACHINES = Section(
    name="machines",
    help=_("Loaders, groomers, trucks and the rest, by their numbers"),
    rows=Rows(Machine),
    check=check_machine,
    tidy=to_the_cent,
    fields=(
        NAME,
        Field("kind", Kind.CHOICE, _("What it is"), choices=KINDS),
        Field("home", Kind.ROW, _("Where it stands when idle"), refers_to=ANY_PLACE),
        Field("driver_skill", Kind.ROW_KEY, _("Skill of its driver"), "", refers_to="skills"),
        Field("bucket_m3", Kind.NUMBER, _("Bucket or box, struck"), None, low=0.01, high=60),
        Field("fill_frac", Kind.NUMBER, _("Usual filling"), 0.95, low=0.1, high=1.5),
        Field("travel_m_min", Kind.NUMBER, _("Speed between places"), 150, low=5, high=1500),
        Field("is_clean_only", Kind.BOOL, _("Never touches manure"), False),
        Field("rated_load_kg", Kind.NUMBER, _("Rated operating load"), None, low=1, high=50_000),
        Field("power_kw", Kind.NUMBER, _("Power of its engine"), None, low=1, high=2000),
        money("price", _("What was paid for it")),
        money("list_price", _("List price of one like it today")),
        money("salvage", _("What it will fetch at its end")),
        money("worth_now", _("What it would fetch today")),
        Field("life_y", Kind.NUMBER, _("Years it is meant to serve"), None, low=1, high=40),
        Field(
            "repair_row", Kind.CHOICE, _("Repair factors it borrows"), "",
            choices=tuple(RepairRow.values),
        ),
    ),
)  # fmt: skip

MACHINE_PRACTICE = Section(
    name="machine_practice",
    help=_("The farm's own figures for what machines cost and do"),
    rows=SingleRows(MachinePractice),
    is_single=True,
    tidy=to_the_cent,
    fields=(
        Field("interest_frac", Kind.NUMBER, _("Interest a year"), None, low=0, high=0.5),
        Field("fuel_price_per_l", Kind.NUMBER, _("Fuel, a litre"), None, low=0, high=1000),
        Field("lubricant_frac", Kind.NUMBER, _("Lubricants, share of fuel"), 0.15, low=0, high=1),
        Field(
            "ownership_frac", Kind.NUMBER,
            _("Taxes, housing and insurance a year, share of the price"), 0.01, low=0, high=0.2,
        ),
        money("visit_cost", _("To bring one machine in, once")),
        money("shop_cost_per_h", _("An hour of a mechanic")),
        Field(
            "most_early_frac", Kind.NUMBER,
            _("Share of its interval by which a service may be early"), 0.2, low=0, high=0.9,
        ),
        Field(
            "stops_per_1000_h", Kind.NUMBER,
            _("Unplanned stops in 1,000 hours, before any record"), 3, low=0.01, high=100,
        ),
        Field(
            "stops_weight_h", Kind.NUMBER,
            _("Hours of record that this guess is worth"), 1000, low=10, high=100_000,
        ),
        Field(
            "wet_sand_kg_m3", Kind.NUMBER,
            _("Scooped sand, loose and wet"), 1920, low=1000, high=2500,
        ),
        Field(
            "fixed_cycle_min", Kind.NUMBER,
            _("Fill, turn and dump one bucket, without the way"), 0.55, low=0.1, high=20,
        ),
        Field("haul_m", Kind.NUMBER, _("Usual way of a bucket, one way"), 40, low=0, high=5000),
        Field("work_share_frac", Kind.NUMBER, _("Share of an hour worked"), 0.83, low=0.1, high=1),
        Field(
            "manned_h_d", Kind.NUMBER,
            _("Hours a day one loader has a driver"), None, low=0, high=24,
        ),
        Field(
            "kept_at_once_frac", Kind.NUMBER,
            _("Share of its price that a machine keeps once it is no longer new: a tractor's"),
            0.68, low=0.05, high=1,
        ),
    ),
)  # fmt: skip

SERVICE_ITEMS = Section(
    name="service_items",
    help=_("What machines need every so many hours or days; the maker's manual governs"),
    rows=TitledRows(ServiceItem),
    check=check_service_item,
    fields=(
        Field("machine_kind", Kind.CHOICE, _("All of a kind"), "", choices=KINDS),
        Field("machine", Kind.ROW, _("One machine"), None, refers_to="machines"),
        Field("title", Kind.WORDS, _("What is done")),
        Field("every_h", Kind.NUMBER, _("Meter hours between two"), None, above=0),
        Field("every_d", Kind.WHOLE, _("Days between two"), None, low=1, high=3660),
        Field("first_at_h", Kind.NUMBER, _("Meter hours of the first one"), None, above=0),
        Field("duration_min", Kind.WHOLE, _("Work of one mechanic"), low=1, high=2880),
        Field("skill", Kind.ROW_KEY, _("Who may do it"), refers_to="skills"),
        Field("caution", Kind.WORDS, _("What can hurt"), {}),
    ),
)

CHECK_ITEMS = Section(
    name="check_items",
    help=_("The look round before a machine starts: each line says the good state"),
    rows=TitledRows(CheckItem, "text"),
    check=check_check_item,
    fields=(
        Field("machine_kind", Kind.CHOICE, _("For all of a kind"), choices=KINDS),
        Field("position", Kind.WHOLE, _("Order round the machine"), low=1, high=99),
        Field("text", Kind.WORDS, _("The good state")),
        Field("spot", Kind.WORDS, _("Where on the machine, such as Left side"), {}),
        Field("is_safety", Kind.BOOL, _("Not OK takes the machine out of use"), False),
    ),
)

SECTIONS = (MACHINES, MACHINE_PRACTICE, SERVICE_ITEMS, CHECK_ITEMS)
