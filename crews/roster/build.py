"""From the farm's rows to the problem of a week, and back: what is on record as a solution.

Shift patterns of the same hours are one kind of shift to the roster: which break somebody takes is
settled when it is published. A farm that says nothing has its rotations as wishes and as demand.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta

from crews.people.models import Leave, Worker
from equipment.site.models import Role, Site
from equipment.weather.heat import heat_of_day

from .calc import shifts as turns
from .calc.problem import (
    OFF,
    Contract,
    Crew,
    Demand,
    Fairness,
    Given,
    Measure,
    Person,
    Problem,
    Rule,
    ShiftKind,
    SkillHeld,
    Wish,
)
from .calc.solution import Assignment
from .dates import is_within, published_spans
from .models import (
    WORKING,
    DayByHand,
    RosterPractice,
    Rotation,
    Shift,
    ShiftDemand,
    ShiftPattern,
    ShiftWish,
    WorkRules,
)
from .queries import days_by_hand

REST_H = 11.0  # Directive 2003/88/EC, article 3: 11 h in each 24 h; the farm's own rule goes first
DAYS_IN_ROW_MOST = 6  # Directive 2003/88/EC, article 5: a day of rest in seven
HISTORY = timedelta(days=28)  # four weeks, which weekends and fairness are counted over
DEEP_NIGHT = time(3)  # a shift that is on at this hour is a night; common practice, no source
SHORT_WEEK_PRICE_MIN = 0.05  # of each minute below the least of a week
REFILL_CHANGES = 2.2  # in a refill a missing head is worth so many changes, and no wish is one
HAND_HEADS = 10  # missing heads that a day by hand is worth: rules alone move it
ACCLIMATISED_D = 5  # a fifth more each day, as `Problem.head_pct` has it


@dataclass(frozen=True, slots=True)
class Kinds:
    """Shift patterns in use by the kind of shift they are: the key of the first of their hours."""

    patterns: Mapping[str, Sequence[ShiftPattern]]

    @classmethod
    def of(cls, site_id: int) -> Kinds:
        """Read them: 1 query."""
        groups: dict[tuple[time, int], list[ShiftPattern]] = defaultdict(list)
        rows = ShiftPattern.objects.filter(site_id=site_id, retired_at=None).order_by("key")
        for row in rows:
            groups[row.starts_local, row.duration_min].append(row)
        by_start = sorted(groups.items(), key=lambda group: (group[0], group[1][0].key))
        return cls({group[0].key: group for _hours, group in by_start})

    @property
    def of_pattern(self) -> dict[int, str]:
        """The kind of each pattern by its row's key."""
        return {row.pk: kind for kind, group in self.patterns.items() for row in group}

    @property
    def nights(self) -> tuple[str, ...]:
        """Kinds that are nights."""
        return tuple(kind for kind, group in self.patterns.items() if _is_night(group[0]))

    def records(self) -> tuple[ShiftKind, ...]:
        """Kinds as the problem has them."""
        return tuple(
            ShiftKind(kind, group[0].starts_local, group[0].duration_min)
            for kind, group in self.patterns.items()
        )


def _is_night(pattern: ShiftPattern) -> bool:
    start_min = pattern.starts_local.hour * 60 + pattern.starts_local.minute
    deep_min = DEEP_NIGHT.hour * 60 + DEEP_NIGHT.minute
    return any(
        start_min <= deep_min + day_min < start_min + pattern.duration_min
        for day_min in (0, 24 * 60)
    )


