"""The roster as a constraint model: variables, one method per rule, one per price.

`x[person, day, kind]` says that a person works a kind on a day. What must not be so has no
variable, unless clashes are looked for: then every fact is a constraint of its own with a literal
that switches it on.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from crews.roster.calc.limits import Limit
from crews.roster.calc.model_rules import RuleModel
from crews.roster.calc.problem import Crew, Demand, Fairness, Problem
from crews.roster.calc.solution import Assignment


class RosterModel(RuleModel):
    """A problem's variables, constraints and objective."""

    def __init__(self, problem: Problem, *, with_facts: bool = False) -> None:
        super().__init__(problem, with_facts=with_facts)
        self._add_days()
        self._add_fixed()
        self._add_successions()
        self._add_contracts()
        self.y: dict[tuple[int, int, str, str], Any] = {}
        if problem.is_one_skill_a_shift:
            self._add_skills()
        for demand in problem.demand:
            self._add_demand(demand)
        for crew in problem.crews:
            self._add_crew(crew)
        for share in problem.fairness:
            self._price_fairness(share)
        self._price_wishes()
        self._price_changes()
        self.model.minimize(sum(c * v for c, v in self.costs) + self.constant_cost)

    def _add_days(self) -> None:
        for p, person in enumerate(self.problem.people):
            away = set(person.away_on)
            for d, on in enumerate(self.days):
                works = self.works(p, d)
                if on in away and self.with_facts:
                    self.keep(self.model.add(works == 0), Limit("away", person.id, on))

    def _add_fixed(self) -> None:
        for given in self.problem.fixed if self.with_facts else ():
            p, d = self.person_index[given.person], self.day_of(given.on)
            limit = Limit("fixed", given.person, given.on)
            literal = self.works(p, d) if given.kind is None else self.at(p, d, given.kind)
            self.keep(self.model.add(literal == (given.kind is not None)), limit)
        if not self.with_facts:
            # A day fixed to what is impossible has no variable: the model then says so.
            for given in self.problem.fixed:
                if given.kind is not None:
                    p, d = self.person_index[given.person], self.day_of(given.on)
                    self.model.add(self.at(p, d, given.kind) == 1)

    def _add_successions(self) -> None:
        for p, person in enumerate(self.problem.people):
            for kind in self.problem.kinds:
                for d in range(-1 if person.before else 0, len(self.days) - 1):
                    after = [self.at(p, d + 1, k) for k in kind.not_next]
                    if after:
                        limit = Limit("kind_forbidden_next", kind=kind.id)
                        first = self.at(p, d, kind.id)
                        self.keep(self.model.add(first + sum(after) <= 1), limit)

    def _add_skills(self) -> None:
        asked: dict[tuple[int, str], list[str]] = {}
        for demand in self.problem.demand:
            if demand.skill is not None:
                asked.setdefault((self.day_of(demand.on), demand.kind), []).append(demand.skill)
        for (d, kind), skills in asked.items():
            for p, person in enumerate(self.problem.people):
                held = [s for s in skills if person.holds(s, self.days[d])]
                if held and (p, d, kind) in self.x:
                    for skill in held:
                        self.y[p, d, kind, skill] = self.model.new_bool_var("")
                    self.model.add(sum(self.y[p, d, kind, s] for s in held) <= self.x[p, d, kind])

    def _heads(self, demand: Demand) -> tuple[Any, int, int]:
        """Sum of who counts, the weight of one full head in it, and its greatest value."""
        d = self.day_of(demand.on)
        terms = []
        for p, person in enumerate(self.problem.people):
            if self.problem.is_one_skill_a_shift and demand.skill is not None:
                literal = self.y.get((p, d, demand.kind, demand.skill))
            else:
                is_held = person.holds(demand.skill, demand.on)
                literal = self.x.get((p, d, demand.kind)) if is_held else None
            if literal is not None:
                terms.append((self.problem.head_pct(person, demand.on), literal))
        unit = 1 if all(pct == 100 for pct, _ in terms) else 100
        terms = [(1 if unit == 1 else pct, literal) for pct, literal in terms]
        return sum(w * v for w, v in terms), unit, sum(w for w, _ in terms)

    def _add_demand(self, demand: Demand) -> None:
        heads, unit, greatest = self._heads(demand)
        skill = demand.skill or ""
        if demand.least > 0:
            short = self.model.add(heads + self.zero >= unit * demand.least)
            self.keep(short, Limit("least", "", demand.on, demand.kind, skill))
        if demand.most is not None and unit * demand.most < greatest:
            self.keep(
                self.model.add(heads <= unit * demand.most),
                Limit("most", "", demand.on, demand.kind, skill),
            )
        if demand.target is not None:
            wanted = unit * demand.target
            if demand.price_under > 0:
                under = self.model.new_int_var(0, max(wanted, 0), "")
                self.model.add(under + heads >= wanted)
                self.price(demand.price_under / unit, under)
            if demand.price_over > 0 and greatest > wanted:
                over = self.model.new_int_var(0, greatest, "")
                self.model.add(heads - over <= wanted)
                self.price(demand.price_over / unit, over)

    def _add_crew(self, crew: Crew) -> None:
        members = [self.person_index[name] for name in crew.people]
        leads = [self.person_index[name] for name in crew.leads]
        for d in range(len(self.days)):
            used = []
            for kind in self.problem.kinds:
                there = [self.x[p, d, kind.id] for p in members if (p, d, kind.id) in self.x]
                if there and leads:
                    self._add_lead(crew, d, kind.id, there, leads)
                if there and crew.apart_price > 0:
                    used.append(self.any_of(there))
            if len(used) > 1:
                some = self.any_of(used)
                for literal in used:
                    self.price(crew.apart_price, literal)
                self.price(-crew.apart_price, some)

    def _add_lead(
        self, crew: Crew, d: int, kind: str, there: Iterable[Any], leads: Sequence[int]
    ) -> None:
        led = sum(self.at(p, d, kind) for p in leads)
        missing = None if crew.lead_price is None else self.model.new_bool_var("")
        for literal in there:
            spare = 0 if missing is None else missing
            led_there = self.model.add(literal <= led + spare)
            if missing is None:
                self.keep(led_there, Limit("lead", on=self.days[d], kind=kind, rule=crew.id))
        if missing is not None:
            self.price(crew.lead_price or 0, missing)

    def _price_fairness(self, share: Fairness) -> None:
        names = share.people or tuple(self.person_index)
        people = [self.person_index[name] for name in names]
        counted = []
        for p in people:
            days = [
                self.at(p, d, share.kinds)
                for d, on in enumerate(self.days)
                if not share.is_weekend or on.isoweekday() >= 6
            ]
            counted.append(sum(days) + self.problem.people[p].carried.get(share.id, 0))
        carried = sum(self.problem.people[p].carried.get(share.id, 0) for p in people)
        most = carried + len(people) * len(self.days)
        total = self.model.new_int_var(0, most, "")
        self.model.add(total == sum(counted))
        for count in counted:
            over = self.model.new_int_var(0, len(people) * most, "")
            self.model.add(over >= len(people) * count - total)
            self.price(share.price / len(people), over)

    def _price_wishes(self) -> None:
        for wish in self.problem.wishes:
            p, d = self.person_index[wish.person], self.day_of(wish.on)
            kinds = (wish.kind,) if wish.kind is not None else ()
            self.price_if(wish.price, self.at(p, d, kinds), is_so=wish.is_off)

    def _price_changes(self) -> None:
        for given in self.problem.published:
            p, d = self.person_index[given.person], self.day_of(given.on)
            kinds = (given.kind,) if given.kind is not None else ()
            literal = self.at(p, d, kinds)
            self.price_if(self.problem.change_price, literal, is_so=given.kind is None)

    def assignments(self, values: Sequence[int]) -> tuple[Assignment, ...]:
        """Read the roster out of a value for each variable, by person and date."""
        worked_as = {
            (p, d, kind): skill
            for (p, d, kind, skill), literal in self.y.items()
            if values[literal.index]
        }
        return tuple(
            Assignment(self.problem.people[p].id, self.days[d], kind, worked_as.get((p, d, kind)))
            for (p, d, kind), literal in self.x.items()
            if values[literal.index]
        )
