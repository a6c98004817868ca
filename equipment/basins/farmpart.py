"""What the basins bring to the farm file."""

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import Complaint, Entry, Field, Kind
from equipment.site.farmrows import Rows, Section, place_fields
from equipment.site.models import PlaceKind

from .models import Basin


def check_basin(entry: Entry) -> Iterator[Complaint]:
    if entry.values["must_act_depth_m"] > entry.values["depth_m"]:
        reason = _("is above the basin's own depth_m")
        yield Complaint("must_act_depth_m", reason, _("The mark to act at lies below the rim."))


BASINS = Section(
    name="basins",
    help=_("Weeping-wall basins for flush solids"),
    rows=Rows(Basin),
    place_kinds=(PlaceKind.BASIN,),
    check=check_basin,
    fields=(
        *place_fields(),
        Field("length_m", Kind.NUMBER, _("Length inside"), above=0, high=2000),
        Field("width_m", Kind.NUMBER, _("Width inside"), above=0, high=1000),
        Field("depth_m", Kind.NUMBER, _("Depth to the rim"), above=0, high=20),
        Field("must_act_depth_m", Kind.NUMBER, _("Depth at which to act"), above=0, high=20),
    ),
)

SECTIONS = (BASINS,)
