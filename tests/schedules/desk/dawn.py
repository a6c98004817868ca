"""Two pens at dawn with a plan to be upset, and what comes of a trial of it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.apps import apps
from django.contrib.sessions.models import Session
from django.test import Client

from crews.roster.models import Shift
from equipment.barns.models import ReturnMode
from equipment.machines.models import MachineKind
from equipment.site import runs
from equipment.site.models import PlaceKind, Role, Site, TaskRun, User
from schedules.dayplan.disturbances import (
    Disturbance,
    MachineOut,
    PenClosed,
    PersonAway,
    VisitLate,
    try_disturbance,
)
from schedules.dayplan.models import Assignment
from schedules.dayplan.services import plan_day
from schedules.dayplan.trial import Trial
from schedules.rounds.models import PenVisit
from schedules.rounds.services import plan_milkings
from schedules.work.consume import consume_changes
from schedules.work.models import WorkOrder
from schedules.work.produce import materialise
from tests.factories import (
    make_bed_group,
    make_machine,
    make_parlor,
    make_pen,
    make_place,
    make_shift,
    make_site,
    make_standing_order,
    make_user,
    make_worker,
)

from .conftest import NOW, sign_in
from .reading import url

HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)
Has = dict[int, tuple[set[int], set[int]]]  # of a work order: people, machines


class Dawn:
    """Two pens milked from ten on, two people and two loaders, and the plan of their beds."""

    def __init__(self, starts_local: str = "10:00") -> None:
        self.site: Site = make_site("dawn")
        for role in (Role.MANAGER, Role.LEAD, Role.WORKER, Role.MECHANIC):
            make_user(role, self.site)
        make_place(self.site, "yard", PlaceKind.YARD)
        make_parlor(self.site, starts_local=(starts_local,))
        held: dict[str, Any] = {"return_mode": ReturnMode.GATE_HELD, "return_hold_min": 30}
        self.pens = [make_pen(self.site, key, **held) for key in ("1", "2")]
        for pen in self.pens:
            make_bed_group(pen)
        self.ana, self.ben = (make_worker(self.site, key) for key in ("ana", "ben"))
        self.by = self.ana.actor
        for worker in (self.ana, self.ben):
            make_shift(worker, NOW - 2 * HOUR)
        self.loaders = [make_machine(self.site, f"loader-{n}") for n in (1, 2)]
        make_standing_order(self.site, machine_kinds=[MachineKind.LOADER])
        on = NOW.date()
        plan_milkings(
            site_id=self.site.pk, from_on=on, until_on=on + timedelta(days=1), at=NOW - HOUR
        )
        materialise(site_id=self.site.pk, now=NOW, days=1)
        consume_changes(site_id=self.site.pk, now=NOW)
        plan_day(site_id=self.site.pk, at=NOW, seconds=0.1)
        TaskRun.objects.all().delete()  # what has rung for the plan that was just made

    @property
    def visit(self) -> PenVisit:
        """The first visit to come."""
        return PenVisit.objects.filter(site=self.site).earliest("called_at")

    @property
    def orders(self) -> list[WorkOrder]:
        """The beds of both pens, in the order of their visits."""
        return list(WorkOrder.objects.filter(site=self.site).order_by("starts_after"))

    @property
    def busy(self) -> int:
        """Who has the first pen's beds."""
        claim = Assignment.objects.get(work_order=self.orders[0]).claims.get(worker__isnull=False)
        assert claim.worker_id is not None
        return claim.worker_id

    @property
    def loader(self) -> int:
        """What the first pen's beds are groomed with."""
        claim = Assignment.objects.get(work_order=self.orders[0]).claims.get(machine__isnull=False)
        assert claim.machine_id is not None
        return claim.machine_id

    def late(self, minutes: int = 30) -> VisitLate:
        was = self.visit.called_at
        return VisitLate(self.visit.pk, "called", was, was + minutes * MINUTE)

    def try_it(self, what: Disturbance) -> Trial:
        return try_disturbance(what, site_id=self.site.pk, by=self.by, at=NOW)

    def deed(self, kind: str) -> Disturbance:
        deeds: dict[str, Disturbance] = {
            "visit": self.late(),
            "machine": MachineOut(self.loader, "hose burst"),
            "person": PersonAway(self.busy, Shift.objects.get(worker_id=self.busy).pk),
            "pen": PenClosed(self.pens[0].pk, "ice"),
        }
        return deeds[kind]

    def asked(self, kind: str) -> dict[str, Any]:
        """What the form of a kind sends."""
        fields: dict[str, dict[str, Any]] = {
            "visit": {"visit": self.visit.pk, "minutes": "30"},
            "machine": {"machine": self.loader},
            "person": {"person": self.busy},
            "pen": {"pen": self.pens[0].pk},
        }
        return {"what": kind, **fields[kind]}

    def has(self) -> Has:
        found: Has = {}
        for given in Assignment.objects.filter(site=self.site).prefetch_related("claims"):
            claims = given.claims.all()
            people = {claim.worker_id for claim in claims if claim.worker_id}
            found[given.work_order_id] = people, {c.machine_id for c in claims if c.machine_id}
        return found


KINDS = ("visit", "machine", "person", "pen")


def client_as(role: Role = Role.MANAGER) -> Client:
    return sign_in(f"{role}-dawn")


def tried(dawn: Dawn, kind: str, by: Client | None = None, **other: Any) -> Any:
    asked = {**dawn.asked(kind), **other}
    return (by or client_as()).get(url("replan", slug="dawn"), asked)


def everything() -> dict[str, list[Any]]:
    """Every row of every table, but who is signed in."""
    return {
        model.__name__: sorted(map(repr, model._base_manager.values_list()))
        for model in apps.get_models()
        if model not in (Session, User)
    }


def follow() -> None:
    """Do what the news rang for: work and plan take it up, and the plan is mended."""
    while runs.poll(now=NOW):
        pass
    newest = TaskRun.objects.filter(kind="dayplan.solve").latest("pk")
    assert runs.perform(newest.pk, now=NOW)


def after(trial: Trial, before: Has) -> Has:
    """Who would have what after a trial's changes."""
    found = dict(before)
    for change in trial.changes:
        now = change["after"]
        found.pop(change["work_order"], None)
        if now:
            machines = {now["machine"]} if now["machine"] else set()
            found[change["work_order"]] = set(now["workers"]), machines
    return found
