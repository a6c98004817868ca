"""The judge of a roster: every broken rule by name, and the score computed again.

It shares no code with the search. Codes:

===================== ==================================================================
unknown_person        and unknown_kind: not in the problem
outside_period        not one of the problem's dates
two_shifts_a_day      one person, one date, two shifts
away                  on leave
skill_not_held        named to work as what is not held on that date
fixed_moved           a fixed day is otherwise
kind_forbidden_next   a kind that may not follow the day before's
least_not_met         too few on a shift; most_exceeded: too many
rule_broken           a contract's rule without a price
lead_missing          a crew's shift without a lead, where there must be one
score_misstated       the solution's own score is wrong
===================== ==================================================================
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date

from crews.roster.calc.problem import Problem
from crews.roster.calc.score import Roster, score_roster
from crews.roster.calc.solution import Score, Solution
from crews.roster.calc.tally import Tally

Fact = str | int | float | None
_TOLERANCE = 1e-3  # scores are sums of products


@dataclass(frozen=True, slots=True)
class Broken:
    """One broken rule: its code, whom and when it concerns, and the facts that a sentence needs."""

    code: str
    person: str | None = None
    on: date | None = None
    kind: str | None = None
    facts: dict[str, Fact] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Verdict:
    """All broken rules of a roster, and its score (none where it names what is not there)."""

    broken: tuple[Broken, ...]
    score: Score | None

    @property
    def is_feasible(self) -> bool:
        """Whether no rule is broken."""
        return not self.broken


def check_week(problem: Problem, solution: Solution) -> Verdict:
    """Judge a roster.

    Parameters
    ----------
    problem : Problem
    solution : Solution
        Its bound is not judged.

    Returns
    -------
    Verdict
    """
    misplaced = tuple(_misplaced(problem, solution))
    if misplaced:
        return Verdict(misplaced, None)
    roster = Roster(problem, solution.assignments)
    score = score_roster(problem, solution.assignments)
    broken = [
        *_days(roster),
        *_successions(roster),
        *_heads(roster),
        *_contracts(roster),
        *(
            Broken("lead_missing", on=on, kind=kind, facts={"crew": crew})
            for crew, price, on, kind in roster.leaderless()
            if price is None
        ),
        *_figures(solution, score),
    ]
    return Verdict(tuple(broken), score)


def _misplaced(problem: Problem, solution: Solution) -> Iterator[Broken]:
    people = {person.id for person in problem.people}
    kinds = {kind.id for kind in problem.kinds}
    dates = set(problem.days)
    for a in solution.assignments:
        if a.person not in people:
            yield Broken("unknown_person", a.person, a.on, a.kind)
        if a.kind not in kinds:
            yield Broken("unknown_kind", a.person, a.on, a.kind)
        if a.on not in dates:
            yield Broken("outside_period", a.person, a.on, a.kind)
    for (person, on), n in Counter((a.person, a.on) for a in solution.assignments).items():
        if n > 1:
            yield Broken("two_shifts_a_day", person, on)


def _days(roster: Roster) -> Iterator[Broken]:
    problem = roster.problem
    for a in roster.assignments:
        person = roster.people[a.person]
        if a.on in person.away_on:
            yield Broken("away", a.person, a.on, a.kind)
        if not person.holds(a.skill, a.on):
            yield Broken("skill_not_held", a.person, a.on, a.kind, {"skill": a.skill})
    for given in problem.fixed:
        if roster.kind_of.get((given.person, given.on)) != given.kind:
            yield Broken("fixed_moved", given.person, given.on, given.kind)


def _successions(roster: Roster) -> Iterator[Broken]:
    not_next = {kind.id: kind.not_next for kind in roster.problem.kinds}
    for person in roster.problem.people:
        last = person.before[-1] if person.before else None
        for on, kind in zip(roster.problem.days, roster.row(person), strict=True):
            if last and kind in not_next[last]:
                yield Broken("kind_forbidden_next", person.id, on, kind, {"after": last})
            last = kind


def _heads(roster: Roster) -> Iterator[Broken]:
    for demand in roster.problem.demand:
        heads = roster.heads_pct(demand) / 100
        facts: dict[str, Fact] = {"skill": demand.skill, "n_there": heads}
        if heads < demand.least:
            facts["least"] = demand.least
            yield Broken("least_not_met", on=demand.on, kind=demand.kind, facts=facts)
        if demand.most is not None and heads > demand.most:
            facts["most"] = demand.most
            yield Broken("most_exceeded", on=demand.on, kind=demand.kind, facts=facts)


def _contracts(roster: Roster) -> Iterator[Broken]:
    tally = Tally.of(roster.problem)
    contracts = {contract.id: contract for contract in roster.problem.contracts}
    for person in roster.problem.people:
        row = roster.row(person)
        for rule in contracts[person.contract].rules:
            if rule.price is None:
                for breach in tally.breaches(person, rule, row):
                    facts: dict[str, Fact] = {
                        "rule": rule.id,
                        "measure": str(rule.measure),
                        "counted": breach.counted,
                        "least": rule.least,
                        "most": rule.most,
                    }
                    yield Broken("rule_broken", person.id, breach.on, facts=facts)


def _figures(solution: Solution, score: Score) -> Iterator[Broken]:
    told = solution.score.total_cost if solution.score is not None else None
    if told is None or abs(told - score.total_cost) > _TOLERANCE:
        facts: dict[str, Fact] = {"told_cost": told, "is_cost": score.total_cost}
        yield Broken("score_misstated", facts=facts)
