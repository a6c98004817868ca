"""A deed that is only tried: done by its own verb, looked at, undone, and then planned for.

The transaction in which it is done is always rolled back, and the site's version row is left alone
in it. Until then it locks the site's row, at which whoever puts a plan or gives by hand waits; what
the deed's verb locks; the work room's change cursor and the work orders and other rows that
`consume_untold` rewrites; the site's search and the assignments that `drop_broken` takes off.
`held_s` says for how long. The search comes after it, outside of any transaction.

Of each site one trial runs at a time, by an advisory lock of the session: it outlasts the
transaction, and goes with the connection where a process dies.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from time import monotonic
from typing import Any

from django.db import connection
from django.utils.translation import gettext as _

from equipment.site.errors import DomainError
from equipment.site.looks import aside
from equipment.site.models import Site
from equipment.site.writes import site_write
from schedules.work.consume import consume_untold
from schedules.work.models import Status, WorkOrder

from .build import HORIZON, DayFacts, build_day
from .calc.model import Progress, solve_day
from .calc.problem import Problem
from .calc.score import score_plan
from .calc.solution import Assignment as Planned
from .calc.solution import Score, Solution
from .known import KnownPlan, Standing, known_plan, standing
from .searches import search_of
from .services import SEED, drop_broken, reasons_of
from .told import changes_between

TURN = 1_382_002  # first key of the advisory locks of trials; the second is the site's
DAY = timedelta(days=1)
MOST_S = 2.0  # of a search that a person waits for
N_DAYS = HORIZON // DAY + 1  # of work that the plan can see
N_ITERATIONS = 5_000  # of 300 jobs within a second, so that it repeats exactly

Deed = Callable[[], object]


@dataclass(frozen=True, slots=True)
class Trial:
    """What a deed would do to the plan that stands.

    `changes` are documents as a plan keeps them; `nobody` the orders that nobody would have, by
    priority and due time, with the documents of why, and `newly` those of them that somebody has
    now. `late` are the orders that would end after they are due and do not yet, with their ends.
    `orders` are the rows as the deed left them, of which only those `there` are in the database.
    `held_s` is how long rows were locked.
    """

    changes: list[dict[str, Any]]
    nobody: list[tuple[WorkOrder, list[dict[str, Any]]]]
    newly: frozenset[int]
    late: list[tuple[WorkOrder, datetime]]
    orders: Mapping[int, WorkOrder]
    there: frozenset[int]
    before: Score
    after: Score
    n_nobody_before: int
    solution: Solution
    held_s: float


@dataclass(frozen=True, slots=True)
class _Tried:
    """What was read of the day while the deed was done."""

    facts: DayFacts
    old: KnownPlan
    stands: Standing
    held_s: float


class _UndoneError(Exception):
    """Takes back what was tried."""


class TrialRunsError(DomainError):
    """Another trial of the site runs; the same may be asked again."""

    code = "trial_runs"
    status = 503
    wait_s = 5


def try_deed(*, site_id: int, now: datetime, deed: Deed) -> Trial:
    """Say what a deed would do to the plan; `deed` calls a verb, and nothing of it is kept.

    About 150 queries, two times a plan's facts and what the work room makes anew; then the search,
    at most `MOST_S`. Raises what the verb refuses, and TrialRunsError beside another trial.
    """
    with _only_trial(site_id):
        with aside():
            before = build_day(site_id, now)
            tried = _do_and_undo(site_id, now, deed)
        solution = solve(tried.facts.problem)
        return _compare(before, tried, solution)


@contextmanager
def _only_trial(site_id: int) -> Iterator[None]:
    """Be the site's one trial, or be refused at once: each holds rows, and searches for seconds."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s, %s)", [TURN, site_id])
        if not cursor.fetchone()[0]:
            raise TrialRunsError(_("Another trial is running: try again in a moment."))
        try:
            yield
        finally:
            cursor.execute("SELECT pg_advisory_unlock(%s, %s)", [TURN, site_id])


def _do_and_undo(site_id: int, now: datetime, deed: Deed) -> _Tried:
    """Do it, let the rooms above take it up as their runs would, read the day, and undo it."""
    found: list[_Tried] = []
    began = monotonic()
    try:
        with site_write(site_id, now):
            # First, as whoever puts a plan or gives by hand does: they take locks in other orders.
            Site.objects.select_for_update(no_key=True).get(id=site_id)
            deed()
            consume_untold(site_id=site_id, now=now, days=N_DAYS)
            drop_broken(site_id=site_id, at=now)
            facts = build_day(site_id, now)
            old = known_plan(_untouched(facts), search_of(site_id))
            stands = standing(site_id, facts, facts.orders.values())
            found.append(_Tried(facts, old, stands, monotonic() - began))
            raise _UndoneError
    except _UndoneError:
        return found[0]


def _untouched(facts: DayFacts) -> set[int]:
    return {o.pk for o in facts.orders.values() if o.status == Status.NEEDS_ACTION}


def solve(problem: Problem) -> Solution:
    """Mend a day's plan in a bounded time; the same problem gives the same plan, if time allows."""

    def is_over(progress: Progress) -> bool:
        return progress.elapsed_s > MOST_S

    return solve_day(
        problem, seconds=MOST_S, seed=SEED, iterations=N_ITERATIONS, on_progress=is_over
    )


def _compare(before: DayFacts, tried: _Tried, solution: Solution) -> Trial:
    old, facts = tried.old, tried.facts
    planned = [
        a for a in solution.assignments if tried.stands.holds(a) and int(a.job) in old.replaceable
    ]
    has_now = _plan_of(before.problem)
    orders = {order.pk: order for order in facts.orders.values()}
    nobody = old.replaceable - {int(a.job) for a in planned}
    why = reasons_of(facts, solution, nobody)
    ends = {int(given.job): given.end for given in solution.assignments}
    late = _late(facts.orders, solution.assignments) - _late(before.orders, has_now)
    return Trial(
        changes=changes_between(old.told, [*planned, *old.by_hand_now]),
        nobody=[(order, why[order.pk]) for order in _in_turn(orders, nobody)],
        newly=frozenset(nobody & {int(given.job) for given in old.told}),
        late=[(order, ends[order.pk]) for order in _in_turn(orders, late)],
        orders=orders,
        there=frozenset(order.pk for order in before.orders.values()),
        before=score_plan(before.problem, has_now),
        after=solution.score,
        n_nobody_before=len(_untouched(before) - {int(given.job) for given in has_now}),
        solution=solution,
        held_s=tried.held_s,
    )


def _in_turn(orders: Mapping[int, WorkOrder], ids: Collection[int]) -> list[WorkOrder]:
    return sorted(
        (orders[pk] for pk in ids), key=lambda order: (order.priority, order.due_at, order.pk)
    )


def _plan_of(problem: Problem) -> list[Planned]:
    """Give the plan that stands, as the problem has it."""
    booked = ((job.id, job.locked or job.previous) for job in problem.jobs)
    return [
        Planned(job_id, it.people, it.machine, it.start, it.end)
        for job_id, it in booked
        if it is not None and it.people
    ]


def _late(orders: Mapping[str, WorkOrder], given: Iterable[Planned]) -> set[int]:
    """Orders whose assignment ends after they are due."""
    return {int(a.job) for a in given if a.job in orders and a.end > orders[a.job].due_at}
