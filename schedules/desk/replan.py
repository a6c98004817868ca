"""Replan: if this is late or broken, what gives? Tried on the day as it is, and nothing is kept."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from crews.roster.models import Shift
from crews.roster.queries import working_shifts
from equipment.machines.models import Machine
from equipment.machines.queries import machines_of, usable_machine_ids
from equipment.site.calc.local_time import day_bounds, local_date_of
from equipment.site.models import Hold, HoldSubject, Place
from equipment.site.queries import open_holds
from schedules.dayplan.disturbances import expected, next_moment
from schedules.dayplan.trial import Trial
from schedules.rounds.clock import foretold_of
from schedules.rounds.models import PenVisit
from schedules.rounds.queries import visits_between
from schedules.rounds.services.reports import MOMENT_NAMES
from schedules.work.models import WorkOrder

from .base import Desk
from .pens import pens_of
from .plan_lines import change_lines, cost_lines, told_lines
from .reasons import FarmNames, farm_names, say_reason
from .wording import say_said

SHIFTS_AHEAD = timedelta(hours=24)  # whose next shift begins later is not called out of it yet
N_LINES = 40  # of a table, unless all are asked for


@dataclass(frozen=True, slots=True)
class Choices:
    """What can be upset today, read once: 9 queries however much there is."""

    visits: list[PenVisit]
    machines: list[Machine]
    shifts: list[Shift]
    pens: list[Place]
    closed: list[tuple[Hold, str]]

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to try."""
        return not (self.visits or self.machines or self.shifts or self.pens)


def choices_of(desk: Desk) -> Choices:
    """Visits of today not over, machines in use, who is counted on, pens that are open."""
    zone = desk.caller.site.zone
    _start, end = day_bounds(local_date_of(desk.now, zone), zone)
    visits = [
        visit
        for visit in visits_between(desk.site_id, desk.now, end)
        if visit.last_back_at > desk.now and next_moment(visit) is not None
    ]
    usable = usable_machine_ids(desk.site_id)
    holds = {hold.subject_id: hold for hold in open_holds(desk.site_id, HoldSubject.PEN)}
    pens = [pen.place for pen in pens_of(desk.site_id)]
    return Choices(
        visits=visits,
        machines=[machine for machine in machines_of(desk.site_id) if machine.pk in usable],
        shifts=_first_shifts(desk),
        pens=[place for place in pens if place.pk not in holds],
        closed=[(holds[place.pk], desk.place(place)) for place in pens if place.pk in holds],
    )


def _first_shifts(desk: Desk) -> list[Shift]:
    """Give each person's running or next shift."""
    first: dict[int, Shift] = {}
    for shift in working_shifts(desk.site_id, desk.now, desk.now + SHIFTS_AHEAD):
        first.setdefault(shift.worker_id, shift)
    return sorted(first.values(), key=lambda shift: (shift.worker.name, shift.pk))


def replan_context(desk: Desk, choices: Choices) -> dict[str, Any]:
    """Give what the forms offer. No query: it was read."""
    return {
        "is_empty": choices.is_empty,
        "visits": [(visit.pk, say_visit(desk, visit)) for visit in choices.visits],
        "machines": [(machine.pk, machine.name) for machine in choices.machines],
        "people": [(shift.worker_id, _say_person(desk, shift)) for shift in choices.shifts],
        "open_pens": [(place.pk, desk.place(place)) for place in choices.pens],
        "closed": choices.closed,
        "foretold": [line for visit in choices.visits for line in _foretold(desk, visit)],
        "given": desk.request.GET,
    }


def say_visit(desk: Desk, visit: PenVisit) -> str:
    """Name a visit by its pen and what is expected of it next, and when."""
    moment = next_moment(visit)
    assert moment is not None  # of one that is over none is offered
    return " · ".join(
        [
            desk.clock(expected(visit, moment)),
            desk.place(visit.pen.place),
            str(MOMENT_NAMES[moment]),
        ]
    )


def _foretold(desk: Desk, visit: PenVisit) -> list[tuple[int, str]]:
    """Say what is foretold of a visit and still counts, with the key to take it back by."""
    words = _("%(pen)s: “%(moment)s” is expected at %(at)s.")
    pen = desk.place(visit.pen.place)
    return [
        (visit.pk, words % {"pen": pen, "moment": MOMENT_NAMES[moment], "at": desk.moment(at)})
        for moment, at in foretold_of(visit).items()
    ]


