"""What a roster costs, by cause: recomputed from the records alone."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from crews.roster.calc.problem import Demand, Fairness, Person, Problem
from crews.roster.calc.solution import Assignment, Score
from crews.roster.calc.tally import Tally


@dataclass(frozen=True)
class Roster:
    """A problem's assignments, looked up by person and date and by shift."""

    problem: Problem
    assignments: tuple[Assignment, ...]

    @cached_property
    def kind_of(self) -> dict[tuple[str, date], str]:
        """The kind that a person works on a date."""
        return {(a.person, a.on): a.kind for a in self.assignments}

    @cached_property
    def people(self) -> dict[str, Person]:
        """People by id."""
        return {person.id: person for person in self.problem.people}

    @cached_property
    def _on_shift(self) -> dict[tuple[date, str], list[Assignment]]:
        found = defaultdict(list)
        for a in self.assignments:
            found[a.on, a.kind].append(a)
        return found

    def row(self, person: Person) -> list[str | None]:
        """What a person works, day by day."""
        return [self.kind_of.get((person.id, on)) for on in self.problem.days]

    def heads_pct(self, demand: Demand) -> int:
        """How many count for a demand [% of a head]."""
        is_as_assigned = self.problem.is_one_skill_a_shift and demand.skill is not None
        there = (
            self.people[a.person]
            for a in self._on_shift.get((demand.on, demand.kind), ())
            if not is_as_assigned or a.skill == demand.skill
        )
        counted = (p for p in there if is_as_assigned or p.holds(demand.skill, demand.on))
        return sum(self.problem.head_pct(p, demand.on) for p in counted)

    def crew_shifts(self, people: Iterable[str]) -> dict[date, set[str]]:
        """Kinds that people work, by date."""
        members = set(people)
        found = defaultdict(set)
        for a in self.assignments:
            if a.person in members:
                found[a.on].add(a.kind)
        return found

    def leaderless(self) -> Iterator[tuple[str, float | None, date, str]]:
        """Shifts of a crew without one of its leads: crew, price, date, kind."""
        for crew in self.problem.crews:
            if crew.leads:
                led = self.crew_shifts(crew.leads)
                for on, kinds in self.crew_shifts(crew.people).items():
                    for kind in sorted(kinds - led.get(on, set())):
                        yield crew.id, crew.lead_price, on, kind


def score_roster(problem: Problem, assignments: Iterable[Assignment]) -> Score:
    """Price a roster; whether it keeps the rules is for `check` to say."""
    roster = Roster(problem, tuple(assignments))
    costs: dict[str, float] = defaultdict(float)
    for cause, cost in _costs(roster):
        costs[cause] += cost
    by_cause = {cause: cost for cause, cost in sorted(costs.items()) if cost > 0}
    return Score(sum(by_cause.values()), by_cause)


def _costs(roster: Roster) -> Iterator[tuple[str, float]]:
    problem = roster.problem
    for demand in problem.demand:
        if demand.target is not None:
            beside = roster.heads_pct(demand) / 100 - demand.target
            yield "under", demand.price_under * max(0, -beside)
            yield "over", demand.price_over * max(0, beside)
    for wish in problem.wishes:
        worked = roster.kind_of.get((wish.person, wish.on))
        is_so = worked is not None and wish.kind in (None, worked)
        yield "wish", wish.price if is_so == wish.is_off else 0
    yield from _contract_costs(roster)
    for crew in problem.crews:
        for kinds in roster.crew_shifts(crew.people).values():
            yield "crew_apart", crew.apart_price * (len(kinds) - 1)
    for _crew, price, _on, _kind in roster.leaderless():
        yield "lead_missing", price or 0
    for share in problem.fairness:
        yield "unfair", share.price * _unevenness(roster, share)
    for given in problem.published:
        if roster.kind_of.get((given.person, given.on)) != given.kind:
            yield "changed", problem.change_price


def _contract_costs(roster: Roster) -> Iterator[tuple[str, float]]:
    tally = Tally.of(roster.problem)
    contracts = {contract.id: contract for contract in roster.problem.contracts}
    for person in roster.problem.people:
        row = roster.row(person)
        for rule in contracts[person.contract].rules:
            if rule.price is not None:
                amount = sum(breach.amount for breach in tally.breaches(person, rule, row))
                yield str(rule.measure), rule.price * amount


def _unevenness(roster: Roster, share: Fairness) -> float:
    people = share.people or tuple(roster.people)
    counted = {person: roster.people[person].carried.get(share.id, 0) for person in people}
    for a in roster.assignments:
        is_day = not share.is_weekend or a.on.isoweekday() >= 6
        if a.person in counted and is_day and (not share.kinds or a.kind in share.kinds):
            counted[a.person] += 1
    mean = sum(counted.values()) / max(1, len(counted))
    return sum(max(0.0, n - mean) for n in counted.values())
