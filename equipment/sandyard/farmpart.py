"""What the sand yard brings to the farm file: lanes, slabs, pads, bays, piles, practice."""

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import Complaint, Entry, Field, Kind
from equipment.site.farmrows import Rows, Section, SingleRows, place_fields
from equipment.site.models import PlaceKind

from .calc import PORES_FRAC, Gradation, layer_dry_kg
from .models import Bay, Lane, Pad, PilePlace, SandKind, SandPractice, Slab

ROUNDING = 1 + 1e-6
CAPACITY = Field("capacity_kg", Kind.NUMBER, _("Dry sand it has room for"), above=0)

LANES = Section(
    name="lanes",
    help=_("Slow channels where flushed sand drops"),
    rows=Rows(Lane),
    place_kinds=(PlaceKind.LANE,),
    fields=(
        *place_fields(),
        Field("capacity_m3", Kind.NUMBER, _("Sand it holds before it must be scooped"), above=0),
        Field("scoops_local", Kind.TIME, _("When it is scooped"), [], is_list=True),
        Field("length_m", Kind.NUMBER, _("Length in which sand drops"), None, low=1, high=1000),
        Field("width_m", Kind.NUMBER, _("Width in which sand drops"), None, low=0.5, high=100),
        Field("slope_frac", Kind.NUMBER, _("Fall of its floor"), 0.003, above=0, high=0.1),
        Field("water_degc", Kind.NUMBER, _("Its water, as a rule"), 12, low=0, high=40),
    ),
)
SLABS = Section(
    name="slabs",
    help=_("Concrete where scooped sand drains"),
    rows=Rows(Slab),
    place_kinds=(PlaceKind.SLAB,),
    fields=(*place_fields(), CAPACITY),
)
PADS = Section(
    name="pads",
    help=_("Drying areas"),
    rows=Rows(Pad),
    place_kinds=(PlaceKind.PAD,),
    fields=place_fields(),
)


def check_bay(entry: Entry) -> Iterator[Complaint]:
    """A load laid out deeper than the farm's layer dries later than any forecast says."""
    for practice in entry.everything["sand_practice"].values():  # none where it has faults itself
        depth_m = practice["layer_depth_m"]
        room_kg = layer_dry_kg(entry.values["area_m2"], depth_m, practice["bulk_density_kg_m3"])
        if entry.values["capacity_kg"] > room_kg * ROUNDING:
            reason = _("is more than a layer of %(depth)s m there: %(room)d kg")
            words = {"depth": depth_m, "room": room_kg}
            yield Complaint("capacity_kg", reason % words, _("Lower it, or raise layer_depth_m."))


BAYS = Section(
    name="bays",
    help=_("Parts of a pad; one batch each"),
    rows=Rows(Bay),
    check=check_bay,
    place_kinds=(PlaceKind.BAY,),
    fields=(
        *place_fields(),
        Field("pad", Kind.ROW, _("Pad it is part of"), refers_to="pads"),
        Field("area_m2", Kind.NUMBER, _("Area"), low=1, high=100_000),
        CAPACITY,
    ),
)
PILE_PLACES = Section(
    name="pile_places",
    help=_("Room for one dated pile each"),
    rows=Rows(PilePlace),
    place_kinds=(PlaceKind.PILE_PLACE,),
    fields=(*place_fields(), CAPACITY),
)


def check_practice(entry: Entry) -> Iterator[Complaint]:
    """Sand drains to less than its pores hold, and to more than air cannot take."""
    if entry.values["passing_frac"]:
        yield from _check_gradation(entry)
    capacity = entry.values["field_capacity_frac"]
    remedy = _("FAO-56, table 19: sand drains to 0.07 to 0.17, its wilting point is 0.02 to 0.07.")
    if capacity >= PORES_FRAC:
        reason = _("must be below %(pores)s, where all pores are full") % {"pores": PORES_FRAC}
        yield Complaint("field_capacity_frac", reason, remedy)
    if capacity <= entry.values["wilting_point_frac"]:
        reason = _("must be above wilting_point_frac, which is %(frac)s") % {
            "frac": entry.values["wilting_point_frac"]
        }
        yield Complaint("field_capacity_frac", reason, remedy)


