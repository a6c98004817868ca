"""From the records to the arrays that the compiled search reads."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from math import ceil, floor

import numpy as np

from schedules.dayplan.calc.instance import Instance, Lag
from schedules.dayplan.calc.problem import Booking, Job, Relation, Seat
from schedules.dayplan.calc.resources import Amount, ProblemError
from schedules.dayplan.calc.search import layout as o
from schedules.dayplan.calc.search.layout import NEVER, NONE, Floats, Ints
from schedules.dayplan.calc.search.scratch import MOST
from schedules.dayplan.calc.spans import NEVER as FAR
from schedules.dayplan.calc.spans import SlowSpan, Span

_RELATIONS = {
    Relation.FINISH_TO_START: o.FINISH_TO_START,
    Relation.START_TO_START: o.START_TO_START,
    Relation.FINISH_TO_FINISH: o.FINISH_TO_FINISH,
    Relation.START_TO_FINISH: o.START_TO_FINISH,
}
Asked = frozenset[tuple[str, int]]
"""Skills with their least levels."""


def near(value: int) -> int:
    """Return a time the search may add to without leaving its integers."""
    return max(-NEVER, min(NEVER, value))


class Tables:
    """Facts `A` and prices `B` of an instance, and how to read and write states of its plan."""

    def __init__(self, inst: Instance) -> None:
        self.inst, self.problem = inst, inst.problem
        self.lists: list[int] = []
        self.spans: list[Span] = []
        self.modes: list[list[int]] = []
        self.lags: list[list[int]] = []
        self.kinds: dict[Asked, int] = {}
        self.crews: dict[str, int] = {}
        self.hopeless: set[int] = set()
        self.items = sorted({amount.key for job in self.problem.jobs for amount in job.items})
        self._count()
        self._set_gear()
        self._set_speeds()
        jobs = [self._job(i, job) for i, job in enumerate(self.problem.jobs)]
        units = [self._unit(u) for u in range(len(inst.units))]
        machines = [self._machine(m) for m in range(len(inst.machine_free))]
        self._pack(jobs, units, machines)
        self._set_prices()

    def _count(self) -> None:
        problem = self.problem
        sizes = [
            max((*job.sizes, len(job.locked.people) if job.locked else 0)) for job in problem.jobs
        ]
        self.n_seats = max(sizes, default=0)
        n_exclusive = max((len(t.exclusive) for t in self.inst.tasks), default=0)
        n_gear = max((sum(a.n for a in job.gear) for job in problem.jobs), default=0)
        self.n_slots = self.n_seats + 1 + n_exclusive + n_gear
        rule = f"a job of {self.n_slots} people, places and gear is more than {MOST}"
        if self.n_slots > MOST:
            raise ProblemError("problem", rule)

    def _set_gear(self) -> None:
        line = len(self.inst.units) + len(self.inst.machine_free) + len(self.problem.places)
        self.gear_lines: dict[str, tuple[int, int]] = {}
        for gear in self.problem.gear:
            self.gear_lines[gear.key] = (line, gear.n)
            line += gear.n
        self.n_lines = line

    def _set_speeds(self) -> None:
        """One table of ways for each walking speed, then for each machine's speed."""
        inst = self.inst
        self.walk_of, self.drive_of, self.way_tables = inst.speed_tables()

    # Lists and spans ------------------------------------------------------------------------

    def _list(self, values: Iterable[int]) -> tuple[int, int]:
        first = len(self.lists)
        self.lists.extend(int(value) for value in values)
        return first, len(self.lists)

    def _span_list(self, spans: Iterable[Span]) -> tuple[int, int]:
        first = len(self.spans)
        self.spans.extend((near(a), near(b)) for a, b in spans)
        return first, len(self.spans)

    def _kind(self, *asked: Seat) -> int:
        wanted: dict[str, int] = {}
        for seat in asked:
            for key in seat.skills:
                wanted[key] = max(wanted.get(key, 1), seat.level)
        return self.kinds.setdefault(frozenset(wanted.items()), len(self.kinds))

    # Rows -----------------------------------------------------------------------------------

    def _job(self, i: int, job: Job) -> list[int]:
        task = self.inst.tasks[i]
        row = [0] * o.JOB_WIDTH
        row[o.J_PLACE], row[o.J_LOCKED] = task.place, int(job.locked is not None)
        row[o.J_OPEN], row[o.J_OPEN_END] = self._span_list(task.openings)
        n_before = len(self.inst.units) + len(self.inst.machine_free)
        row[o.J_EXCL], row[o.J_EXCL_END] = self._list(n_before + p for p in task.exclusive)
        gear = [x for a in job.gear for x in (*self.gear_lines[a.key], a.n)]
        row[o.J_GEAR], row[o.J_GEAR_END] = self._list(gear)
        row[o.J_ITEMS], row[o.J_ITEMS_END] = self._list(self._items(job))
        row[o.J_MODE], row[o.J_MODE_END] = self._modes(job, task.machines)
        row[o.J_WAITS], row[o.J_WAITS_END] = self._lags(task.waits_for)
        row[o.J_AWAITED], row[o.J_AWAITED_END] = self._lags(task.awaited_by)
        row[o.J_BOND], row[o.J_BOND_END] = self._list(self.inst.bonds[i])
        seat = task.previous
        row[o.J_PREV], row[o.J_PREV_END] = self._list(seat.people if seat else ())
        row[o.J_PREV_MACHINE] = seat.machine if seat else NONE
        row[o.J_PREV_START] = near(seat.start) if seat else NEVER
        row[o.J_CREW] = self._crew(job.preferred_crew)
        row[o.J_BUCKET], row[o.J_EFFORT] = task.bucket, task.effort
        row[o.J_MAY_PAUSE], row[o.J_DRIVEN] = int(job.may_pause), int(self._is_driven(job))
        row[o.J_DUE], row[o.J_USEFUL] = near(task.due), near(task.first_useful)
        row[o.J_LATEST], row[o.J_RANK] = near(task.latest_start), task.rank
        return row

    def _items(self, job: Job) -> Iterable[int]:
        """What a job needs at hand: pairs of item and number."""
        return (x for a in job.items for x in (self.items.index(a.key), a.n))

    def _provisions(self) -> Iterator[tuple[int, Ints]]:
        """Yield what units have at first, have room for, places stock, and which are tools."""
        people, problem = [self.problem.people[u.person] for u in self.inst.units], self.problem
        has = [_numbers(self.items, person.carries, 0) for person in people]
        room = [_numbers(self.items, person.room_for, NEVER) for person in people]
        stock = [[int(key in place.stocks) for key in self.items] for place in problem.places]
        yield o.AT_HAND, _flat(has)
        yield o.AT_ROOM, _flat(room)
        yield o.AT_STOCK, _flat(stock)
        yield o.AT_TOOL, np.array([int(k in problem.tools) for k in self.items], dtype=np.int64)

    def _is_driven(self, job: Job) -> bool:
        """Whether somebody drives its machine; of locked jobs, whether the driver is on shift."""
        if job.locked is None:
            return job.is_driven
        start, end = self.inst.floor_s(job.locked.start), self.inst.ceil_s(job.locked.end)
        return job.is_driven and bool(units_of(self.inst, job.locked.people[:1], start, end))

    def _crew(self, crew: str | None) -> int:
        return NONE if crew is None else self.crews.setdefault(crew, len(self.crews))

    def _modes(self, job: Job, machines: Sequence[int]) -> tuple[int, int]:
        first = len(self.modes)
        for n in job.sizes:
            by_work: dict[int, list[int]] = {}
            for m in machines if job.needs_machine else (NONE,):
                kind = None if m == NONE else self.problem.machines[m].kind
                by_work.setdefault(_seconds(job.duration_for(kind, n)), []).append(m)
            seats = [self._kind(*self._asked(job, k)) for k in range(n)]
            for work, several in by_work.items():
                self.modes.append(self._mode(job, work, seats, several))
        last = len(self.modes)
        if job.locked is not None:
            self.modes.append(self._locked_mode(job, job.locked))
        return first, last

    def _locked_mode(self, job: Job, booking: Booking) -> list[int]:
        """Return the mode of a locked job: whoever of its people is on shift then."""
        inst = self.inst
        start, end = inst.floor_s(booking.start), inst.ceil_s(booking.end)
        n = len(units_of(inst, booking.people, start, end))
        return [end - start, n, self._list([self._kind()] * n)[0], *self._list(())]

    def _mode(self, job: Job, work: int, seats: list[int], machines: list[int]) -> list[int]:
        pairs = [(m, self.first_kind(job, m)) for m in machines]
        listed = self._list(x for pair in pairs for x in pair)
        return [work, len(seats), self._list(seats)[0], *listed]

    def first_kind(self, job: Job, m: int) -> int:
        """Return the kind of skills asked of the first of the team, who drives if anybody does."""
        if job.n_people == 0:
            return NONE
        skill = self.problem.machines[m].driver_skill if m != NONE and job.needs_driver else None
        return self._kind(*self._asked(job, 0), Seat(() if skill is None else (skill,)))

    def _asked(self, job: Job, k: int) -> Iterable[Seat]:
        """Return what is asked of the person in a seat: of all at one level, of this at its own."""
        yield Seat(job.skills, job.skill_level)
        if job.seats:
            yield job.seats[k]

    def _lags(self, lags: Iterable[Lag]) -> tuple[int, int]:
        first = len(self.lags)
        for lag in lags:
            relation = _RELATIONS[lag.relation]
            self.lags.append([lag.other, relation, near(lag.least), near(lag.most)])
        return first, len(self.lags)

    def _unit(self, u: int) -> list[int]:
        unit = self.inst.units[u]
        person = self.problem.people[unit.person]
        back = NONE if person.end_place is None else self.inst.place_index[person.end_place]
        row = [unit.person, unit.start, unit.paid_end, unit.end, unit.place, back]
        row += [self._crew(unit.crew), unit.pace, unit.n_skills, *self._span_list(unit.free)]
        return [*row, *self._span_list(unit.breaks), self.walk_of[unit.person]]

    def _machine(self, m: int) -> list[int]:
        inst, fuel = self.inst, self.problem.machines[m].fuel
        row = [inst.machine_place[m], inst.hookup[m], inst.first_bucket[m], self.drive_of[m]]
        row += self._span_list(inst.machine_free[m])
        if fuel is None:
            return [*row, NONE, 0, 0, 0]
        left, full = floor(fuel.run_left_min * 60), floor(fuel.run_full_min * 60)
        return [*row, inst.place_index[fuel.place], left, full, _seconds(fuel.fill_min)]

    # One array ------------------------------------------------------------------------------

    def _pack(
        self, jobs: list[list[int]], units: list[list[int]], machines: list[list[int]]
    ) -> None:
        inst, problem = self.inst, self.problem
        paces, slow, merge = _pace_tables(inst.slow)
        n_state = len(jobs) * o.STATE_WIDTH
        at_line = n_state + len(jobs) * self.n_slots * o.NODE_WIDTH
        head = [0] * o.N_HEAD
        parts: list[Ints] = []
        size = o.N_HEAD
        for at, part in (
            (o.AT_JOB, _flat(jobs)),
            (o.AT_MODE, _flat(self.modes)),
            (o.AT_UNIT, _flat(units)),
            (o.AT_MACHINE, _flat(machines)),
            (o.AT_LAG, _flat(self.lags)),
            (o.AT_LIST, np.array(self.lists, dtype=np.int64)),
            (o.AT_SPAN, _flat(self.spans)),
            (o.AT_UNTIL, self._until()),
            (o.AT_WAY, self.way_tables.ravel()),
            (o.AT_SLOW, _flat(slow)),
            (o.AT_PACE, _flat(paces)),
            (o.AT_MERGE, merge.ravel()),
            (o.AT_SHARE, self._shares()),
            (o.AT_CALL, np.array([_seconds(p.call_min) for p in problem.places], dtype=np.int64)),
            *self._provisions(),
        ):
            head[at] = size
            size += len(part)
            parts.append(part)
        head[o.N_JOBS], head[o.N_UNITS], head[o.N_MACHINES] = len(jobs), len(units), len(machines)
        head[o.N_PLACES], head[o.N_LINES] = len(problem.places), self.n_lines
        head[o.N_SLOTS], head[o.N_SEATS], head[o.N_PACES] = self.n_slots, self.n_seats, len(merge)
        head[o.AT_NODE], head[o.AT_LINE] = n_state, at_line
        head[o.N_STATE] = at_line + 2 * self.n_lines
        head[o.TOLERANCE], head[o.WASH] = inst.tolerance, inst.wash
        head[o.N_KINDS], head[o.N_ITEMS] = len(self.kinds), len(self.items)
        head[o.AT_WEIGHT] = len(jobs) * o.PRICE_WIDTH
        self.A = np.concatenate([np.array(head, dtype=np.int64), *parts])

    def _until(self) -> Ints:
        """Latest end each unit's skills allow, by kind of skills; then how many units hold each."""
        n_units = len(self.inst.units)
        table = np.full((len(self.kinds), n_units), -NEVER, dtype=np.int64)
        for asked, kind in self.kinds.items():
            for u, unit in enumerate(self.inst.units):
                table[kind, u] = near(self._held_until(unit.person, asked))
        counts = (table > -NEVER).sum(axis=1)
        return np.concatenate([table.ravel(), counts.astype(np.int64)])

    def _held_until(self, person: int, asked: Asked) -> int:
        latest = FAR
        for key, level in asked:
            ends = [end for end, have in self.inst.skill_levels(person, key) if have >= level]
            latest = min(latest, max(ends, default=-FAR))
        return latest

    def _shares(self) -> Ints:
        """Each unit's person's even share of the day's work [s]."""
        inst = self.inst
        total = sum(_seconds(j.duration_min) * j.n_people for j in self.problem.jobs)
        spans = [0] * len(self.problem.people)
        for unit in inst.units:
            spans[unit.person] += max(0, unit.paid_end - unit.start)
        whole = max(1, sum(spans))
        return np.array([total * spans[u.person] // whole for u in inst.units], dtype=np.int64)

    def _set_prices(self) -> None:
        weights = self.problem.weights
        rows = []
        for job, task in zip(self.problem.jobs, self.inst.tasks, strict=True):
            late = weights.late_per_min if job.late_per_min is None else job.late_per_min
            rows += [task.left_out_cost, late / 60, task.at_stake]
        prices = [0.0] * o.N_WEIGHTS
        prices[o.W_OVERTIME] = weights.overtime_per_min / 60
        prices[o.W_TRAVEL] = weights.travel_per_min / 60
        prices[o.W_OFF_CREW] = weights.off_crew_per_job
        prices[o.W_CHANGE] = weights.change_per_job
        prices[o.W_DUTY] = weights.duty_per_min / 60
        prices[o.W_BALANCE] = weights.balance_per_min / 60
        self.B: Floats = np.array([*rows, *prices], dtype=np.float64)

    # States ---------------------------------------------------------------------------------

    def empty_state(self) -> Ints:
        """Return a plan without jobs."""
        return np.full(int(self.A[o.N_STATE]), NONE, dtype=np.int64)

    def end_at(self, state: Ints, node: int) -> int:
        """Return when the job of a node ends, long ago if there is no node."""
        if node < 0:
            return -NEVER
        return int(state[node // self.n_slots * o.STATE_WIDTH + o.S_END])


def units_of(inst: Instance, people: Iterable[str], start: int, end: int) -> list[int]:
    """Return the units that people are at a time; those off shift are left aside."""
    several = [[inst.units[u] for u in inst.units_of[inst.person_index[p]]] for p in people]
    found = ([u for u in us if u.start < end and start < u.end] for us in several)
    return [inst.units.index(us[0]) for us in found if us]


def _seconds(minutes: float) -> int:
    # Less a millionth, so that 60 s with float noise do not become 61 s.
    return ceil(minutes * 60 - 1e-6)


def _numbers(keys: Sequence[str], amounts: Iterable[Amount], otherwise: int) -> list[int]:
    named = {amount.key: amount.n for amount in amounts}
    return [named.get(key, otherwise) for key in keys]


def _flat(rows: Sequence[Sequence[int]]) -> Ints:
    return np.array([value for row in rows for value in row], dtype=np.int64)


def _pace_tables(
    slow: list[list[list[SlowSpan]]],
) -> tuple[list[list[int]], list[SlowSpan], Ints]:
    """Close paces under "at each moment the slower one", and lay their slow spans end to end.

    `slow` is by effort, then pace. The table of merged paces is that of the heaviest effort's.
    """
    profiles = [tuple(tuple(slow[e][p]) for e in range(len(slow))) for p in range(len(slow[0]))]
    found = {profile: i for i, profile in reversed(list(enumerate(profiles)))}
    todo = list(range(len(profiles)))
    pairs: dict[tuple[int, int], int] = {}
    while todo:
        a = todo.pop()
        for b in range(len(profiles)):
            merged = tuple(_slower(x, y) for x, y in zip(profiles[a], profiles[b], strict=True))
            if merged not in found:
                found[merged] = len(profiles)
                profiles.append(merged)
                todo.append(len(profiles) - 1)
            pairs[a, b] = pairs[b, a] = found[merged]
    merge = np.zeros((len(profiles), len(profiles)), dtype=np.int64)
    for (a, b), c in pairs.items():
        merge[a, b] = c
    rows: list[list[int]] = []
    spans: list[SlowSpan] = []
    for effort in range(len(slow)):
        for profile in profiles:
            rows.append([len(spans), len(spans) + len(profile[effort])])
            spans.extend(profile[effort])
    return rows, spans, merge


def _slower(one: Sequence[SlowSpan], other: Sequence[SlowSpan]) -> tuple[SlowSpan, ...]:
    edges = sorted({edge for a, b, _ in (*one, *other) for edge in (a, b)})
    spans: list[SlowSpan] = []
    for a, b in pairwise(edges):
        rates = [rate for s, e, rate in (*one, *other) if s <= a < e]
        if rates:
            spans.append((a, b, min(rates)))
    return tuple(spans)
