"""What the roster brings to the farm file: shifts, who turns through them, whose pens they are."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from equipment.site.farmfields import Complaint, Entry, Field, Kind, Values
from equipment.site.farmrows import NAME, Farm, Row, Rows, Section

from .models import CrewPens, Rotation, ShiftPattern


class RotationRows(Rows):
    """A worker's turn, known by the worker. It has no history of its own: shifts are that."""

    def select(self, farm: Farm, section: Section) -> Any:
        return super().select(farm, section).select_related("worker")

    def key_of(self, row: Any) -> str:
        return str(row.worker.key)

    def create(self, farm: Farm, section: Section, key: str, values: Values) -> None:
        self.fill(farm, section, Rotation(site=farm.site), values)

    def find(self, farm: Farm, key: str) -> Any:
        return Rotation.objects.get(site=farm.site, worker__key=key)

    def retire(self, farm: Farm, section: Section, key: str, at: datetime | None) -> None:
        self.find(farm, key).delete()

    def subject_id(self, farm: Farm, section: Section, key: str) -> object:
        return farm.pk("workers", key)


class CrewPensRows(Rows):
    """The pens a crew always has on a shift: one row a pen."""

    def read(self, farm: Farm, section: Section) -> dict[str, Row]:
        rows = self._select(farm).select_related("crew", "pattern", "pen__place")
        pens: dict[tuple[str, str], list[str]] = {}
        for row in rows:
            pens.setdefault((row.crew.key, row.pattern.key), []).append(row.pen.place.key)
        return {
            f"{crew}/{pattern}": Row({"crew": crew, "pattern": pattern, "pens": sorted(keys)})
            for (crew, pattern), keys in pens.items()
        }

    def create(self, farm: Farm, section: Section, key: str, values: Values) -> None:
        self.update(farm, section, key, values)

    def update(self, farm: Farm, section: Section, key: str, values: Values) -> None:
        """Take the pens over from whoever has them, since a pen may move between two entries."""
        crew, pattern = key.split("/")
        crew_id, pattern_id = farm.pk("crews", crew), farm.pk("shift_patterns", pattern)
        pens = [farm.pk("pens", pen) for pen in values["pens"]]
        mine = self._select(farm).filter(crew_id=crew_id, pattern_id=pattern_id)
        mine.exclude(pen_id__in=pens).delete()
        for pen_id in pens:
            CrewPens.objects.update_or_create(
                site=farm.site,
                pattern_id=pattern_id,
                pen_id=pen_id,
                local_date=None,
                defaults={"crew_id": crew_id},
            )

    def retire(self, farm: Farm, section: Section, key: str, at: datetime | None) -> None:
        crew, pattern = key.split("/")
        self._select(farm).filter(crew__key=crew, pattern__key=pattern).delete()

    def subject_id(self, farm: Farm, section: Section, key: str) -> object:
        return ""

    def _select(self, farm: Farm) -> Any:
        return CrewPens.objects.filter(site=farm.site, local_date__isnull=True)


def check_pattern(entry: Entry) -> Iterator[Complaint]:
    for rest in entry.values["breaks"]:
        if rest["after_min"] + rest["length_min"] > entry.values["duration_min"]:
            yield Complaint("breaks", _("has a break after the end"), _("Put it inside the shift."))


def tidy_crew_pens(values: Values) -> Values:
    return {**values, "pens": sorted(set(values["pens"]))}


def check_crew_pens(entry: Entry) -> Iterator[Complaint]:
    values = entry.values
    others = [
        other["pens"]
        for key, other in entry.everything["crew_pens"].items()
        if other["pattern"] == values["pattern"] and key != entry.key
    ]
    for pen in values["pens"]:
        if any(pen in pens for pens in others):
            reason = _("gives %(pen)s to two crews on one shift") % {"pen": pen}
            yield Complaint("pens", reason, _("Leave the pen with one of them."))


SHIFT_PATTERNS = Section(
    name="shift_patterns",
    help=_("Shifts by the wall clock"),
    rows=Rows(ShiftPattern),
    check=check_pattern,
    fields=(
        NAME,
        Field("starts_local", Kind.TIME, pgettext_lazy("moment", "Start")),
        Field("duration_min", Kind.WHOLE, _("Length on an ordinary night"), low=30, high=960),
        Field(
            "breaks",
            Kind.PART,
            _("Breaks, counted from the start"),
            [],
            is_list=True,
            parts=(
                Field("after_min", Kind.WHOLE, _("Minutes after the start"), low=0, high=960),
                Field(
                    "length_min", Kind.WHOLE, pgettext_lazy("of time", "Length"), low=1, high=240
                ),
            ),
        ),
    ),
)
ROTATIONS = Section(
    name="rotations",
    help=_("A worker's turn: days on, days off, counted from a first day on"),
    rows=RotationRows(Rotation),
    key_fields=("worker",),
    topic="roster.changed",
    fields=(
        Field("worker", Kind.ROW, _("Whose turn it is"), refers_to="workers"),
        Field("pattern", Kind.ROW, _("Shift they work"), refers_to="shift_patterns"),
        Field("days_on", Kind.WHOLE, _("Days on"), low=1, high=60),
        Field("days_off", Kind.WHOLE, _("Days off"), low=0, high=60),
        Field("anchor_on", Kind.DATE, _("A first day on")),
    ),
)
CREW_PENS = Section(
    name="crew_pens",
    help=_("Which crew has which pens on a shift"),
    rows=CrewPensRows(CrewPens),
    key_fields=("crew", "pattern"),
    check=check_crew_pens,
    tidy=tidy_crew_pens,
    topic="crew_pens.changed",
    fields=(
        Field("crew", Kind.ROW, _("Crew"), refers_to="crews"),
        Field("pattern", Kind.ROW, _("Shift"), refers_to="shift_patterns"),
        Field("pens", Kind.ROW, _("Its pens"), refers_to="pens", is_list=True),
    ),
)

SECTIONS = (SHIFT_PATTERNS, ROTATIONS, CREW_PENS)
