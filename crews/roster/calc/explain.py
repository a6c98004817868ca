"""Why no roster keeps all the facts: the smallest clash, and the cheapest ways out of it.

A clash is a set of facts that no roster keeps together, while it keeps any of them but one. Codes
of `Limit`, with what each concerns:

===================== ==================================================================
away                  person, on: leave
fixed                 person, on: a day fixed to a kind or to off
kind_forbidden_next   kind: what may not follow it
least                 on, kind, skill: too many are needed; most: too few may be there
rule                  person, rule: of the contract
lead                  rule (the crew), on, kind: a lead is needed
===================== ==================================================================
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from ortools.sat.python import cp_model

from crews.roster.calc.check import Broken, check_week
from crews.roster.calc.limits import Limit
from crews.roster.calc.model import RosterModel
from crews.roster.calc.problem import Demand, Person, Problem
from crews.roster.calc.search import solve_week
from crews.roster.calc.solution import Status

_HIGH_PRICE = 10_000.0  # of a fact given up: more than what rosters cost besides
_ORDER = {
    "least": 0,
    "most": 1,
    "rule": 2,
    "kind_forbidden_next": 3,
    "lead": 4,
    "away": 5,
    "fixed": 6,
}


@dataclass(frozen=True, slots=True)
class Remedy:
    """A way out of a clash, found by a solve.

    Parameters
    ----------
    given_up : tuple of Limit
        Facts that are not kept; no fewer of them will do.
    broken : tuple of Broken
        By how much, where and for whom, as `check` tells it.
    cost : float
        What the roster costs besides.
    """

    given_up: tuple[Limit, ...]
    broken: tuple[Broken, ...]
    cost: float


@dataclass(frozen=True, slots=True)
class Clash:
    """Facts that clash (none: there is a roster, or time was up), and remedies, cheapest first."""

    limits: tuple[Limit, ...]
    remedies: tuple[Remedy, ...]


def explain_clash(problem: Problem, *, seconds: float = 30.0, n_remedies: int = 3) -> Clash:
    """Say why a problem has no roster, and what would give it one.

    Parameters
    ----------
    problem : Problem
    seconds : float
        Limit by the clock for all of it; a core that is not yet minimal then is told as it is. [s]
    n_remedies : int
        At most so many.
    """
    deadline_s = time.monotonic() + seconds
    roster = RosterModel(problem, with_facts=True)
    roster.model.clear_objective()  # type: ignore[no-untyped-call]  # the solver's own gap
    core = _core(roster, set(roster.kept), deadline_s)
    if not core:
        return Clash((), ())
    smallest = _minimal(roster, core, deadline_s)
    return Clash(tuple(sorted(smallest)), _remedies(problem, roster, n_remedies, deadline_s))


def _solver(deadline_s: float) -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = max(0.1, deadline_s - time.monotonic())
    return solver


def _core(roster: RosterModel, asked: set[Limit], deadline_s: float) -> set[Limit]:
    """Return facts among those asked that clash; none when they do not, or time is up."""
    roster.model.clear_assumptions()
    by_index = {roster.kept[limit].index: limit for limit in sorted(asked)}
    roster.model.add_assumptions([roster.kept[limit] for limit in sorted(asked)])
    solver = _solver(deadline_s)
    if solver.solve(roster.model) != cp_model.INFEASIBLE:
        return set()
    found = solver.sufficient_assumptions_for_infeasibility()
    return {by_index[index] for index in found} or asked


def _minimal(roster: RosterModel, core: set[Limit], deadline_s: float) -> set[Limit]:
    # Facts of the farm's own making are dropped first, so that leave and wishes fixed stay told.
    for limit in sorted(core, key=lambda one: (-_ORDER[one.code], one)):
        if limit in core and time.monotonic() < deadline_s:
            smaller = _core(roster, core - {limit}, deadline_s)
            core = smaller or core
    return core


def _remedies(
    problem: Problem, roster: RosterModel, n_remedies: int, deadline_s: float
) -> tuple[Remedy, ...]:
    """Give up as few facts as there must be, in other ways each time."""
    roster.model.clear_assumptions()
    roster.model.maximize(sum(roster.kept.values()))
    found: list[Remedy] = []
    while len(found) < n_remedies and time.monotonic() < deadline_s:
        solver = _solver(deadline_s)
        if solver.solve(roster.model) != cp_model.OPTIMAL:
            break
        given_up = tuple(
            limit for limit in sorted(roster.kept) if not solver.boolean_value(roster.kept[limit])
        )
        found += _verified(problem, given_up, deadline_s)
        roster.model.add_bool_or([roster.kept[limit] for limit in given_up])
    return tuple(sorted(found, key=lambda remedy: (len(remedy.given_up), remedy.cost)))


def _verified(problem: Problem, given_up: Sequence[Limit], deadline_s: float) -> list[Remedy]:
    seconds = max(0.5, (deadline_s - time.monotonic()) / 4)
    solution = solve_week(give_up(problem, given_up), seconds=seconds)
    if solution.status not in (Status.OPTIMAL, Status.FEASIBLE):
        return []
    verdict = check_week(problem, solution)
    broken = tuple(b for b in verdict.broken if b.code != "score_misstated")
    cost = verdict.score.total_cost if verdict.score is not None else 0.0
    return [Remedy(tuple(given_up), broken, cost)]


def give_up(problem: Problem, limits: Iterable[Limit]) -> Problem:
    """Return the problem in which facts need not be kept, as little as possible given up."""
    for limit in limits:
        problem = _GIVE_UP[limit.code](problem, limit)
    return problem


def _without_leave(problem: Problem, limit: Limit) -> Problem:
    def changed(person: Person) -> Person:
        away = tuple(on for on in person.away_on if on != limit.on)
        return replace(person, away_on=away) if person.id == limit.person else person

    return replace(problem, people=tuple(changed(person) for person in problem.people))


def _without_fixed(problem: Problem, limit: Limit) -> Problem:
    kept = (g for g in problem.fixed if (g.person, g.on) != (limit.person, limit.on))
    return replace(problem, fixed=tuple(kept))


def _without_succession(problem: Problem, limit: Limit) -> Problem:
    kinds = (replace(k, not_next=()) if k.id == limit.kind else k for k in problem.kinds)
    return replace(problem, kinds=tuple(kinds))


def _with_softer_demand(problem: Problem, limit: Limit) -> Problem:
    def changed(demand: Demand) -> Demand:
        if (demand.on, demand.kind, demand.skill or "") != (limit.on, limit.kind, limit.skill):
            return demand
        if limit.code == "most":
            over = _HIGH_PRICE
            return replace(demand, most=None, target=demand.most, price_under=0, price_over=over)
        under = _HIGH_PRICE
        return replace(demand, least=0, target=demand.least, price_under=under, price_over=0)

    return replace(problem, demand=tuple(changed(demand) for demand in problem.demand))


def _with_softer_rule(problem: Problem, limit: Limit) -> Problem:
    """Give one person a contract of their own, with a price on the rule."""
    person = next(p for p in problem.people if p.id == limit.person)
    contract = next(c for c in problem.contracts if c.id == person.contract)
    own = f"{contract.id}/{person.id}/{limit.rule}"
    rules = tuple(
        replace(r, price=_HIGH_PRICE) if r.id == limit.rule else r for r in contract.rules
    )
    people = tuple(replace(p, contract=own) if p is person else p for p in problem.people)
    contracts = (*problem.contracts, replace(contract, id=own, rules=rules))
    return replace(problem, people=people, contracts=contracts)


def _with_softer_lead(problem: Problem, limit: Limit) -> Problem:
    crews = (replace(c, lead_price=_HIGH_PRICE) if c.id == limit.rule else c for c in problem.crews)
    return replace(problem, crews=tuple(crews))


_GIVE_UP = {
    "away": _without_leave,
    "fixed": _without_fixed,
    "kind_forbidden_next": _without_succession,
    "least": _with_softer_demand,
    "most": _with_softer_demand,
    "rule": _with_softer_rule,
    "lead": _with_softer_lead,
}
