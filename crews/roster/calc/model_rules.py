"""Variables of a roster and the rules of contracts on them; `model` adds what people share."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from typing import Any

from ortools.sat.python import cp_model

from crews.roster.calc.limits import Limit
from crews.roster.calc.problem import RUNS, Measure, Person, Problem, Rule

SCALE = 10_000  # solver costs are integers: one of the farm's units is so many of them


class RuleModel:
    """Variables, prices and the rules of each person's contract."""

    def __init__(self, problem: Problem, *, with_facts: bool) -> None:
        self.problem = problem
        self.with_facts = with_facts
        self.days = problem.days
        self.kinds = {kind.id: kind for kind in problem.kinds}
        self.person_index = {person.id: p for p, person in enumerate(problem.people)}
        self.model = cp_model.CpModel()
        self.zero = self.model.new_constant(0)
        self.one = self.model.new_constant(1)
        self.costs: list[tuple[int, Any]] = []
        self.constant_cost = 0
        self.kept: dict[Limit, Any] = {}
        self.x: dict[tuple[int, int, str], Any] = dict(self._variables())
        self._unions: dict[tuple[int, int, frozenset[str]], Any] = {}

    def _variables(self) -> Iterator[tuple[tuple[int, int, str], Any]]:
        fixed = {(g.person, g.on): g.kind for g in self.problem.fixed}
        for p, person in enumerate(self.problem.people):
            away = set(person.away_on)
            for d, on in enumerate(self.days):
                for kind in self.kinds:
                    is_open = fixed.get((person.id, on), kind) == kind and on not in away
                    if is_open or self.with_facts:
                        yield (p, d, kind), self.model.new_bool_var("")

    def day_of(self, on: date) -> int:
        """Return a date's number, the first is 0."""
        return (on - self.days[0]).days

    def keep(self, constraint: Any, limit: Limit) -> None:
        """Let a constraint hold only while its fact does, when clashes are looked for."""
        if self.with_facts:
            if limit not in self.kept:
                self.kept[limit] = self.model.new_bool_var("")
            constraint.only_enforce_if(self.kept[limit])

    def price(self, price: float, variable: Any) -> None:
        """Add a variable times a price to the objective."""
        self.costs.append((round(price * SCALE), variable))

    def price_if(self, price: float, literal: Any, *, is_so: bool) -> None:
        """Add a price that is paid when a literal is so, or is not."""
        self.price(price if is_so else -price, literal)
        if not is_so:
            self.constant_cost += round(price * SCALE)

    def any_of(self, literals: Sequence[Any]) -> Any:
        """Return a literal that is true when one of them is, and only then."""
        some = self.model.new_bool_var("")
        self.model.add_max_equality(some, literals)
        return some

    def works(self, p: int, d: int) -> Any:
        """Return the literal of any shift at all."""
        return self.at(p, d, ())

    def at(self, p: int, d: int, kinds: str | Iterable[str]) -> Any:
        """Return the literal of one of the kinds (none named: any); days before 0 are known."""
        wanted = frozenset((kinds,) if isinstance(kinds, str) else kinds)
        if d < 0:
            known = self.problem.people[p].before[d]
            return self.one if known and (not wanted or known in wanted) else self.zero
        key = (p, d, wanted)
        if key not in self._unions:
            terms = [self.x[p, d, k] for k in wanted or self.kinds if (p, d, k) in self.x]
            self._unions[key] = self._union(terms, is_all=not wanted)
        return self._unions[key]

    def sums(self) -> dict[int, list[int]]:
        """Return, by index, what each literal of one of several kinds is the sum of."""
        found = {}
        for (p, d, wanted), literal in self._unions.items():
            terms = [self.x[p, d, k].index for k in wanted or self.kinds if (p, d, k) in self.x]
            if len(terms) > 1:
                found[literal.index] = terms
        return found

    def _union(self, terms: Sequence[Any], *, is_all: bool) -> Any:
        if len(terms) < 2:
            return terms[0] if terms else self.zero
        some = self.model.new_bool_var("")
        self.model.add(sum(terms) == some)
        if is_all:
            self.model.add_at_most_one(terms)
        return some

    def _add_contracts(self) -> None:
        contracts = {contract.id: contract for contract in self.problem.contracts}
        for p, person in enumerate(self.problem.people):
            for rule in contracts[person.contract].rules:
                limit = Limit("rule", person.id, rule=rule.id)
                if rule.measure in RUNS:
                    self._add_runs(p, rule, limit)
                elif rule.measure == Measure.REST_MIN:
                    self._add_rests(p, rule, limit)
                else:
                    self._add_counts(p, person, rule, limit)

    def _add_counts(self, p: int, person: Person, rule: Rule, limit: Limit) -> None:
        if rule.is_weekly:
            first = (self.days[0].isoweekday() - self.problem.week_starts_on) % 7
            for start in range(-first, len(self.days), 7):
                days = range(max(0, start), min(start + 7, len(self.days)))
                terms = self._worked(p, rule, days)
                least = rule.least if len(days) == 7 else None
                self._bound(terms, least, rule.most, rule.price, limit)
            return
        carried = person.carried.get(rule.id, 0)
        if rule.measure in (Measure.WEEKENDS, Measure.SPLIT_WEEKENDS):
            terms = [(1, literal) for literal in self._weekends(p, rule)]
        else:
            terms = self._worked(p, rule, range(len(self.days)))
        least = None if rule.least is None else rule.least - carried
        most = None if rule.most is None else rule.most - carried
        self._bound(terms, least, most, rule.price, limit)

    def _worked(self, p: int, rule: Rule, days: Iterable[int]) -> list[tuple[int, Any]]:
        if rule.measure == Measure.SHIFTS:
            return [(1, self.at(p, d, rule.kinds)) for d in days]
        return [
            (self.problem.worked_min(self.kinds[k], self.days[d]), self.x[p, d, k])
            for d in days
            for k in rule.kinds or self.kinds
            if (p, d, k) in self.x
        ]

    def _weekends(self, p: int, rule: Rule) -> Iterator[Any]:
        for saturday in range(-1, len(self.days)):
            if (self.days[0] + timedelta(days=saturday)).isoweekday() != 6:
                continue
            pair = [d for d in (saturday, saturday + 1) if 0 <= d < len(self.days)]
            literals = [self.at(p, d, rule.kinds) for d in pair]
            if rule.measure == Measure.WEEKENDS:
                yield literals[0] if len(literals) == 1 else self.any_of(literals)
            elif len(literals) == 2:
                split = self.model.new_bool_var("")
                self.model.add_bool_xor([*literals, split, self.one])
                yield split

    def _bound(
        self,
        terms: Sequence[tuple[int, Any]],
        least: int | None,
        most: int | None,
        price: float | None,
        limit: Limit,
    ) -> None:
        total = sum(weight * literal for weight, literal in terms) + self.zero
        greatest = sum(weight for weight, _ in terms)
        for bound, sign in ((least, -1), (most, 1)):
            if bound is None or (sign > 0 and bound >= greatest) or (sign < 0 and bound <= 0):
                continue
            if price is None:
                self.keep(self.model.add(sign * total <= sign * bound), limit)
            else:
                beside = self.model.new_int_var(0, greatest + abs(bound), "")
                self.model.add(sign * total - beside <= sign * bound)
                self.price(price, beside)

    def _add_runs(self, p: int, rule: Rule, limit: Limit) -> None:
        n_before = len(self.problem.people[p].before)
        states = [self.at(p, d, rule.kinds) for d in range(-n_before, len(self.days))]
        if rule.measure == Measure.DAYS_OFF_IN_A_ROW:
            states = [state.negated() for state in states]
        if rule.most is not None:
            for end in range(max(n_before, rule.most), len(states)):
                window = states[end - rule.most : end + 1]
                self._forbid(window, rule.price, limit)
        for length in range(1, rule.least or 1):
            for start in range(max(1, n_before - length), len(states) - length):
                run = states[start : start + length]
                ends = [states[start - 1].negated(), states[start + length].negated()]
                price = None if rule.price is None else rule.price * ((rule.least or 0) - length)
                self._forbid([*run, *ends], price, limit)

    def _add_rests(self, p: int, rule: Rule, limit: Limit) -> None:
        n_before = min(2, len(self.problem.people[p].before))
        for gap in (1, 2):
            for d in range(-n_before, len(self.days) - gap):
                if d + gap < 0:
                    continue
                for kind in self.kinds:
                    late = self._too_soon(rule, kind, d, gap)
                    if late and not (d < 0 and self.at(p, d, kind) is self.zero):
                        pair = [self.at(p, d, kind), self.at(p, d + gap, late)]
                        self._forbid(pair, rule.price, limit)

    def _too_soon(self, rule: Rule, kind: str, d: int, gap: int) -> list[str]:
        first, later = (self.days[0] + timedelta(days=n) for n in (d, d + gap))
        end = self.problem.span(self.kinds[kind], first)[1]
        rest = timedelta(minutes=rule.least or 0)
        return [k for k, at in self.kinds.items() if self.problem.span(at, later)[0] - end < rest]

    def _forbid(self, literals: Sequence[Any], price: float | None, limit: Limit) -> None:
        """Let not all of the literals be true, or at a price."""
        if price is None:
            self.keep(self.model.add_bool_or([literal.negated() for literal in literals]), limit)
        else:
            broken = self.model.new_bool_var("")
            self.model.add_bool_or([*(literal.negated() for literal in literals), broken])
            self.price(price, broken)
