"""The roster problem: kinds of shift, people, contracts, demand. Refuses nonsense when made.

Dates are local; a shift lies on the date it starts. Its start and length are those of the wall
clock, so on the two odd nights of a year it takes an hour less or more: hours worked and rest are
elapsed ones. Prices are in one unit of the farm's choice; a rule without a price must be kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from functools import lru_cache

from equipment.site.calc.local_time import wall_span, zone_named
from equipment.site.calc.refusal import RefusedValueError

SCHEMA = "penround/week-problem/1"
OFF = ""  # in `Person.before`: a day off
_MOST_DAYS = 366
_DAY_MIN = 24 * 60
# Share of a full head on the first hot day and each one after: NIOSH, Criteria for a Recommended
# Standard: Occupational Exposure to Heat and Hot Environments, 2016, DHHS 2016-106, on new workers.
ACCLIMATISING_STEP_PCT = 20


class ProblemError(ValueError):
    """A record that cannot be: `record` names it, `rule` says what it breaks."""

    def __init__(self, record: str, rule: str) -> None:
        super().__init__(f"{record}: {rule}")
        self.record = record
        self.rule = rule


def require(is_met: bool, record: str, rule: str) -> None:
    """Refuse `record` for `rule` unless it is met."""
    if not is_met:
        raise ProblemError(record, rule)


def _require_unique(values: Iterable[object], record: str, name: str) -> None:
    seen: set[object] = set()
    for value in values:
        require(value not in seen, record, f"{name} names {value!r} twice")
        seen.add(value)


def _require_known(names: Iterable[str], known: Iterable[str], record: str, name: str) -> None:
    places = set(known)
    for value in names:
        require(value in places, record, f"{name} {value!r} is not in the problem")


def _require_price(price: float | None, record: str, name: str = "price") -> None:
    require(price is None or price >= 0, record, f"{name} {price} is below 0")


@dataclass(frozen=True, slots=True)
class ShiftKind:
    """A kind of shift.

    Parameters
    ----------
    starts_local : time
        By the wall clock.
    duration_min : int
        By the wall clock, 1 to 1440. [min]
    not_next : tuple of str
        Kinds that nobody who works this one may work on the day after.
    """

    id: str
    starts_local: time
    duration_min: int
    not_next: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        record = f"kind {self.id!r}"
        require(self.id != OFF, record, "id is empty")
        rule = f"duration_min {self.duration_min} is not 1 to {_DAY_MIN}"
        require(0 < self.duration_min <= _DAY_MIN, record, rule)
        _require_unique(self.not_next, record, "not_next")


class Measure(StrEnum):
    """What a rule of a contract counts: `minutes` to `split_weekends` add up, the others repeat."""

    MINUTES = "minutes"
    SHIFTS = "shifts"
    WEEKENDS = "weekends"
    SPLIT_WEEKENDS = "split_weekends"
    DAYS_IN_A_ROW = "days_in_a_row"
    DAYS_OFF_IN_A_ROW = "days_off_in_a_row"
    REST_MIN = "rest_min"


RUNS = (Measure.DAYS_IN_A_ROW, Measure.DAYS_OFF_IN_A_ROW)


@dataclass(frozen=True, slots=True)
class Rule:
    """One limit of a contract, to be kept or at a price for each one over or under.

    Parameters
    ----------
    measure : Measure
        `minutes` elapsed on shift and `shifts`, by week or for the whole period; `weekends` with a
        shift, and `split_weekends` with one on one of their two days only; the length of every run
        of `days_in_a_row` with a shift and `days_off_in_a_row` without; `rest_min` elapsed between
        two shifts, a price for each rest that is too short.
    least, most : int or None
        `rest_min` has no most. A run that reaches past the known days is never too short. A cut
        week is held to its most alone.
    price : float or None
        For each one over or under; none: it must be kept.
    kinds : tuple of str
        Only shifts of these kinds count; empty: of all.
    is_weekly : bool
        Of `minutes` and `shifts`: counted for each week, not for the period.
    """

    id: str
    measure: Measure
    least: int | None = None
    most: int | None = None
    price: float | None = None
    kinds: tuple[str, ...] = ()
    is_weekly: bool = False

    def __post_init__(self) -> None:
        record = f"rule {self.id!r}"
        is_limit = self.least is not None or self.most is not None
        require(is_limit, record, "has neither least nor most")
        for name, value in (("least", self.least), ("most", self.most)):
            require(value is None or value >= 0, record, f"{name} {value} is below 0")
        if self.least is not None and self.most is not None:
            rule = f"most {self.most} is below least {self.least}"
            require(self.least <= self.most, record, rule)
        rule = "rest_min has no most"
        require(self.measure != Measure.REST_MIN or self.most is None, record, rule)
        is_counted = self.measure in (Measure.MINUTES, Measure.SHIFTS)
        require(is_counted or not self.is_weekly, record, f"{self.measure} is not counted weekly")
        _require_price(self.price, record)


@dataclass(frozen=True, slots=True)
class Contract:
    """The rules that hold for whoever has it."""

    id: str
    rules: tuple[Rule, ...] = ()

    def __post_init__(self) -> None:
        _require_unique((r.id for r in self.rules), f"contract {self.id!r}", "rules")


@dataclass(frozen=True, slots=True)
class SkillHeld:
    """A skill, or a machine that its holder may run, until a date (exclusive) if it lapses."""

    skill: str
    until_on: date | None = None


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who may be given shifts.

    Parameters
    ----------
    away_on : tuple of date
        Leave: no shift starts on these dates.
    before : tuple of str
        What was worked on the days before the period, the last of them last; "" is a day off. What
        lies further back is not known.
    carried : mapping of str to int
        What was counted already, under the id of a rule that adds up or of a fairness.
    new_on : date or None
        First day of work in the heat: from then on this person counts on hot dates for a fifth of
        a head, a fifth more each day after.
    """

    id: str
    contract: str
    skills: tuple[SkillHeld, ...] = ()
    away_on: tuple[date, ...] = ()
    before: tuple[str, ...] = ()
    carried: Mapping[str, int] = field(default_factory=dict)
    new_on: date | None = None

    def __post_init__(self) -> None:
        record = f"person {self.id!r}"
        _require_unique((held.skill for held in self.skills), record, "skills")
        _require_unique(self.away_on, record, "away_on")

    def holds(self, skill: str | None, on: date) -> bool:
        """Say whether the person holds a skill on a date; everybody holds none."""
        return skill is None or any(
            held.skill == skill and (held.until_on is None or on < held.until_on)
            for held in self.skills
        )


