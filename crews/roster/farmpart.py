"""What the roster brings to the farm file: shifts, turns, rules, needs, and who has which pens."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from equipment.site.farmfields import Complaint, Entry, Field, Kind, Values
from equipment.site.farmrows import NAME, Farm, Row, Rows, Section, SingleRows, read_column

from .models import (
    CrewPens,
    RosterPractice,
    Rotation,
    ShiftDemand,
    ShiftPattern,
    WorkerRules,
)


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


class WorkerRulesRows(RotationRows):
    """What one worker's roster keeps to, known by the worker."""

    def create(self, farm: Farm, section: Section, key: str, values: Values) -> None:
        self.fill(farm, section, WorkerRules(site=farm.site), values)

    def find(self, farm: Farm, key: str) -> Any:
        return WorkerRules.objects.get(site=farm.site, worker__key=key)


NEEDS = Field(
    "skills",
    Kind.PART,
    _("How many of them with a skill"),
    [],
    is_list=True,
    is_column=False,
    parts=(
        Field("skill", Kind.ROW, _("Skill"), refers_to="skills"),
        Field("least", Kind.WHOLE, _("At least so many"), 0, low=0, high=500),
        Field("target", Kind.WHOLE, _("As many as work needs"), low=0, high=500),
    ),
)


class DemandRows(Rows):
    """What a shift needs on every date: a row in all, and one a skill. Dated ones are not its."""

    def read(self, farm: Farm, section: Section) -> dict[str, Row]:
        found: dict[str, Row] = {}
        rows = self._select(farm).select_related("pattern").order_by("pattern__key", "skill__key")
        for row in rows:
            values = found.setdefault(
                row.pattern.key, Row({"pattern": row.pattern.key, NEEDS.name: []})
            ).values
            if row.skill_id is None:
                values |= {"least": row.least, "target": row.target}
            else:
                need = {part.name: read_column(farm, part, row) for part in NEEDS.parts}
                values[NEEDS.name].append(need)
        return found

    def in_use(self, farm: Farm, section: Section) -> Any:
        return self._select(farm).filter(skill=None)

    def create(self, farm: Farm, section: Section, key: str, values: Values) -> None:
        self._put(farm, key, values)

    def update(self, farm: Farm, section: Section, key: str, values: Values) -> None:
        known = self.read(farm, section)[key].values
        self._put(farm, key, {**known, **values})

    def _put(self, farm: Farm, key: str, values: Values) -> None:
        """Make all rows of a shift anew."""
        pattern_id = farm.pk("shift_patterns", key)
        self._select(farm).filter(pattern_id=pattern_id).delete()
        needs = [{**values, "skill": None}, *values[NEEDS.name]]
        ShiftDemand.objects.bulk_create(
            ShiftDemand(
                site=farm.site,
                pattern_id=pattern_id,
                skill_id=farm.pk("skills", need["skill"]) if need["skill"] else None,
                least=need["least"],
                target=need["target"],
            )
            for need in needs
        )

    def retire(self, farm: Farm, section: Section, key: str, at: datetime | None) -> None:
        self._select(farm).filter(pattern__key=key).delete()

    def subject_id(self, farm: Farm, section: Section, key: str) -> object:
        return farm.pk("shift_patterns", key)

    def _select(self, farm: Farm) -> Any:
        return ShiftDemand.objects.filter(site=farm.site, local_date__isnull=True)


class CrewPensRows(Rows):
    """The pens a crew always has on a shift: one row a pen."""

    def read(self, farm: Farm, section: Section) -> dict[str, Row]:
        rows = self._select(farm).select_related("crew", "pattern", "pen__place").order_by("pk")
        pens: dict[tuple[str, str], list[str]] = {}
        for row in rows:
            pens.setdefault((row.crew.key, row.pattern.key), []).append(row.pen.place.key)
        return {
            f"{crew}/{pattern}": Row({"crew": crew, "pattern": pattern, "pens": sorted(keys)})
            for (crew, pattern), keys in pens.items()
        }

    def in_use(self, farm: Farm, section: Section) -> Any:
        both = ("crew_id", "pattern_id")
        return self._select(farm).order_by(*both).distinct(*both)

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