def _check_gradation(entry: Entry) -> Iterator[Complaint]:
    try:
        Gradation(tuple(entry.values["passing_frac"]))
    except ValueError:
        reason = _("is no gradation curve: seven shares of 0 to 1 that never rise")
        yield Complaint("passing_frac", reason, _("Give all seven, or leave it out."))


SAND_PRACTICE = Section(
    name="sand_practice",
    help=_("The farm's own figures for its sand; masses are dry"),
    is_single=True,
    rows=SingleRows(SandPractice),
    check=check_practice,
    fields=(
        Field("use_kg_stall_d", Kind.NUMBER, _("Sand a stall loses a day"), 22, low=0.1, high=100),
        Field("recovery_frac", Kind.NUMBER, _("Share that lanes give back"), 0.78, low=0, high=1),
        Field("drain_h", Kind.NUMBER, _("Draining on the slab"), 36, low=0, high=720),
        Field("layer_depth_m", Kind.NUMBER, _("Depth spread on a bay"), 0.25, low=0.02, high=2),
        Field("turned_depth_m", Kind.NUMBER, _("Depth a turning reaches"), 0.25, low=0.02, high=2),
        Field(
            "bulk_density_kg_m3", Kind.NUMBER, _("Dry sand, loose"), 1600, low=1000, high=2200
        ),
        Field("field_capacity_frac", Kind.NUMBER, _("Water left by drainage, by volume"), 0.12,
              low=0.01, high=0.5),
        Field("wilting_point_frac", Kind.NUMBER, _("Water air cannot take, by volume"), 0.04,
              low=0, high=0.4),
        Field("evaporation_depth_m", Kind.NUMBER, _("Depth that air dries"), 0.10,
              low=0.02, high=0.3),
        Field("rew_mm", Kind.NUMBER, _("Water that leaves at full pace"), 5, low=0, high=20),
        Field("pad_kc", Kind.NUMBER, _("Bare wet pad against grass"), 1.2, low=0.1, high=2),
        Field("turns_per_d", Kind.NUMBER, _("Turnings of a bay on a dry day"), 2, low=0, high=6),
        Field("scooped_moisture_wb_frac", Kind.NUMBER, _("Sand on the slab, wet basis"), 0.15,
              low=0.01, high=0.9),
        Field("dry_moisture_wb_frac", Kind.NUMBER, _("Fit to pick up, wet basis"), 0.05,
              low=0.001, high=0.9),
        Field("dry_hold_d", Kind.WHOLE, _("Days it must stay dry"), 1, low=1, high=30),
        Field("pile_close_d", Kind.WHOLE, _("A pile closes after"), 8, low=1, high=90),
        Field("cure_d", Kind.WHOLE, _("Cure after the pile closed"), 60, low=0, high=365),
        Field("safety_stock_kg", Kind.NUMBER, _("Released sand not to go below"), 0, low=0),
        Field("repose_deg", Kind.NUMBER, _("Slope of a pile"), 34, low=10, high=50),
        Field("sand_kind", Kind.CHOICE, _("Sand it buys"), "c33", choices=tuple(SandKind.values)),
        Field("passing_frac", Kind.NUMBER, _("Share that passes sieves no. 4, 8, 16, 30, 50, 100, "
              "200, where the farm had it measured"), [], low=0, high=1, is_list=True),
        Field("recovery_sd_frac", Kind.NUMBER, _("How unsure recovery_frac is"), 0.1,
              low=0, high=0.5),
    ),
)  # fmt: skip

SECTIONS = (LANES, SLABS, PADS, BAYS, PILE_PLACES, SAND_PRACTICE)
