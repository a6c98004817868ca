"""What needed a decision, what was reckoned to help, and what was decided."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from django.db import models
from django.db.models import Q

from equipment.site.constraints import site_constraints
from equipment.site.models import Actor, Dated, Place, SiteModel

MAX_NOTE = 300


class AlertKind(StrEnum):
    """What will go wrong; each is looked for by a module of its own."""

    BEDS = "beds"  # cows come back to beds that are not ready
    SAND = "sand"  # it runs short before the next batch is ready
    BASIN = "basin"  # it passes its line before it can be cleaned out
    MACHINE = "machine"  # it is out, and nothing stands in for it
    DRIVERS = "drivers"  # a shift has too few people who may drive


class AnswerCode(StrEnum):
    """What can be done about it; `answers` of a row hold a code with its facts."""

    COWS_LATER = "cows_later"
    LEAVE_STALLS = "leave_stalls"  # to the next milking
    ONE_MORE_PERSON = "one_more_person"
    ONE_MORE_MACHINE = "one_more_machine"
    INSTEAD_OF = "instead_of"  # another job, that is left out
    BUY_SAND = "buy_sand"
    TURN_MORE = "turn_more"
    USE_LESS = "use_less"
    CLEAN_OUT = "clean_out"
    SWITCH_GATE = "switch_gate"
    HAUL = "haul"
    REPAIR = "repair"
    HIRE_MACHINE = "hire_machine"
    CALL_IN = "call_in"  # a named person, to the shift
    HIRE_DRIVER = "hire_driver"


class Alert(Dated, SiteModel):
    """One thing that needs a decision, of one subject, from when it was seen until it is over.

    `facts` is its evidence, stated for the `n_stated`th time at `stated_at`, and `due_at` the time
    to decide by. `answers` holds up to two, the best first, each a code with its facts; they answer
    the `n_answered`th facts, None until the first are reckoned. A decision takes one of them, or is
    told in words (`note`); after it the row stays as it was decided, and quiet, until the matter is
    over, grows worse, or stands still so when its time has come: then it is asked in a new row.
    """

    kind = models.CharField(max_length=10, choices=[(kind.value, kind.value) for kind in AlertKind])
    subject = models.CharField(max_length=80)
    place = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    raised_at = models.DateTimeField()
    due_at = models.DateTimeField()
    facts: models.JSONField[Any, Any] = models.JSONField(default=dict)
    answers: models.JSONField[Any, Any] = models.JSONField(null=True, blank=True)
    n_stated = models.PositiveIntegerField(default=1)
    stated_at = models.DateTimeField()
    n_answered = models.PositiveIntegerField(default=0)
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(
        Actor, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    decision: models.JSONField[Any, Any] = models.JSONField(null=True, blank=True)
    note = models.CharField(max_length=MAX_NOTE, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            *site_constraints("place", "decided_by"),
            models.UniqueConstraint(
                fields=["site", "kind", "subject"],
                name="%(class)s_open_once",
                condition=Q(ended_at__isnull=True),
            ),
            models.CheckConstraint(
                name="%(class)s_decided_by_someone",
                condition=Q(decided_at__isnull=True, decided_by__isnull=True)
                | Q(decided_at__isnull=False, decided_by__isnull=False),
            ),
            models.CheckConstraint(
                name="%(class)s_decided_on_something",
                condition=Q(decided_at__isnull=True) | Q(decision__isnull=False) | ~Q(note=""),
            ),
        ]
        ordering = ["due_at", "pk"]
        indexes = [models.Index(fields=["site", "-raised_at"], name="%(class)s_latest")]