def _say_person(desk: Desk, shift: Shift) -> str:
    if shift.starts_at <= desk.now:
        return shift.worker.name
    return _("%(person)s, from %(at)s") % {
        "person": shift.worker.name,
        "at": desk.moment(shift.starts_at),
    }


# What came of a trial ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NobodyLine:
    """A job that nobody would have."""

    job: str
    url_id: int
    due: str
    why: str


def trial_context(desk: Desk, trial: Trial) -> dict[str, Any]:
    """Say what gives: 5 queries."""
    is_all = desk.request.GET.get("all") == "1"
    most = len(trial.changes) if is_all else N_LINES
    told = told_lines(desk, trial.changes)
    shown = change_lines(desk, trial.changes[:most], trial.orders)
    return {
        "finding": _finding(trial, len(told)),
        "told": told,
        "lines": shown,
        "there": trial.there,
        "n_more": len(trial.changes) - len(shown),
        "overdue": _overdue(desk, trial),
        **_nobody(desk, trial),
        "late": [_late(desk, order, end) for order, end in trial.late],
        "costs": _costs(trial),
        "all_url": f"{_here(desk)}&all=1",
    }


def _here(desk: Desk) -> str:
    return f"{reverse('replan', args=[desk.caller.site.slug])}?{desk.request.GET.urlencode()}"


def _finding(trial: Trial, n_told: int) -> str:
    n, n_nobody, n_late = len(trial.changes), len(trial.newly), len(trial.late)
    if not (n or n_nobody or n_late):
        return _("Nothing gives: every job keeps its people, its machine and its time.")
    return " ".join(
        [
            ngettext("%d job changes.", "%d jobs change.", n) % n,
            ngettext("%d person must be told.", "%d people must be told.", n_told) % n_told,
            ngettext(
                "%d job that somebody has now ends with nobody.",
                "%d jobs that somebody has now end with nobody.",
                n_nobody,
            )
            % n_nobody,
            ngettext("%d more job ends late.", "%d more jobs end late.", n_late) % n_late,
        ]
    )


def _job(desk: Desk, order: WorkOrder) -> str:
    return f"{say_said(order.title, desk.language)} {desk.place(order.place)}"


def _overdue(desk: Desk, trial: Trial) -> str:
    """Say how many of the changes the clock alone makes: those of work that has not begun."""
    befores = [change["before"] for change in trial.changes if change["before"]]
    n = sum(datetime.fromisoformat(before["starts_at"]) <= desk.now for before in befores)
    words = ngettext(
        "%d of them should have begun by now: the next plan changes it in any case.",
        "%d of them should have begun by now: the next plan changes them in any case.",
        n,
    )
    return words % n if n else ""


def _nobody(desk: Desk, trial: Trial) -> dict[str, list[NobodyLine]]:
    """Jobs that nobody would have, apart those that nobody has now either: 2 queries."""
    names = farm_names(desk.site_id) if trial.nobody else FarmNames({}, {})
    found: dict[str, list[NobodyLine]] = {"nobody": [], "nobody_either": []}
    for order, reasons in trial.nobody:
        line = NobodyLine(
            job=_job(desk, order),
            url_id=order.pk,
            due=desk.moment(order.due_at),
            why="; ".join(say_reason(reason, names) for reason in reasons),
        )
        found["nobody" if order.pk in trial.newly else "nobody_either"].append(line)
    return found


def _late(desk: Desk, order: WorkOrder, end: datetime) -> tuple[str, str, str]:
    return _job(desk, order), desk.moment(order.due_at), desk.moment(end)


def _costs(trial: Trial) -> list[tuple[str, str, str]]:
    """What each plan costs, by cause: of the day as it is, and as it would be."""
    before, after = trial.before, trial.after
    pairs = zip(cost_lines(asdict(before)), cost_lines(asdict(after)), strict=True)
    return [
        (_("Jobs with nobody"), f"{trial.n_nobody_before:,}", f"{len(trial.nobody):,}"),
        *((name, was, would_be) for (name, was), (_name, would_be) in pairs),
        (
            _("Cost in all, as minutes of walking"),
            f"{before.total_cost:,.0f}",
            f"{after.total_cost:,.0f}",
        ),
    ]
