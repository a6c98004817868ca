"""The rules of what a plan uses up or borrows: gear, tools and materials, fuel."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime
from math import inf

from schedules.dayplan.calc.judged import TOLERANCE_MIN, Broken, Plan
from schedules.dayplan.calc.problem import Job
from schedules.dayplan.calc.resources import Amount, Person, minutes_between
from schedules.dayplan.calc.solution import Assignment, Fact


def gear(plan: Plan) -> Iterator[Broken]:
    """Judge: no more gear held at once than there is."""
    for kind in plan.problem.gear:
        holding: list[tuple[int, Assignment]] = []
        for job, given in plan.pairs:
            n = _n_of(job.gear, kind.key)
            if n == 0 or given.start == given.end:
                continue
            holding = [(k, other) for k, other in holding if other.end > given.start]
            n_held = n + sum(k for k, _ in holding)
            if n_held > kind.n:
                facts: dict[str, Fact] = {"gear": kind.key, "needs": n_held, "has": kind.n}
                other_job = plan.one_not_locked(other for _, other in holding)
                yield Broken("gear_short", job.id, other_job=other_job, facts=facts)
            holding.append((n, given))


def items(plan: Plan) -> Iterator[Broken]:
    """Judge: the first of a job's people has its tools and materials, carried or called for.

    A call fills up what its place stocks, for all later jobs of the shift, as far as the person has
    room for it. Materials are used up, tools are not.
    """
    firsts: dict[tuple[str, datetime | None], list[tuple[Job, Assignment]]] = defaultdict(list)
    for job, given in plan.pairs:
        if given.calls_at is not None and not (given.people and _stocks(plan, given)):
            yield Broken("call_in_vain", job.id, place=given.calls_at)
        if given.people:
            shift = plan.people[given.people[0]].shift_at(given.start)
            firsts[given.people[0], None if shift is None else shift.start].append((job, given))
    for (person, _), several in firsts.items():
        yield from _at_hand(plan, plan.people[person], several)


def _at_hand(plan: Plan, person: Person, several: list[tuple[Job, Assignment]]) -> Iterator[Broken]:
    has: dict[str, float] = {amount.key: amount.n for amount in person.carries}
    room = {amount.key: amount.n for amount in person.room_for}
    used_by: dict[str, list[Assignment]] = defaultdict(list)
    for job, given in several:
        for key in _stocks(plan, given):
            has[key] = max(has.get(key, 0), room.get(key, inf))
        for key, n in ((amount.key, amount.n) for amount in job.items):
            n_has = has.get(key, 0)
            if n_has < n:
                facts: dict[str, Fact] = {"item": key, "needs": n, "has": n_has}
                other_job = plan.one_not_locked(used_by[key])
                yield Broken("item_missing", job.id, person.id, other_job=other_job, facts=facts)
            if key not in plan.problem.tools:
                has[key] = max(0, n_has - n)
                used_by[key].append(given)


def _stocks(plan: Plan, given: Assignment) -> tuple[str, ...]:
    return () if given.calls_at is None else plan.places[given.calls_at].stocks


def _n_of(amounts: tuple[Amount, ...], key: str) -> int:
    return next((amount.n for amount in amounts if amount.key == key), 0)


def fuel(plan: Plan) -> Iterator[Broken]:
    """Judge: no job longer than its machine can run; the stops before it are on its way."""
    for job, given in plan.pairs:
        machine = plan.machine_of(given)
        if machine is None or machine.fuel is None or not job.is_driven:
            continue
        has_min, needs_min = machine.fuel.run_full_min, minutes_between(given.start, given.end)
        if needs_min > has_min + TOLERANCE_MIN:
            facts = {"needs_min": needs_min, "has_min": has_min}
            yield Broken("fuel_too_small", job.id, machine=machine.id, facts=facts)
