"""What a person's days come to under a contract's rules: counted plainly, for score and check."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import combinations, groupby

from crews.roster.calc.problem import RUNS, Measure, Person, Problem, Rule, ShiftKind

Row = Sequence[str | None]  # a kind or none for each day of the period


@dataclass(frozen=True, slots=True)
class Breach:
    """By how much a rule is broken, and where.

    Parameters
    ----------
    amount : int
        How many over or under: 1 for a rest that is too short.
    on : date
        First date of what is counted.
    counted : int
        What there is, against the rule's least or most.
    """

    rule: Rule
    amount: int
    on: date
    counted: int


@dataclass(frozen=True, slots=True)
class Tally:
    """Counts for one problem."""

    problem: Problem
    kinds: Mapping[str, ShiftKind]

    @classmethod
    def of(cls, problem: Problem) -> Tally:
        """Make the counter of a problem."""
        return cls(problem, {kind.id: kind for kind in problem.kinds})

    def breaches(self, person: Person, rule: Rule, row: Row) -> Iterator[Breach]:
        """Find where a person's days break a rule, at a price or not."""
        if rule.measure in RUNS:
            yield from self._of_runs(person, rule, row)
        elif rule.measure == Measure.REST_MIN:
            yield from self._of_rests(person, rule, row)
        elif rule.measure in (Measure.WEEKENDS, Measure.SPLIT_WEEKENDS):
            counted = self._weekends(rule, row) + person.carried.get(rule.id, 0)
            yield from _beside(rule, counted, self.problem.starts_on)
        elif rule.is_weekly:
            yield from self._of_weeks(rule, row)
        else:
            counted = self._sum(rule, row, 0, len(row)) + person.carried.get(rule.id, 0)
            yield from _beside(rule, counted, self.problem.starts_on)

    def date_of(self, day: int) -> date:
        """Return the date of a day of the period, counted from 0."""
        return self.problem.starts_on + timedelta(days=day)

    def _sum(self, rule: Rule, row: Row, start: int, end: int) -> int:
        worked = [(n, k) for n, k in enumerate(row[start:end], start) if _counts(rule, k)]
        if rule.measure == Measure.SHIFTS:
            return len(worked)
        minutes = (self.problem.worked_min(self.kinds[k], self.date_of(n)) for n, k in worked if k)
        return sum(minutes)

    def _of_weeks(self, rule: Rule, row: Row) -> Iterator[Breach]:
        first = (self.problem.starts_on.isoweekday() - self.problem.week_starts_on) % 7
        for monday in range(-first, len(row), 7):
            start, end = max(monday, 0), min(monday + 7, len(row))
            for breach in _beside(rule, self._sum(rule, row, start, end), self.date_of(start)):
                if end - start == 7 or breach.counted > (rule.least or 0):
                    yield breach

    def _weekends(self, rule: Rule, row: Row) -> int:
        n = 0
        for saturday in range(-1, len(row)):
            if self.date_of(saturday).isoweekday() == 6:
                days = [d for d in (saturday, saturday + 1) if 0 <= d < len(row)]
                worked = [_counts(rule, row[d]) for d in days]
                is_split = len(days) == 2 and worked[0] != worked[1]
                n += is_split if rule.measure == Measure.SPLIT_WEEKENDS else any(worked)
        return n

    def _of_runs(self, person: Person, rule: Rule, row: Row) -> Iterator[Breach]:
        wanted = rule.measure == Measure.DAYS_IN_A_ROW
        known = [_counts(rule, kind or None) == wanted for kind in person.before]
        n_before = len(known)
        states = known + [_counts(rule, kind) == wanted for kind in row]
        start = 0
        for is_run, group in groupby(states):
            n = len(list(group))
            end = start + n  # exclusive
            if is_run and end >= n_before:  # one that ended earlier is history
                on = self.date_of(start - n_before)
                over, over_before = _over(rule, n), _over(rule, max(0, n_before - start))
                if over > over_before:
                    yield Breach(rule, over - over_before, on, n)
                elif start > 0 and end < len(states) and rule.least is not None and n < rule.least:
                    yield Breach(rule, rule.least - n, on, n)
            start = end

    def _of_rests(self, person: Person, rule: Rule, row: Row) -> Iterator[Breach]:
        last = [kind or None for kind in person.before[-2:]]
        days = range(-len(last), len(row))
        worked = [(d, k) for d, k in zip(days, [*last, *row], strict=True) if k is not None]
        for (day, kind), (later, next_kind) in combinations(worked, 2):
            if later - day > 2 or later < 0:
                continue
            end = self.problem.span(self.kinds[kind], self.date_of(day))[1]
            start = self.problem.span(self.kinds[next_kind], self.date_of(later))[0]
            rest_min = (start - end) // timedelta(minutes=1)
            if rest_min < (rule.least or 0):
                yield Breach(rule, 1, self.date_of(later), rest_min)


def _counts(rule: Rule, kind: str | None) -> bool:
    return kind is not None and (not rule.kinds or kind in rule.kinds)


def _over(rule: Rule, n: int) -> int:
    return max(0, n - rule.most) if rule.most is not None else 0


def _beside(rule: Rule, counted: int, on: date) -> Iterator[Breach]:
    if rule.most is not None and counted > rule.most:
        yield Breach(rule, counted - rule.most, on, counted)
    elif rule.least is not None and counted < rule.least:
        yield Breach(rule, rule.least - counted, on, counted)
