"""What people bring to the farm file: skills, crews and workers."""

from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import Complaint, Entry, Field, Kind, Values
from equipment.site.farmrows import NAME, Farm, Row, Rows, Section, read_column, write_column
from equipment.site.models import Actor, ActorKind, Language, Role

from .models import Crew, Skill, Worker, WorkerSkill

HELD = Field(
    "skills",
    Kind.PART,
    _("What they are qualified for, from when, until when if it expires"),
    [],
    is_list=True,
    is_column=False,
    parts=(
        Field("skill", Kind.ROW, _("Skill"), refers_to="skills"),
        Field("from_on", Kind.DATE, _("First day")),
        Field("until_on", Kind.DATE, _("First day without it"), None),
    ),
)


class WorkerRows(Rows):
    """A worker with the skills held, and the actor that stands for the worker everywhere."""

    def read_row(self, farm: Farm, section: Section, row: Any) -> Row:
        plain = super().read_row(farm, section, row)
        held = [{f.name: read_column(farm, f, h) for f in HELD.parts} for h in row.skills.all()]
        return Row(tidy_worker({**plain.values, HELD.name: held}), plain.is_retired)

    def select(self, farm: Farm, section: Section) -> Any:
        return super().select(farm, section).prefetch_related("skills")

    def fill(self, farm: Farm, section: Section, row: Any, values: Values) -> None:
        if row.actor_id is None:
            row.actor = Actor.objects.create(
                site=farm.site, kind=ActorKind.PERSON, key=row.key, name=values["name"]
            )
        elif "name" in values:
            Actor.objects.filter(id=row.actor_id).update(name=values["name"])
        super().fill(farm, section, row, values)
        if HELD.name in values:
            self._set_skills(farm, row, values[HELD.name])

    def _set_skills(self, farm: Farm, worker: Worker, held: list[Values]) -> None:
        WorkerSkill.objects.filter(worker=worker).delete()
        rows = [WorkerSkill(site=farm.site, worker=worker) for _entry in held]
        for row, entry in zip(rows, held, strict=True):
            for f in HELD.parts:
                write_column(farm, f, row, entry[f.name])
        WorkerSkill.objects.bulk_create(rows)


def tidy_worker(values: Values) -> Values:
    return {**values, HELD.name: sorted(values[HELD.name], key=lambda entry: str(entry["skill"]))}


def check_worker(entry: Entry) -> Iterator[Complaint]:
    held = entry.values[HELD.name]
    names = [each["skill"] for each in held]
    for name in sorted({name for name in names if names.count(name) > 1}):
        reason = _("names %(skill)s twice") % {"skill": name}
        yield Complaint("skills", reason, _("Keep one line a skill, with its newest dates."))
    for each in held:
        until = each["until_on"]
        if until is not None and until <= each["from_on"]:  # both are ISO dates
            reason = _("has %(skill)s end before it begins") % {"skill": each["skill"]}
            yield Complaint("skills", reason, _("until_on must be after from_on."))


SKILLS = Section(
    name="skills",
    help=_("What a person must be qualified for"),
    rows=Rows(Skill),
    fields=(NAME,),
)
CREWS = Section(
    name="crews",
    help=_("People who work the same shift together"),
    rows=Rows(Crew),
    fields=(NAME,),
)
WORKERS = Section(
    name="workers",
    help=_("People who work on the farm"),
    rows=WorkerRows(Worker),
    tidy=tidy_worker,
    check=check_worker,
    fields=(
        NAME,
        Field("crew", Kind.ROW, _("Crew they stand in"), None, refers_to="crews"),
        Field("role", Kind.CHOICE, _("What they may do"), "worker", choices=tuple(Role.values)),
        Field("language", Kind.CHOICE, _("Language"), "es", choices=tuple(Language.values)),
        Field("started_on", Kind.DATE, _("First day of work here"), None),
        HELD,
    ),
)

SECTIONS = (SKILLS, CREWS, WORKERS)