@dataclass
class Facts:
    """Rows that a roster rests on, each read once."""

    site: Site
    from_on: date
    until_on: date
    kinds: Kinds
    practice: RosterPractice
    workers: list[Worker]
    rotations: dict[int, Rotation]
    leave: dict[int, list[Leave]]
    shifts: list[Shift]
    demand: list[ShiftDemand]
    wishes: list[ShiftWish]
    by_hand: dict[tuple[int, date], DayByHand]
    turns: dict[tuple[int, date], str] = field(default_factory=dict)

    @property
    def days(self) -> list[date]:
        n_days = (self.until_on - self.from_on).days
        return [self.from_on + timedelta(days=n) for n in range(n_days)]

    def within(self, from_on: date, until_on: date) -> Facts:
        """The same facts for a part of their period."""
        return replace(self, from_on=from_on, until_on=until_on)

    def worked(self) -> dict[tuple[int, date], str]:
        """The kind that each worker has on each date, on record: who is away has none."""
        kind_of = self.kinds.of_pattern
        return {
            (s.worker_id, s.local_date): kind_of[s.pattern_id]
            for s in self.shifts
            if s.presence in WORKING and s.pattern_id in kind_of
        }


def practice_of(site_id: int) -> RosterPractice:
    """Give the farm's rules, or the defaults of a farm that says none: 1 query."""
    found = RosterPractice.objects.filter(site_id=site_id).first()
    return found or RosterPractice(site_id=site_id)


def read_facts(site: Site, from_on: date, until_on: date) -> Facts:
    """Read what a roster of [from_on, until_on) rests on: 10 queries."""
    workers = Worker.objects.filter(site=site, retired_at=None).order_by("key")
    rotations = Rotation.objects.filter(
        site=site, worker__retired_at=None, pattern__retired_at=None
    )
    leave: dict[int, list[Leave]] = defaultdict(list)
    for row in Leave.objects.filter(site=site, from_on__lt=until_on, until_on__gt=from_on):
        leave[row.worker_id].append(row)
    facts = Facts(
        site=site,
        from_on=from_on,
        until_on=until_on,
        kinds=Kinds.of(site.pk),
        practice=practice_of(site.pk),
        workers=list(workers.select_related("crew", "rules").prefetch_related("skills__skill")),
        rotations={r.worker_id: r for r in rotations.select_related("pattern")},
        leave=leave,
        shifts=list(
            Shift.objects.filter(
                site=site, local_date__gte=from_on - HISTORY, local_date__lte=until_on
            ).order_by("local_date", "worker_id")
        ),
        demand=list(
            ShiftDemand.objects.filter(site=site, pattern__retired_at=None)
            .exclude(local_date__lt=from_on)
            .exclude(local_date__gte=until_on)
            .select_related("skill")
            .order_by("pk")
        ),
        wishes=list(
            ShiftWish.objects.filter(site=site, local_date__gte=from_on, local_date__lt=until_on)
        ),
        by_hand=days_by_hand(site.pk, from_on, until_on),
    )
    facts.turns = _turns(facts)
    return facts


def _turns(facts: Facts) -> dict[tuple[int, date], str]:
    """The kind of shift by each worker's rotation, or as it was put by hand, leave or not."""
    kind_of = facts.kinds.of_pattern
    found: dict[tuple[int, date], str] = {}
    for row in facts.rotations.values():
        turn = turns.Rotation(
            str(row.worker_id),
            turns.ShiftPattern(
                str(row.pattern_id), row.pattern.starts_local, row.pattern.duration_min
            ),
            row.days_on,
            row.days_off,
            row.anchor_on,
        )
        for shift in turns.shifts_between(
            [turn], [], facts.from_on, facts.until_on, facts.site.zone
        ):
            found[row.worker_id, shift.local_date] = kind_of[row.pattern_id]
    for key, day in facts.by_hand.items():
        found.pop(key, None)
        if day.pattern_id is not None:
            found[key] = kind_of[day.pattern_id]
    return found


