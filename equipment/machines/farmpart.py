"""What the machines bring to the farm file: themselves, their services and their checks."""

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import ANY_PLACE, Complaint, Entry, Field, Kind
from equipment.site.farmrows import NAME, Rows, Section, TitledRows

from .models import CheckItem, Machine, MachineKind, ServiceItem

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


MACHINES = Section(
    name="machines",
    help=_("Loaders, groomers, trucks and the rest, by their numbers"),
    rows=Rows(Machine),
    fields=(
        NAME,
        Field("kind", Kind.CHOICE, _("What it is"), choices=KINDS),
        Field("home", Kind.ROW, _("Where it stands when idle"), refers_to=ANY_PLACE),
        Field("driver_skill", Kind.ROW_KEY, _("Skill of its driver"), "", refers_to="skills"),
        Field("bucket_m3", Kind.NUMBER, _("Bucket or box, struck"), None, low=0.01, high=60),
        Field("fill_frac", Kind.NUMBER, _("Usual filling"), 0.95, low=0.1, high=1.5),
        Field("travel_m_min", Kind.NUMBER, _("Speed between places"), 150, low=5, high=1500),
        Field("is_clean_only", Kind.BOOL, _("Never touches manure"), False),
    ),
)

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
        Field("is_safety", Kind.BOOL, _("Not OK takes the machine out of use"), False),
    ),
)

SECTIONS = (MACHINES, SERVICE_ITEMS, CHECK_ITEMS)
