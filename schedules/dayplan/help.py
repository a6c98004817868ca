"""Why nobody has a work order, and what would help: reckoned when it is asked for."""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext as _

from equipment.site.errors import NotFoundError

from .build import build_day
from .calc.problem import Job
from .calc.remedies import Help, find_help
from .calc.solution import Assignment as Planned


def help_for(*, site_id: int, work_order_id: int, at: datetime) -> Help:
    """Find what keeps a work order out of the plan as it stands; a few seconds. Writes nothing.

    Raises
    ------
    NotFoundError
        The work order is not among the work of the next 26 hours that can be planned.
    """
    problem = build_day(site_id, at).problem
    if str(work_order_id) not in {job.id for job in problem.jobs}:
        raise NotFoundError(_("This work cannot be planned within the next hours."))
    plan = [given for job in problem.jobs if (given := _given(job)) is not None]
    return find_help(problem, plan, str(work_order_id))


def _given(job: Job) -> Planned | None:
    """Give where the plan has a job, or where somebody put it or is at it."""
    booking = job.locked or job.previous
    if booking is None:
        return None
    return Planned(job.id, booking.people, booking.machine, booking.start, booking.end)
