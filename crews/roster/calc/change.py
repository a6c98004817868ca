"""Changes to a published roster: what a swap would break, and absences refilled."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from crews.roster.calc.check import Broken, check_week
from crews.roster.calc.problem import Given, Problem
from crews.roster.calc.search import solve_week
from crews.roster.calc.solution import Assignment, Solution


@dataclass(frozen=True, slots=True)
class SwapVerdict:
    """What a swap would do.

    Parameters
    ----------
    broken : tuple of Broken
        Rules that it would break and that are kept, or less broken, without it.
    cost_change : float
        What the roster would cost more (below 0: less).
    """

    broken: tuple[Broken, ...]
    cost_change: float


def changed_roster(
    assignments: Iterable[Assignment], changes: Iterable[Given]
) -> tuple[Assignment, ...]:
    """Return a roster with some people's days otherwise; each works as before where none says."""
    new = {(given.person, given.on): given.kind for given in changes}
    old = tuple(assignments)
    kept = [a for a in old if (a.person, a.on) not in new]
    skills = {(a.person, a.on): a.skill for a in old}
    made = [
        Assignment(person, on, kind, skills.get((person, on)))
        for (person, on), kind in new.items()
        if kind is not None
    ]
    return tuple(sorted([*kept, *made], key=lambda a: (a.person, a.on)))


def check_swap(problem: Problem, solution: Solution, changes: Iterable[Given]) -> SwapVerdict:
    """Judge a swap by the rules that judge a roster.

    Parameters
    ----------
    problem : Problem
    solution : Solution
        The roster as it is.
    changes : iterable of Given
        The days that would be otherwise, for everybody whom the swap concerns.
    """
    assignments = changed_roster(solution.assignments, changes)
    before = check_week(problem, solution)
    after = check_week(problem, replace(solution, assignments=assignments, score=None))
    if before.score is None or after.score is None:
        return SwapVerdict(after.broken, 0.0)
    told = (*before.broken, *(b for b in after.broken if b.code == "score_misstated"))
    broken = tuple(b for b in after.broken if b not in told)
    return SwapVerdict(broken, after.score.total_cost - before.score.total_cost)


def refill_problem(
    problem: Problem, solution: Solution, absences: Iterable[tuple[str, date]], change_price: float
) -> Problem:
    """Return the problem of a roster to be mended: absent people away, each change at a price."""
    away: dict[str, set[date]] = {}
    for person, on in absences:
        away.setdefault(person, set()).add(on)
    people = tuple(
        replace(p, away_on=tuple(sorted({*p.away_on, *away.get(p.id, ())}))) for p in problem.people
    )
    kind_of = {(a.person, a.on): a.kind for a in solution.assignments}
    published = tuple(
        Given(person.id, on, kind_of.get((person.id, on)))
        for person in problem.people
        for on in problem.days
    )
    return replace(problem, people=people, published=published, change_price=change_price)


def refill(
    problem: Problem,
    solution: Solution,
    absences: Iterable[tuple[str, date]],
    *,
    change_price: float,
    seconds: float = 20.0,
    workers: int = 1,
) -> Solution:
    """Mend a roster around absences with few changes.

    Parameters
    ----------
    problem : Problem
    solution : Solution
        The roster as it was published.
    absences : iterable of (person, date)
    change_price : float
        For each person's day that becomes otherwise, the absent one's too: high against other
        prices, the fewest changes win.
    seconds : float
        Limit by the clock. [s]
    workers : int
        Threads.
    """
    mended = refill_problem(problem, solution, absences, change_price)
    return solve_week(mended, seconds=seconds, workers=workers, start=solution.assignments)
