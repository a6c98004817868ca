"""What the barns bring to the farm file: pens, alleys and the rows of beds."""

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import Complaint, Entry, Field, Kind
from equipment.site.farmrows import Rows, Section, place_fields
from equipment.site.models import PlaceKind

from .models import Alley, BedGroup, Pen, PenKind, ReturnMode


def check_pen(entry: Entry) -> Iterator[Complaint]:
    same = [
        p
        for p in entry.everything["pens"].values()
        if p["milking_rank"] == entry.values["milking_rank"]
    ]
    if len(same) > 1:
        remedy = _("Give each pen its own place in the milking order.")
        yield Complaint("milking_rank", _("is the rank of another pen too"), remedy)
    if entry.values["return_mode"] != ReturnMode.NONE and entry.values["return_hold_min"] <= 0:
        reason = _("must be above 0 with return_mode %(mode)s") % {
            "mode": entry.values["return_mode"]
        }
        remedy = _("Say how many minutes it wins, or set return_mode: none.")
        yield Complaint("return_hold_min", reason, remedy)


def check_bed_group(entry: Entry) -> Iterator[Complaint]:
    alley = entry.everything["alleys"].get(entry.values["alley"] or "")
    if alley and alley["pen"] != entry.values["pen"]:
        reason = _("is not an alley of pen %(pen)s") % {"pen": entry.values["pen"]}
        yield Complaint("alley", reason, _("Name an alley of the bed group's own pen."))


PENS = Section(
    name="pens",
    help=_("Groups of cows, in the order they are milked"),
    rows=Rows(Pen),
    place_kinds=(PlaceKind.PEN,),
    check=check_pen,
    fields=(
        *place_fields(),
        Field("kind", Kind.CHOICE, _("What cows live here"), choices=tuple(PenKind.values)),
        Field("n_cows", Kind.WHOLE, _("Cows in milk"), low=0, high=5000),
        Field("walk_m", Kind.NUMBER, _("Way to the parlor"), above=0, high=3000),
        Field(
            "clear_min",
            Kind.NUMBER,
            _("From the first cow out until the last one is out"),
            4,
            low=0,
            high=60,
        ),
        Field("milking_rank", Kind.WHOLE, _("Place in the milking order"), low=1, high=200),
        Field(
            "contagion_class",
            Kind.WHOLE,
            _("Milked by class, the lowest first: susceptible cows before likely carriers"),
            2,
            low=1,
            high=9,
        ),
        Field("is_milk_withheld", Kind.BOOL, _("Its milk does not go into the tank"), False),
        Field(
            "return_mode",
            Kind.CHOICE,
            _("What the pen does to have time for its beds"),
            "none",
            choices=tuple(ReturnMode.values),
        ),
        Field("return_hold_min", Kind.NUMBER, _("Minutes that it wins"), 0, low=0, high=720),
    ),
)

ALLEYS = Section(
    name="alleys",
    help=_("What a flush washes; return and holding alleys belong to no pen"),
    rows=Rows(Alley),
    place_kinds=(PlaceKind.ALLEY,),
    fields=(
        *place_fields(),
        Field("pen", Kind.ROW, _("Pen it lies in"), None, refers_to="pens"),
        Field("length_m", Kind.NUMBER, _("Length"), low=1, high=1000),
        Field("width_m", Kind.NUMBER, _("Width"), low=0.5, high=50),
        Field("slope_frac", Kind.NUMBER, _("Fall, metres in a metre"), 0.02, low=0.001, high=0.2),
    ),
)

BED_GROUPS = Section(
    name="bed_groups",
    help=_("Rows of stalls groomed as one, in the order given back to the cows"),
    rows=Rows(BedGroup),
    place_kinds=(PlaceKind.BED_GROUP,),
    check=check_bed_group,
    fields=(
        *place_fields(),
        Field("pen", Kind.ROW, _("Pen the row is in"), refers_to="pens"),
        Field("n_stalls", Kind.WHOLE, _("Stalls in the row"), low=1, high=1000),
        Field("is_far_row", Kind.BOOL, _("Out of reach of cows at the feed rail"), False),
        Field("alley", Kind.ROW, _("Alley behind the row"), None, refers_to="alleys"),
    ),
)

SECTIONS = (PENS, ALLEYS, BED_GROUPS)