def build_week(facts: Facts, *, at: datetime, is_refill: bool = False) -> Problem:
    """Put the problem of a period together.

    The day after it is there too, fixed as it is on record, so that the last night leaves rest
    before it. What has begun is fixed. Days already published cost something to change; in a
    refill every day on record does, more than turns and wishes: the fewest changes win.
    """
    contracts, contract_of = _contracts(facts)
    problem = Problem(
        starts_on=facts.from_on,
        n_days=(facts.until_on - facts.from_on).days + 1,
        zone=facts.site.time_zone,
        kinds=facts.kinds.records(),
        contracts=contracts,
        people=tuple(_people(facts, contract_of)),
        demand=tuple(_demand(facts)),
        wishes=tuple(_wishes(facts)),
        crews=tuple(_crews(facts)),
        fairness=_fairness(facts),
        hot_on=_hot_on(facts),
    )
    problem = _with_day_after(facts, _with_begun(facts, problem, at))
    published = _published_dates(facts)
    if is_refill or published:
        practice = facts.practice
        price = practice.under_price / REFILL_CHANGES if is_refill else practice.change_price
        dates = facts.days if is_refill else published
        return replace(problem, published=tuple(_on_record(facts, dates)), change_price=price)
    return problem


def rules_of(facts: Facts, worker: Worker) -> tuple[Rule, ...]:
    """Give the rules of one worker: theirs, else the farm's, else the default."""
    own: WorkRules | None = getattr(worker, "rules", None)

    def limit(name: str) -> float | None:
        said = getattr(own, name, None) if own else None
        found: float | None = getattr(facts.practice, name) if said is None else said
        return found

    rest_h = limit("rest_h")
    rules = [
        Rule("rest", Measure.REST_MIN, least=round(60 * (REST_H if rest_h is None else rest_h)))
    ]
    if (week_h := limit("week_most_h")) is not None:
        rules.append(Rule("week_most", Measure.MINUTES, most=round(60 * week_h), is_weekly=True))
    if (week_h := limit("week_least_h")) is not None:
        rules.append(
            Rule(
                "week_least",
                Measure.MINUTES,
                least=round(60 * week_h),
                price=SHORT_WEEK_PRICE_MIN,
                is_weekly=True,
            )
        )
    days = limit("days_in_row_most")
    days = _days_of_turn(facts.rotations.get(worker.pk)) if days is None else days
    if days is not None:
        rules.append(Rule("days_in_row", Measure.DAYS_IN_A_ROW, most=int(days)))
    nights = facts.kinds.nights
    if nights and (most := limit("nights_in_row_most")) is not None:
        rules.append(Rule("nights_in_row", Measure.DAYS_IN_A_ROW, most=int(most), kinds=nights))
    if (most := limit("weekends_most")) is not None:
        rules.append(Rule("weekends", Measure.WEEKENDS, most=int(most)))
    return tuple(rules)


def _days_of_turn(rotation: Rotation | None) -> int | None:
    """Days in a row that a rotation has anyway; none when it never rests."""
    if rotation is None:
        return DAYS_IN_ROW_MOST
    return max(DAYS_IN_ROW_MOST, rotation.days_on) if rotation.days_off else None


def _contracts(facts: Facts) -> tuple[tuple[Contract, ...], dict[int, str]]:
    """Workers of the same rules share a contract."""
    names: dict[tuple[Rule, ...], str] = {}
    contract_of = {}
    for worker in facts.workers:
        rules = rules_of(facts, worker)
        contract_of[worker.pk] = names.setdefault(rules, f"rules-{len(names) + 1}")
    return tuple(Contract(name, rules) for rules, name in names.items()), contract_of


def _people(facts: Facts, contract_of: Mapping[int, str]) -> Iterable[Person]:
    before_on = _history(facts)
    worked: dict[int, dict[date, str]] = defaultdict(dict)
    for (worker_id, on), kind in facts.worked().items():
        if on < facts.from_on:
            worked[worker_id][on] = kind
    for worker in facts.workers:
        mine = worked[worker.pk]
        yield Person(
            id=worker.key,
            contract=contract_of[worker.pk],
            skills=tuple(
                SkillHeld(held.skill.key, held.until_on)
                for held in sorted(worker.skills.all(), key=lambda held: held.skill.key)
                if held.from_on <= facts.from_on
            ),
            away_on=tuple(on for on in facts.days if is_away(facts, worker, on)),
            before=tuple(mine.get(on, OFF) for on in before_on),
            carried=_carried(facts, mine),
            new_on=worker.started_on if _is_new(facts, worker) else None,
        )