def tidy_demand(values: Values) -> Values:
    return {**values, NEEDS.name: sorted(values[NEEDS.name], key=lambda need: str(need["skill"]))}


def check_demand(entry: Entry) -> Iterator[Complaint]:
    needs = entry.values[NEEDS.name]
    names = [need["skill"] for need in needs]
    for name in sorted({name for name in names if names.count(name) > 1}):
        reason = _("names %(skill)s twice") % {"skill": name}
        yield Complaint(NEEDS.name, reason, _("Keep one line a skill."))
    for need in (entry.values, *needs):
        if need["least"] > need["target"]:
            too_many = _("asks for more at least than it needs")
            yield Complaint("least", too_many, _("least must not be above target."))


def check_rules(entry: Entry) -> Iterator[Complaint]:
    least_h, most_h = entry.values["week_least_h"], entry.values["week_most_h"]
    if least_h is not None and most_h is not None and least_h > most_h:
        hours = _("asks for more hours a week than it allows")
        yield Complaint("week_least_h", hours, _("It must not be above week_most_h."))


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

RULES = (
    Field("rest_h", Kind.NUMBER, _("Hours of rest between two shifts; 11 without it"), None,
          low=0, high=48),
    Field("week_least_h", Kind.NUMBER, _("Hours a week at least; without it no matter"), None,
          low=0, high=112),
    Field("week_most_h", Kind.NUMBER, _("Hours a week at most; check state law"), None, low=0,
          high=168),
    Field("days_in_row_most", Kind.WHOLE, _("Days in a row at most; without it 6, or those of the "
          "rotation"), None, low=1, high=60),
    Field("nights_in_row_most", Kind.WHOLE, _("Nights in a row at most"), None, low=1, high=60),
    Field("weekends_most", Kind.WHOLE, _("Weekends at most of any four"), None, low=0, high=4),
)  # fmt: skip


def _price(name: str, help_text: Any, default: float) -> Field:
    return Field(name, Kind.NUMBER, help_text, default, low=0, high=1000)


ROSTER_RULES = Section(
    name="roster_rules",
    help=_("What a roster keeps to, and in points how much each thing it leaves unmet weighs"),
    is_single=True,
    rows=SingleRows(RosterPractice),
    check=check_rules,
    fields=(
        *RULES,
        _price("under_price", _("Each person too few on a shift"), 10),
        _price("wish_price", _("Each wish not met"), 3),
        _price("turn_price", _("Each day that is not as the rotation has it"), 1),
        _price("apart_price", _("Each day a crew is parted over two shifts"), 0.5),
        _price("lead_price", _("Each shift of a crew without its lead"), 4),
        _price("change_price", _("Each day changed that was published"), 2),
        _price("night_price", _("Each night above the mean of all"), 0),
        _price("weekend_price", _("Each weekend shift above the mean of all"), 0),
    ),
)
WORKER_RULES = Section(
    name="worker_rules",
    help=_("What one worker's roster keeps to, where it is not what holds for all"),
    rows=WorkerRulesRows(WorkerRules),
    key_fields=("worker",),
    check=check_rules,
    fields=(Field("worker", Kind.ROW, _("Whose rules they are"), refers_to="workers"), *RULES),
)
SHIFT_DEMAND = Section(
    name="shift_demand",
    help=_("How many a shift needs on every date; without it as many as turn through it"),
    rows=DemandRows(ShiftDemand),
    key_fields=("pattern",),
    check=check_demand,
    tidy=tidy_demand,
    fields=(
        Field("pattern", Kind.ROW, _("Shift"), refers_to="shift_patterns"),
        Field("least", Kind.WHOLE, _("At least so many"), 0, low=0, high=500, is_column=False),
        Field("target", Kind.WHOLE, _("As many as work needs"), low=0, high=500, is_column=False),
        NEEDS,
    ),
)

SECTIONS = (
    SHIFT_PATTERNS,
    ROTATIONS,
    CREW_PENS,
    ROSTER_RULES,
    WORKER_RULES,
    SHIFT_DEMAND,
)
