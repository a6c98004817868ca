"""What can upset a day, each done by the verb that does it for real, tried or in earnest."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from django.utils.translation import gettext as _

from crews.roster.services import call_in_sick
from equipment.barns.models import Pen
from equipment.machines.services import start_repair
from equipment.site.errors import NotFoundError, StaleError
from equipment.site.models import Actor, HoldSubject
from equipment.site.services import put_hold
from equipment.site.writes import site_write
from schedules.rounds.clock import MOMENTS
from schedules.rounds.models import PenVisit
from schedules.rounds.services import foretell_visit
from schedules.rounds.services.locking import lock_parlors
from schedules.rounds.services.reports import refuse_unknown

from .trial import Trial, try_deed


class Disturbance(Protocol):
    """One thing that may go wrong."""

    def do(self, *, site_id: int, by: Actor, at: datetime) -> None:
        """Tell it: `at` is now. Raises what its verb refuses."""


def try_disturbance(what: Disturbance, *, site_id: int, by: Actor, at: datetime) -> Trial:
    """Say what it would do to the plan, and keep nothing of it; see `try_deed`."""

    def deed() -> None:
        what.do(site_id=site_id, by=by, at=at)

    return try_deed(site_id=site_id, now=at, deed=deed)


@dataclass(frozen=True, slots=True)
class VisitLate:
    """A moment of a pen's visit that is still to come, at another time than expected."""

    visit_id: int
    moment: str
    expected_at: datetime
    at: datetime

    def do(self, *, site_id: int, by: Actor, at: datetime) -> None:
        """Foretell it, which reports nothing; refused once it is past or the visit timed anew."""
        refuse_unknown(self.moment)
        with site_write(site_id, at):
            lock_parlors(site_id)
            visit = PenVisit.objects.filter(site_id=site_id, pk=self.visit_id).first()
            if visit is not None and expected(visit, self.moment) != self.expected_at:
                raise StaleError(_("This visit was timed anew since it was tried. Try it again."))
            foretell_visit(
                site_id=site_id,
                visit_id=self.visit_id,
                moment=self.moment,
                expected_at=self.at,
                by=by,
                at=at,
            )


@dataclass(frozen=True, slots=True)
class MachineOut:
    """A machine that is out of use until somebody gives it back."""

    machine_id: int
    cause: str

    def do(self, *, site_id: int, by: Actor, at: datetime) -> None:
        """Take it out of use, as the page of machines does."""
        start_repair(site_id=site_id, machine_id=self.machine_id, cause=self.cause, by=by, at=at)


@dataclass(frozen=True, slots=True)
class PersonAway:
    """A person who is sick for one shift, which runs or comes next."""

    worker_id: int
    shift_id: int

    def do(self, *, site_id: int, by: Actor, at: datetime) -> None:
        """Take them off it, as the page of the crew does; refused once that shift is over."""
        call_in_sick(site_id=site_id, worker_id=self.worker_id, shift_id=self.shift_id, at=at)


@dataclass(frozen=True, slots=True)
class PenClosed:
    """A pen that nobody may work in until somebody opens it again."""

    pen_id: int
    reason: str

    def do(self, *, site_id: int, by: Actor, at: datetime) -> None:
        """Hold it."""
        if not Pen.objects.filter(site_id=site_id, pk=self.pen_id).exists():
            raise NotFoundError(_("There is no such place here."))
        put_hold(
            site_id=site_id,
            subject_kind=HoldSubject.PEN,
            subject_id=self.pen_id,
            reason=self.reason,
            by=by,
            at=at,
        )


def next_moment(visit: PenVisit) -> str | None:
    """Give the first moment of a visit after all that were told of it; None when it is over."""
    told = [n for n, moment in enumerate(MOMENTS) if moment in visit.actual]
    later = MOMENTS[max(told, default=-1) + 1 :]
    return later[0] if later else None


def expected(visit: PenVisit, moment: str) -> datetime:
    """Say when a moment of a visit is expected. No query."""
    at: datetime = getattr(visit, f"{moment}_at")
    return at