def is_away(facts: Facts, worker: Worker, on: date) -> bool:
    """Whether a worker is on leave or has not started yet."""
    is_early = worker.started_on is not None and on < worker.started_on
    return is_early or any(
        row.from_on <= on < row.until_on for row in facts.leave.get(worker.pk, ())
    )


def _history(facts: Facts) -> list[date]:
    """Dates before the period from the first on record on."""
    first = min((s.local_date for s in facts.shifts), default=facts.from_on)
    n_days = max(0, (facts.from_on - first).days)
    return [first + timedelta(days=n) for n in range(n_days)]


def _carried(facts: Facts, worked: Mapping[date, str]) -> dict[str, int]:
    """What counts already: weekends of the three weeks before, nights and weekend days of four."""
    since, nights = facts.from_on - timedelta(days=21), facts.kinds.nights
    weekends = {on.isocalendar()[:2] for on in worked if on >= since and on.isoweekday() >= 6}
    return {
        "weekends": len(weekends),
        "nights": sum(kind in nights for kind in worked.values()),
        "weekend_days": sum(on.isoweekday() >= 6 for on in worked),
    }


def _is_new(facts: Facts, worker: Worker) -> bool:
    since = facts.from_on - timedelta(days=ACCLIMATISED_D)
    return worker.started_on is not None and since < worker.started_on < facts.until_on


def _hot_on(facts: Facts) -> tuple[date, ...]:
    """Hot dates of a period in which somebody is new: 2 queries a date, else none."""
    if not any(_is_new(facts, worker) for worker in facts.workers):
        return ()
    heat = [(on, heat_of_day(facts.site.pk, on)) for on in facts.days]
    return tuple(on for on, told in heat if told is not None and told.is_hot_for_people)


def _demand(facts: Facts) -> Iterable[Demand]:
    """The most that is said for a date and for every date, else the heads of the rotations."""
    kind_of = facts.kinds.of_pattern
    price = facts.practice.under_price
    said: dict[tuple[date | None, str, str | None], list[ShiftDemand]] = defaultdict(list)
    for row in facts.demand:
        skill = row.skill.key if row.skill else None
        said[row.local_date, kind_of[row.pattern_id], skill].append(row)
    slots = {(kind, skill) for _on, kind, skill in said}
    slots |= {(kind, None) for kind in facts.kinds.patterns}
    turning = Counter((on, kind) for (_worker, on), kind in facts.turns.items())
    for on in facts.days:
        for kind, skill in sorted(slots, key=lambda slot: (slot[0], slot[1] or "")):
            rows = [said[day, kind, skill] for day in (on, None) if (day, kind, skill) in said]
            if rows:
                least = max(sum(r.least for r in group) for group in rows)
                target = max(sum(r.target for r in group) for group in rows)
            else:
                least, target = 0, 0 if skill else turning[on, kind]
            if target:
                yield Demand(on, kind, skill, least, target, price_under=price)


def _wishes(facts: Facts) -> Iterable[Wish]:
    """What was put by hand, at most; else wishes said; else the turn of that date, at least."""
    kind_of, practice = facts.kinds.of_pattern, facts.practice
    hand_price = HAND_HEADS * max(practice.under_price, practice.wish_price)
    said = {(row.worker_id, row.local_date): row for row in facts.wishes}
    for worker in facts.workers:
        for on in facts.days:
            row = said.get((worker.pk, on))
            if (worker.pk, on) in facts.by_hand and not is_away(facts, worker, on):
                kind = facts.turns.get((worker.pk, on))
                yield Wish(worker.key, on, hand_price, kind, is_off=kind is None)
            elif row is not None and (row.pattern_id is None or row.pattern_id in kind_of):
                kind = kind_of[row.pattern_id] if row.pattern_id else None
                yield Wish(worker.key, on, practice.wish_price, kind, is_off=kind is None)
            elif worker.pk in facts.rotations:
                kind = facts.turns.get((worker.pk, on))
                yield Wish(worker.key, on, practice.turn_price, kind, is_off=kind is None)