@dataclass(frozen=True, slots=True)
class Demand:
    """How many are needed on a date, on a kind of shift, with a skill or (none) at all.

    Parameters
    ----------
    least, most : int
        Must be kept; `most` none: no limit.
    target : int or None
        Each head below it costs `price_under`, each above it `price_over`.
    """

    on: date
    kind: str
    skill: str | None = None
    least: int = 0
    target: int | None = None
    most: int | None = None
    price_under: float = 0
    price_over: float = 0

    def __post_init__(self) -> None:
        record = f"demand of {self.on} {self.kind!r} {self.skill!r}"
        require(self.least >= 0, record, f"least {self.least} is below 0")
        rule = f"most {self.most} is below least {self.least}"
        require(self.most is None or self.most >= self.least, record, rule)
        is_priced = self.price_under > 0 or self.price_over > 0
        require(self.target is not None or not is_priced, record, "has prices but no target")
        _require_price(self.price_under, record, "price_under")
        _require_price(self.price_over, record, "price_over")


@dataclass(frozen=True, slots=True)
class Wish:
    """What somebody would like, or (`is_off`) not: a kind on a date, none: any shift."""

    person: str
    on: date
    price: float
    kind: str | None = None
    is_off: bool = False

    def __post_init__(self) -> None:
        _require_price(self.price, f"wish of {self.person!r} on {self.on}")


@dataclass(frozen=True, slots=True)
class Given:
    """A person's day as it is fixed or was published: a kind, or none for a day off."""

    person: str
    on: date
    kind: str | None = None


@dataclass(frozen=True, slots=True)
class Crew:
    """People who work together.

    Parameters
    ----------
    apart_price : float
        For each date and kind of shift more than one a date on which members work.
    leads : tuple of str
        One of them is on every shift on which members work; empty: none needed.
    lead_price : float or None
        For each shift without a lead; none: there must be one.
    """

    id: str
    people: tuple[str, ...]
    apart_price: float = 0
    leads: tuple[str, ...] = ()
    lead_price: float | None = None

    def __post_init__(self) -> None:
        record = f"crew {self.id!r}"
        _require_unique(self.people, record, "people")
        _require_known(self.leads, self.people, record, "leads")
        _require_price(self.apart_price, record, "apart_price")
        _require_price(self.lead_price, record, "lead_price")


