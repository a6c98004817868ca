"""Workers, what they may do and until when, the crews they stand in, and their leave."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from equipment.site.constraints import site_constraints
from equipment.site.models import Actor, Dated, Language, Named, Role, SiteModel, User, unique_key


class Skill(Named):
    """Something a person must be qualified for; machine skills are named on the machine."""

    class Meta:
        constraints = [*site_constraints(), unique_key()]


class Crew(Dated, Named):
    """People who work the same shift together."""

    class Meta:
        constraints = [*site_constraints(), unique_key()]


class Worker(Dated, Named):
    """A person who works on the farm."""

    actor = models.OneToOneField(Actor, on_delete=models.PROTECT, related_name="worker")
    user = models.OneToOneField(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="worker"
    )
    crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.PROTECT, related_name="workers"
    )
    role = models.CharField(max_length=10, choices=Role, default=Role.WORKER)
    language = models.CharField(max_length=2, choices=Language, default=Language.SPANISH)
    started_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [*site_constraints("actor", "crew"), unique_key()]


class WorkerSkill(Dated, SiteModel):
    """That a worker is qualified, from a date, until a date if it expires."""

    worker = models.ForeignKey(Worker, on_delete=models.CASCADE, related_name="skills")
    skill = models.ForeignKey(Skill, on_delete=models.PROTECT, related_name="holders")
    from_on = models.DateField()
    until_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            *site_constraints("worker", "skill"),
            models.UniqueConstraint(fields=["worker", "skill"], name="%(class)s_once"),
            models.CheckConstraint(
                name="%(class)s_span",
                condition=Q(until_on__isnull=True) | Q(until_on__gt=F("from_on")),
            ),
        ]


class LeaveKind(models.TextChoices):
    VACATION = "vacation", _("Vacation")
    SICK = "sick", _("Sick")
    OTHER = "other", _("Other")


class Leave(SiteModel):
    """Days a worker is away: first day, and the day they are back (exclusive)."""

    worker = models.ForeignKey(Worker, on_delete=models.CASCADE, related_name="leave")
    kind = models.CharField(max_length=8, choices=LeaveKind)
    from_on = models.DateField()
    until_on = models.DateField()

    class Meta:
        constraints = [
            *site_constraints("worker"),
            models.UniqueConstraint(fields=["worker", "from_on"], name="%(class)s_once"),
            models.CheckConstraint(name="%(class)s_span", condition=Q(until_on__gt=F("from_on"))),
        ]