def _crews(facts: Facts) -> Iterable[Crew]:
    members: dict[str, list[Worker]] = defaultdict(list)
    for worker in facts.workers:
        if worker.crew is not None:
            members[worker.crew.key].append(worker)
    for key, people in sorted(members.items()):
        yield Crew(
            id=key,
            people=tuple(worker.key for worker in people),
            apart_price=facts.practice.apart_price,
            leads=tuple(worker.key for worker in people if worker.role == Role.LEAD),
            lead_price=facts.practice.lead_price,
        )


def _fairness(facts: Facts) -> tuple[Fairness, ...]:
    """Nights and weekend days to share out, where the farm puts a price on that."""
    found = []
    if facts.practice.night_price and facts.kinds.nights:
        found.append(Fairness("nights", facts.practice.night_price, facts.kinds.nights))
    if facts.practice.weekend_price:
        found.append(Fairness("weekend_days", facts.practice.weekend_price, is_weekend=True))
    return tuple(found)


def _with_begun(facts: Facts, problem: Problem, at: datetime) -> Problem:
    """Fix who is on a shift that has begun, and let nobody be put on it."""
    kind_of, keys = facts.kinds.of_pattern, {w.pk: w.key for w in facts.workers}
    away = {(w.pk, on) for w in facts.workers for on in facts.days if is_away(facts, w, on)}
    begun = [
        s
        for s in facts.shifts
        if facts.from_on <= s.local_date < facts.until_on
        and s.starts_at <= at
        and (s.worker_id, s.local_date) not in away
        and s.presence in WORKING
        and s.worker_id in keys
        and s.pattern_id in kind_of
    ]
    fixed = tuple(Given(keys[s.worker_id], s.local_date, kind_of[s.pattern_id]) for s in begun)
    there = Counter((given.on, given.kind) for given in fixed)
    said = {(d.on, d.kind) for d in problem.demand if d.skill is None}
    over = {
        (on, kind.id): there[on, kind.id]
        for on in facts.days
        for kind in problem.kinds
        if problem.span(kind, on)[0] <= at
    }
    demand = tuple(
        replace(d, least=0, most=over[d.on, d.kind] if d.skill is None else None)
        if (d.on, d.kind) in over
        else d
        for d in problem.demand
    )
    unsaid = tuple(Demand(*slot, most=n) for slot, n in over.items() if slot not in said)
    return replace(problem, fixed=fixed, demand=(*demand, *unsaid))


def _with_day_after(facts: Facts, problem: Problem) -> Problem:
    worked = facts.worked()
    after = tuple(
        Given(worker.key, facts.until_on, worked.get((worker.pk, facts.until_on)))
        for worker in facts.workers
    )
    return replace(problem, fixed=(*problem.fixed, *after))


def _published_dates(facts: Facts) -> list[date]:
    """Dates of the period that a published roster covers: 1 query."""
    published = published_spans(facts.site.pk, facts.from_on, facts.until_on)
    return [on for on in facts.days if is_within(published, on)]


def _on_record(facts: Facts, dates: Iterable[date]) -> Iterable[Given]:
    """Every person's day as it is on record; whoever is away since keeps what they had."""
    kind_of = facts.kinds.of_pattern
    had = {(s.worker_id, s.local_date): kind_of.get(s.pattern_id) for s in facts.shifts}
    days = list(dates)
    for worker in facts.workers:
        for on in days:
            yield Given(worker.key, on, had.get((worker.pk, on)))


def roster_on_record(facts: Facts) -> tuple[Assignment, ...]:
    """The shifts of the period and of the day after, as the solution that they are."""
    keys = {worker.pk: worker.key for worker in facts.workers}
    return tuple(
        Assignment(keys[pk], on, kind)
        for (pk, on), kind in sorted(facts.worked().items())
        if pk in keys and facts.from_on <= on <= facts.until_on
    )
