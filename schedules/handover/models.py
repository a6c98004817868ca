"""What one shift leaves to the next, and what a lead looks at on the way round."""

from django.db import models
from django.db.models import Q

from crews.people.models import Crew
from equipment.site.constraints import site_constraints
from equipment.site.models import Actor, Event, Named, Place, SiteModel, unique_key
from schedules.work.models import Problem

MAX_LINES = 100  # of one box
MAX_TEXT = 1000  # of one line
MAX_NOTE = 300


class Handover(SiteModel):
    """What a shift left, what is broken, what to watch and what comes first. Never rewritten."""

    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    left = models.JSONField(default=list)
    broken = models.JSONField(default=list)
    watch = models.JSONField(default=list)
    first = models.JSONField(default=list)
    taken_by = models.ForeignKey(
        Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    taken_at = models.DateTimeField(null=True, blank=True)
    event = models.ForeignKey(
        Event, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            *site_constraints("crew", "by", "taken_by", "event"),
            models.CheckConstraint(
                name="%(class)s_taken_by_someone",
                condition=Q(taken_at__isnull=True, taken_by__isnull=True)
                | Q(taken_at__isnull=False, taken_by__isnull=False),
            ),
        ]
        indexes = [models.Index(fields=["site", "crew", "-made_at"], name="%(class)s_latest")]


class SafetyItem(SiteModel):
    """What could hurt someone: each handover carries it on until a named person closes it."""

    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="+")
    text = models.CharField(max_length=MAX_TEXT)
    raised_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    raised_at = models.DateTimeField()
    closed_by = models.ForeignKey(
        Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            *site_constraints("crew", "raised_by", "closed_by"),
            models.CheckConstraint(
                name="%(class)s_closed_by_someone",
                condition=Q(closed_at__isnull=True, closed_by__isnull=True)
                | Q(closed_at__isnull=False, closed_by__isnull=False),
            ),
            models.UniqueConstraint(
                fields=["site", "crew", "text"],
                name="%(class)s_open_once",
                condition=Q(closed_at__isnull=True),
            ),
        ]


class WalkLine(Named):
    """One line of the walk-round: the good state at a place, in both languages."""

    stand = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    position = models.PositiveSmallIntegerField()
    text = models.JSONField(default=dict)

    class Meta:
        constraints = [*site_constraints("stand"), unique_key()]
        ordering = ["position", "key"]


class WalkAnswer(SiteModel):
    """What somebody found at a line; what is not well became a problem."""

    line = models.ForeignKey(WalkLine, on_delete=models.PROTECT, related_name="answers")
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    ok = models.BooleanField()
    text = models.CharField(max_length=MAX_NOTE, blank=True)
    problem = models.ForeignKey(
        Problem, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    event = models.ForeignKey(
        Event, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            *site_constraints("line", "by", "problem", "event"),
            models.CheckConstraint(
                name="%(class)s_not_ok_is_a_problem",
                condition=Q(ok=True, problem__isnull=True) | Q(ok=False, problem__isnull=False),
            ),
        ]
