"""What the parlor brings to the farm file: the deck and when its milkings begin."""

from collections.abc import Iterator
from datetime import time
from typing import Any

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import Complaint, Entry, Field, Kind, Values
from equipment.site.farmrows import Farm, Row, Rows, Section, place_fields
from equipment.site.models import PlaceKind

from .models import MilkingStart, Parlor, ParlorKind

STARTS = Field(
    "starts_local", Kind.TIME, _("When each milking begins"), is_list=True, is_column=False
)


class ParlorRows(Rows):
    """A parlor with its starts, numbered in the order given."""

    def read_row(self, farm: Farm, section: Section, row: Any) -> Row:
        plain = super().read_row(farm, section, row)
        starts = [start.starts_local.strftime("%H:%M") for start in row.starts.all()]
        return Row({**plain.values, STARTS.name: starts}, plain.is_retired)

    def fill(self, farm: Farm, section: Section, row: Any, values: Values) -> None:
        super().fill(farm, section, row, values)
        if STARTS.name in values:
            set_starts(row, values[STARTS.name])


def set_starts(parlor: Parlor, starts_local: list[str]) -> None:
    for slot, text in enumerate(starts_local, start=1):
        MilkingStart.objects.update_or_create(
            site_id=parlor.site_id,
            parlor=parlor,
            slot=slot,
            defaults={"starts_local": time.fromisoformat(text)},
        )
    MilkingStart.objects.filter(parlor=parlor, slot__gt=len(starts_local)).delete()


def check_parlor(entry: Entry) -> Iterator[Complaint]:
    starts = entry.values[STARTS.name]
    if not starts or starts != sorted(set(starts)):
        remedy = _("Write each start once, the earliest of the day first.")
        yield Complaint(STARTS.name, _("must be in order, at least one, none twice"), remedy)
    if entry.values["kind"] == ParlorKind.BATCH:
        if entry.values["second_turn_frac"]:
            remedy = _("Set it to 0: the slowest cow is in the turn of her group.")
            yield Complaint("second_turn_frac", _("is for a rotary only"), remedy)
    elif entry.values["n_sides"] != 1:
        remedy = _("Set kind: batch, or n_sides: 1.")
        yield Complaint("n_sides", _("is for a parlor of sides only"), remedy)


PARLORS = Section(
    name="parlors",
    help=_("The parlor: the farm's clock"),
    rows=ParlorRows(Parlor),
    place_kinds=(PlaceKind.PARLOR,),
    check=check_parlor,
    fields=(
        *place_fields(),
        Field(
            "kind",
            Kind.CHOICE,
            _("A turning deck, or sides that take groups"),
            "rotary",
            choices=tuple(ParlorKind.values),
        ),
        Field("n_sides", Kind.WHOLE, _("Sides that work in turn"), 1, low=1, high=8),
        Field("n_stalls", Kind.WHOLE, _("Stalls on the deck, or of one side"), low=1, high=200),
        Field(
            "seconds_per_stall_s",
            Kind.NUMBER,
            _("Pace of the deck; of sides, a group's turn shared out over its stalls"),
            low=1,
            high=120,
        ),
        Field("empty_frac", Kind.NUMBER, _("Stalls that pass empty"), 0, low=0, high=0.9),
        Field("second_turn_frac", Kind.NUMBER, _("Cows that turn twice"), 0, low=0, high=1),
        Field(
            "is_stall_lost_behind_second_turn",
            Kind.BOOL,
            _("The stall behind a cow on her second turn stays empty"),
            False,
        ),
        Field(
            "milking_mean_s",
            Kind.NUMBER,
            _("Milking time of a cow, mean; the default is of 62 herds, Edwards 2012"),
            383,
            low=60,
            high=1200,
        ),
        Field(
            "milking_sd_s",
            Kind.NUMBER,
            _("Milking time of a cow, standard deviation"),
            129,
            low=1,
            high=600,
        ),
        Field(
            "holding_area_m2",
            Kind.NUMBER,
            _("Holding area in front of the parlor"),
            None,
            above=0,
            high=5000,
        ),
        Field(
            "holding_m2_cow",
            Kind.NUMBER,
            _("Room for a cow in it: 1.4 to 1.9 (15 to 20 square feet)"),
            1.6,
            low=0.5,
            high=5,
        ),
        Field("wash_min", Kind.NUMBER, _("System wash after a milking"), low=0, high=300),
        Field("cow_walk_m_min", Kind.NUMBER, _("Speed of driven cows"), 55, low=5, high=120),
        Field(
            "open_buffer_min", Kind.NUMBER, _("Wait after the last cow is out"), 5, low=0, high=120
        ),
        Field(
            "close_buffer_min",
            Kind.NUMBER,
            _("Clear before the first cow is in"),
            5,
            low=0,
            high=120,
        ),
        Field(
            "away_limit_min", Kind.NUMBER, _("Longest time away a milking"), 60, above=0, high=1440
        ),
        Field(
            "away_day_limit_min",
            Kind.NUMBER,
            _("Longest time away a day, all milkings: 2.5 to 3 h are left of a cow's day"),
            180,
            above=0,
            high=1440,
        ),
        STARTS,
    ),
)

SECTIONS = (PARLORS,)