@dataclass(frozen=True, slots=True)
class Fairness:
    """Shifts to share out evenly: a price on each above the mean of what all its people worked.

    Parameters
    ----------
    kinds : tuple of str
        Only these count; empty: all.
    is_weekend : bool
        Only those that start on a Saturday or Sunday count.
    people : tuple of str
        Who shares; empty: all. `Person.carried` adds what was counted before.
    """

    id: str
    price: float
    kinds: tuple[str, ...] = ()
    is_weekend: bool = False
    people: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _require_price(self.price, f"fairness {self.id!r}")


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything the roster of a week or more hangs on.

    Parameters
    ----------
    starts_on : date
        First date.
    n_days : int
        Length of the period. [d]
    zone : str
        IANA zone of the wall clock.
    is_one_skill_a_shift : bool
        Whether everybody works one skill a shift and counts for it alone (and for a demand of no
        skill); otherwise people count for every skill they hold.
    week_starts_on : int
        ISO weekday, 1 is Monday: what `is_weekly` rules count by.
    hot_on : tuple of date
        Dates on which new people acclimatise.
    fixed : tuple of Given
        Must be so.
    published : tuple of Given
        Each person's day named here costs `change_price` when it is otherwise.
    """

    starts_on: date
    n_days: int
    zone: str
    kinds: tuple[ShiftKind, ...]
    contracts: tuple[Contract, ...]
    people: tuple[Person, ...]
    demand: tuple[Demand, ...] = ()
    wishes: tuple[Wish, ...] = ()
    crews: tuple[Crew, ...] = ()
    fairness: tuple[Fairness, ...] = ()
    fixed: tuple[Given, ...] = ()
    published: tuple[Given, ...] = ()
    change_price: float = 0
    is_one_skill_a_shift: bool = False
    week_starts_on: int = 1
    hot_on: tuple[date, ...] = ()

    def __post_init__(self) -> None:
        require(0 < self.n_days <= _MOST_DAYS, "problem", f"n_days {self.n_days} is not 1 to 366")
        rule = f"week_starts_on {self.week_starts_on} is not 1 to 7"
        require(1 <= self.week_starts_on <= 7, "problem", rule)
        _require_price(self.change_price, "problem", "change_price")
        try:
            zone_named(self.zone)
        except RefusedValueError as error:
            raise ProblemError("problem", f"zone {self.zone!r} is not known") from error
        for name in ("kinds", "contracts", "people", "crews", "fairness"):
            _require_unique((record.id for record in getattr(self, name)), "problem", name)
        self._require_links()

    def _require_links(self) -> None:
        kinds = [kind.id for kind in self.kinds]
        people = [person.id for person in self.people]
        for kind in self.kinds:
            _require_known(kind.not_next, kinds, f"kind {kind.id!r}", "not_next")
        for contract in self.contracts:
            for rule in contract.rules:
                _require_known(rule.kinds, kinds, f"rule {rule.id!r}", "kinds")
        for person in self.people:
            record = f"person {person.id!r}"
            _require_known((person.contract,), (c.id for c in self.contracts), record, "contract")
            _require_known((k for k in person.before if k != OFF), kinds, record, "before")
        for crew in self.crews:
            _require_known(crew.people, people, f"crew {crew.id!r}", "people")
        for share in self.fairness:
            _require_known(share.people, people, f"fairness {share.id!r}", "people")
            _require_known(share.kinds, kinds, f"fairness {share.id!r}", "kinds")
        self._require_dated_links(kinds, people)

    def _require_dated_links(self, kinds: list[str], people: list[str]) -> None:
        slots = ((d.on, d.kind, d.skill) for d in self.demand)
        _require_unique(slots, "problem", "demand")
        for name in ("fixed", "published"):
            _require_unique(((g.person, g.on) for g in getattr(self, name)), "problem", name)
        records: tuple[Wish | Given, ...] = (*self.wishes, *self.fixed, *self.published)
        for given in records:
            record = f"{type(given).__name__.lower()} of {given.person!r} on {given.on}"
            _require_known((given.person,), people, record, "person")
            _require_known((given.kind,) if given.kind is not None else (), kinds, record, "kind")
        for on in (*(d.on for d in self.demand), *(r.on for r in records)):
            rule = f"{on} is not one of its {self.n_days} days from {self.starts_on}"
            require(0 <= (on - self.starts_on).days < self.n_days, "problem", rule)
        for demand in self.demand:
            _require_known((demand.kind,), kinds, f"demand of {demand.on}", "kind")

    @property
    def days(self) -> list[date]:
        """Every date of the period."""
        return [self.starts_on + timedelta(days=n) for n in range(self.n_days)]

    def span(self, kind: ShiftKind, on: date) -> tuple[datetime, datetime]:
        """Start and end of a shift that starts on a date, in UTC."""
        return _span(kind.starts_local, kind.duration_min, on, self.zone)

    def worked_min(self, kind: ShiftKind, on: date) -> int:
        """Minutes that pass on a shift [min]."""
        start, end = self.span(kind, on)
        return (end - start) // timedelta(minutes=1)

    def head_pct(self, person: Person, on: date) -> int:
        """Share of a full head that a person counts for on a date [%]."""
        if person.new_on is None or on not in self.hot_on or on < person.new_on:
            return 100
        return min(100, ACCLIMATISING_STEP_PCT * (1 + (on - person.new_on).days))


@lru_cache(maxsize=65536)
def _span(starts: time, duration_min: int, on: date, zone: str) -> tuple[datetime, datetime]:
    wall = timedelta(minutes=duration_min)
    return wall_span(datetime.combine(on, starts), wall, zone_named(zone))
