"""One search: first plan by insertion, then ruin and recreate under a falling temperature.

Ways to ruin and orders to recreate in are drawn by weights that follow what they brought. What is
compiled does the looking; here it is decided what to look at, so that little has to be compiled.

References
----------
S. Ropke, D. Pisinger, "An adaptive large neighborhood search heuristic for the pickup and delivery
problem with time windows", Transportation Science 40 (2006) 455-472, doi:10.1287/trsc.1050.0135
(from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator
from heapq import heapify, heappop, heappush
from math import exp, inf, log
from random import Random

from schedules.dayplan.calc.instance import Task
from schedules.dayplan.calc.problem import Booking
from schedules.dayplan.calc.search import layout as o
from schedules.dayplan.calc.search.calls import put_in, take_out, take_out_chosen, tidy_calls
from schedules.dayplan.calc.search.duty import leave_at, load_line
from schedules.dayplan.calc.search.insert import find_gap
from schedules.dayplan.calc.search.layout import NEVER, NONE, Ints
from schedules.dayplan.calc.search.lines import put_on
from schedules.dayplan.calc.search.mix import Lines, is_apart
from schedules.dayplan.calc.search.reach import ready_by_lines
from schedules.dayplan.calc.search.ruin import N_WAYS, choose
from schedules.dayplan.calc.search.scratch import (
    AT_BEST_CL,
    AT_CL,
    AT_CP,
    NEAR,
    R_BLINK,
    R_EARLY,
    R_NOISE,
    TRIED,
    TRIED_START,
    W_FAILED,
    W_N_LOG,
    W_N_NEAR,
    at,
    new_scratch,
)
from schedules.dayplan.calc.search.slack import (
    clear_queue,
    loosen,
    propagate,
)
from schedules.dayplan.calc.search.tables import Tables, units_of
from schedules.dayplan.calc.search.total import total_cost
from schedules.dayplan.calc.solution import Assignment

Rank = Callable[[int], float]

# Of what a job costs at the mean, leaving aside what is left out: a plan worse by so much is at
# first and at last accepted about one time in three. Common practice, no source.
_HOT, _COLD = 0.5, 0.005
# The same where time on duty is priced: moves then cost whole ways and waits. Common practice, no
# source, tried on one published day.
_HOT_ON_DUTY, _COLD_ON_DUTY = 2.0, 0.05
_MOST_WANTED = 8  # jobs left out that each recreation tries again
_NOISE = 6.0  # the greatest noise on a unit's price [min of walking]
_TRIES = 4  # gaps that a job is put into before it is given up
_VAIN = 25  # ruins in a row that let nothing in, before the first plan is given as it is
_BLINK = 0.03  # the greatest chance that a gap is overlooked
# What each second later costs beside a plan's prices, so that room is left for others.
_EARLY = (0.0, 0.002 / 60, 0.02 / 60, 0.2 / 60)
_MIX_UNTIL = 0.95  # of the time, so that none is under way when it is up
_SEEN = 4  # temperatures by which a plan may differ whose shifts are remembered
_MIX_STEPS = 5000  # after which shifts seen are put together anew
_GAINS = (0.0, 1.0, 4.0, 10.0)  # for nothing, accepted, better than the current, than the best


class Worker:
    """A plan and its search."""

    def __init__(self, tables: Tables, seed: int) -> None:
        self.tables, self.inst = tables, tables.inst
        self.A, self.B = tables.A, tables.B
        self.random = Random(seed)
        self.W, self.R = new_scratch(self.A, len(self.inst.units), seed)
        self.S = tables.empty_state()
        self.free = [j for j, task in enumerate(self.inst.tasks) if task.locked is None]
        self._place_locked()
        self.best = self.S.copy()
        self.cost = self.best_cost = 0.0
        self.n_steps = 0
        self.is_first = True
        self.hot = 1.0
        self.seen = Lines(tables) if is_apart(tables.problem) else None
        self.mixes_at = _MIX_STEPS
        self.has_duty = tables.problem.weights.duty_per_min > 0
        tasks, waits = self.inst.tasks, self.seen is None  # else it would make room for nobody
        self.leaders = [[lag.other for lag in task.waits_for] for task in tasks]
        self.followers = [[lag.other for lag in task.awaited_by] for task in tasks]
        self.waiting = [_chance_to_wait(task) if waits else 0.0 for task in tasks]
        self.ways, self.orders = [1.0] * N_WAYS, [1.0] * len(self._orders())

    # The whole search -------------------------------------------------------------------------

    def begin(self) -> None:
        """Make the first plan: what the last one had, where it still fits, then the rest."""
        tasks = self.inst.tasks
        before = [(t.previous.start, j) for j, t in enumerate(tasks) if t.previous and not t.locked]
        for _, j in sorted(before):
            self._insert_from(j, -NEVER, is_as_before=True)
        self.R[R_EARLY] = _EARLY[-1]
        self.recreate([j for j in self.free if not self.has(j)], self._by_rank)
        self.drop_orphans(self._missing(self.S))
        self.cost = self.best_cost = self._total()
        self.best[:] = self.S
        out = sum(tasks[j].left_out_cost for j in self.left_out())
        n_in = len(tasks) - len(self.left_out())
        self.hot = max(0.1, (self.cost - out) / max(1, n_in))

    def begin_like(self, other: Worker) -> None:
        """Begin with the plan that another search has made, and go on from it in another way."""
        self.S[:], self.best[:] = other.best, other.best
        self.cost = self.best_cost = other.best_cost
        self.hot, self.is_first = other.hot, False

    def admit(self) -> None:
        """Ruin for what the first plan leaves out, until it has all or ruins let nothing in."""
        self.is_first = False
        n_vain = 0
        while n_vain < _VAIN and (wanted := self._wanted()):
            before = self.best_cost
            self._step(0.0, self._dear(wanted), wanted)
            n_vain = 0 if self.best_cost < before - 1e-6 else n_vain + 1

    def go_on(self, n_steps: int, share: float) -> None:
        """Ruin and recreate so often, when this share of the time is gone."""
        hot, cold = (_HOT_ON_DUTY, _COLD_ON_DUTY) if self.has_duty else (_HOT, _COLD)
        temperature = self.hot * exp(log(hot) + share * (log(cold) - log(hot)))
        for _ in range(n_steps):
            self.n_steps += 1
            wanted = self._wanted()
            self._step(temperature, self._seed(wanted), wanted)
        if self.seen is not None and self.n_steps >= self.mixes_at and share < _MIX_UNTIL:
            self.mixes_at = self.n_steps + _MIX_STEPS
            self._mix(self.seen)

    def _mix(self, seen: Lines) -> None:
        """Put the shifts seen together anew, and go on from there if that is better than all."""
        seen.add(self.B, self.best, self.W)
        state = seen.put_together(self.W, set(self.left_out()))
        cost = inf if state is None else float(total_cost(self.A, self.B, state, self.W))
        if state is not None and cost < self.best_cost - 1e-6:
            self.S, self.cost, self.best_cost = state, cost, cost
            self.best[:] = state

    def _step(self, temperature: float, seed: int, wanted: list[int]) -> None:
        way, order = self._drawn(self.ways), self._drawn(self.orders)
        before = self.S.copy()
        gain = 0
        if self._rework(seed, way, self._orders()[order], wanted):
            cost = self._total()
            if self.seen is not None and 1e-6 < abs(cost - self.cost) < _SEEN * temperature:
                self.seen.add(self.B, self.S, self.W)
            if cost < self.cost - temperature * log(1 - self.random.random()):
                gain = 1 if cost >= self.cost - 1e-9 else 2
                self.cost = cost
            if cost < self.best_cost - 1e-6:
                gain = 3
                self.best[:] = self.S
                self.cost = self.best_cost = cost
        if gain == 0:
            self.S = before
        self.ways[way] = max(0.1, 0.98 * self.ways[way] + 0.02 * _GAINS[gain])
        self.orders[order] = max(0.1, 0.98 * self.orders[order] + 0.02 * _GAINS[gain])

    def _drawn(self, weights: list[float]) -> int:
        rest = self.random.random() * sum(weights)
        for i, weight in enumerate(weights):
            rest -= weight
            if rest < 0:
                return i
        return len(weights) - 1

    def _total(self) -> float:
        return float(total_cost(self.A, self.B, self.S, self.W))

    # Ruin and recreate ------------------------------------------------------------------------

    def _rework(self, seed: int, way: int, order: Rank, wanted: list[int]) -> bool:
        """Ruin and recreate once; False when the plan is then of no use."""
        choose(self.A, self.S, self.W, way, seed)
        take_out_chosen(self.A, self.S, self.W)
        first = int(at(self.W, NEAR))
        pool = self.W[first : first + int(self.W[W_N_NEAR])].tolist()
        if not self._settle(pool):
            return False
        again = self.random.sample(wanted, min(len(wanted), _MOST_WANTED))
        # With duty priced, a gap's cost is exact: noise would only blur it, and waiting is told.
        noise = 0 if self.has_duty else _NOISE * self.random.random() * self.random.random()
        n_units = len(self.inst.units)
        self.R[R_NOISE : R_NOISE + n_units] = [noise * self.random.random() for _ in range(n_units)]
        self.R[R_BLINK] = _BLINK * self.random.random()
        self.R[R_EARLY] = 0 if self.has_duty else self.random.choice(_EARLY)
        ranks = {j: order(j) for j in {*pool, *again}}
        ranks[seed] = -1e18
        self.recreate(ranks, ranks.__getitem__)
        return self.drop_orphans(j for j in ranks if not self.has(j))

    def _seed(self, wanted: list[int]) -> int:
        """Choose a job left out, dear ones rather, or any."""
        if wanted and self.random.random() < 0.6:
            return self._dear(wanted)
        return self.random.choice(self.free)

    def _dear(self, wanted: list[int]) -> int:
        prices = [self.inst.tasks[j].left_out_cost * self.random.random() for j in wanted]
        return wanted[prices.index(max(prices))]

    def _wanted(self) -> list[int]:
        """Return what is left out and some plan might hold."""
        return [j for j in self._missing(self.S) if not self.is_hopeless(j)]

    def _orders(self) -> tuple[Rank, ...]:
        """Return the orders in which jobs may be put back."""
        chance, tasks = self.random.random, self.inst.tasks
        return (
            self._by_rank,
            lambda _: chance(),
            lambda j: tasks[j].latest_start * (0.9 + 0.2 * chance()),
            lambda j: -tasks[j].left_out_cost * (0.8 + 0.4 * chance()),
            lambda j: -tasks[j].work * tasks[j].n_people * (0.8 + 0.4 * chance()),
        )

    def _by_rank(self, j: int) -> float:
        task = self.inst.tasks[j]
        return task.rank * 1e9 + min(task.latest_start, 1e8)

    def recreate(self, jobs: Collection[int], rank: Rank) -> None:
        """Put jobs back by rank, none before those of them that it waits for."""
        pool = set(jobs)
        n_waits = {j: sum(other in pool for other in self.leaders[j]) for j in pool}
        queue = [(rank(j), j) for j in pool if n_waits[j] == 0]
        heapify(queue)
        while queue:
            _, j = heappop(queue)
            if not self.has(j):
                self.insert(j, self._not_before(j))
            for other in self.followers[j]:
                if other in pool:
                    n_waits[other] -= 1
                    if n_waits[other] == 0:
                        heappush(queue, (rank(other), other))

    def _not_before(self, j: int) -> int:
        """Return now and then an instant to try from that is later than the first possible."""
        if self.is_first or self.random.random() >= self.waiting[j]:
            return -NEVER
        task = self.inst.tasks[j]
        start, end = self.random.choice(task.openings)
        return self.random.randint(start, max(start, end - task.work))

    def _settle(self, pool: list[int]) -> bool:
        """Let the plan close up after removals; what can be reached no more is removed too.

        Returns False when that would be a locked job.
        """
        self.W[W_N_LOG] = 0
        self._tidy_calls(pool)
        while not propagate(self.A, self.S, self.W):
            failed = int(self.W[W_FAILED])
            if self.inst.tasks[failed].locked is not None:
                clear_queue(self.A, self.W)
                return False
            take_out(self.A, self.S, self.W, failed)
            pool.append(failed)
            self._tidy_calls(pool)
        loosen(self.A, self.S, self.W, NONE)
        return True

    def _tidy_calls(self, pool: list[int]) -> None:
        """Drop calls that serve nobody any more, and take out jobs that now lack something."""
        while (j := tidy_calls(self.A, self.S, self.W)) >= 0:
            take_out(self.A, self.S, self.W, j)
            pool.append(j)

    def drop_orphans(self, missing: Iterable[int]) -> bool:
        """Take out jobs that wait for one left out; False if a locked job is then missed."""
        missing = list(missing)
        while missing:
            orphans = {lag.other for j in missing for lag in self.inst.tasks[j].awaited_by}
            missing = [j for j in orphans if self.has(j) and self.inst.tasks[j].locked is None]
            for j in missing:
                take_out(self.A, self.S, self.W, j)
            if missing and not self._settle(missing):
                return False
        return True

    # One job ----------------------------------------------------------------------------------

    def insert(self, j: int, not_before: int) -> bool:
        """Put a job where it adds least; whether that could be done."""
        first = max(-NEVER, not_before, self.inst.tasks[j].first_useful)
        return self._insert_from(j, first) or (
            first > not_before and self._insert_from(j, not_before)
        )

    def _insert_from(self, j: int, held: int, *, is_as_before: bool = False) -> bool:
        """Put a job in from an instant on; where the gap does not hold, some others are tried."""
        A, B, S, W, R = self.A, self.B, self.S, self.W, self.R
        blink = R[R_BLINK]
        for _ in range(1 if is_as_before else _TRIES):
            if not find_gap(A, B, S, W, R, j, held, is_as_before):
                break
            if put_in(A, S, W, j):
                R[R_BLINK] = blink
                return True
            R[R_BLINK] = 0.5  # so that it is not the same gap again
        R[R_BLINK] = blink
        return False

    # What it holds ----------------------------------------------------------------------------

    def has(self, j: int) -> bool:
        """Whether the plan worked on has a job."""
        return bool(self.S[j * o.STATE_WIDTH + o.S_MODE] >= 0)

    def is_hopeless(self, j: int) -> bool:
        """Whether no plan can hold a job."""
        return j in self.tables.hopeless

    def left_out(self) -> list[int]:
        """Return the jobs that the best plan leaves out."""
        return self._missing(self.best)

    def _missing(self, state: Ints) -> list[int]:
        modes = state[o.S_MODE : len(self.inst.tasks) * o.STATE_WIDTH : o.STATE_WIDTH]
        return (modes < 0).nonzero()[0].tolist()

    def assignments(self) -> Iterator[Assignment]:
        """Read the best plan."""
        out, shifted = set(self.left_out()), self._shifted()
        for j in range(len(self.inst.tasks)):
            if j not in out:
                yield self._assignment(j, shifted.get(j, 0))

    def _shifted(self) -> dict[int, int]:
        """By how many seconds jobs of the best plan begin later, so that people leave late."""
        if not self.has_duty:
            return {}
        A, S, W, found = self.A, self.best, self.W, {}
        for u in range(len(self.inst.units)):
            n, order, starts = load_line(A, S, W, u), int(at(W, TRIED)), int(at(W, TRIED_START))
            if n > 0:
                leave_at(A, S, W, u, n)
            for j in (int(node) // self.tables.n_slots for node in W[order : order + n]):
                later = int(W[starts + j] - S[j * o.STATE_WIDTH + o.S_START])
                if later > 0:
                    found[j] = later
        return found

    def _assignment(self, j: int, later: int) -> Assignment:
        inst, record = self.inst, self.inst.problem.jobs[j]
        if record.locked is not None:
            kept = record.locked
            return Assignment(record.id, kept.people, kept.machine, kept.start, kept.end)
        row = self.best[j * o.STATE_WIDTH : (j + 1) * o.STATE_WIDTH].tolist()
        n = int(self.A[self.A[o.AT_MODE] + row[o.S_MODE] * o.MODE_WIDTH + o.M_PEOPLE])
        first = int(self.A[o.AT_NODE]) + j * self.tables.n_slots * o.NODE_WIDTH
        units = [int(self.best[first + k * o.NODE_WIDTH + o.D_LINE]) for k in range(n)]
        problem, m, call = inst.problem, row[o.S_MACHINE], row[o.S_CALL]
        return Assignment(
            record.id,
            tuple(problem.people[inst.units[u].person].id for u in units),
            None if m < 0 else problem.machines[m].id,
            inst.instant(row[o.S_START] + later),
            inst.instant(row[o.S_END] + later),
            calls_at=None if call < 0 else problem.places[call].key,
        )

    # Locked jobs ------------------------------------------------------------------------------

    def _place_locked(self) -> None:
        """Put locked jobs on their lines, in order of time; they may overlap there."""
        inst, A, S, W = self.inst, self.A, self.S, self.W
        locked = [(inst.floor_s(t.locked.start), j) for j, t in enumerate(inst.tasks) if t.locked]
        for start, j in sorted(locked):
            booking = inst.tasks[j].locked
            assert booking is not None
            W[AT_CL:AT_BEST_CL] = NONE
            for slot, line in self._lines_of(j, booking):
                W[AT_CL + slot] = line
                W[AT_CP + slot] = S[A[o.AT_LINE] + 2 * line + 1]
            m = NONE if booking.machine is None else inst.machine_index[booking.machine]
            row = int(A[A[o.AT_JOB] + j * o.JOB_WIDTH + o.J_MODE_END])
            put_on(A, S, W, j, row, m, NONE, start, inst.ceil_s(booking.end), -NEVER)
        self._remember_overlaps()
        for start, j in locked:
            first = j * o.STATE_WIDTH
            S[first + o.S_LATEST] = S[first + o.S_ON_TIME] = start
            S[first + o.S_NOT_BEFORE] = max(start, ready_by_lines(A, S, j, start))

    def _lines_of(self, j: int, booking: Booking) -> Iterable[tuple[int, int]]:
        inst, tables = self.inst, self.tables
        start, end = inst.floor_s(booking.start), inst.ceil_s(booking.end)
        yield from enumerate(units_of(inst, booking.people, start, end))
        if booking.machine is not None:
            yield tables.n_seats, len(inst.units) + inst.machine_index[booking.machine]
        slot = tables.n_seats
        for place in inst.tasks[j].exclusive:
            slot += 1
            yield slot, len(inst.units) + len(inst.machine_free) + place
        for amount in inst.problem.jobs[j].gear:
            line, n = tables.gear_lines[amount.key]
            tails = [int(self.S[self.A[o.AT_LINE] + 2 * (line + k) + 1]) for k in range(n)]
            ends = [(tables.end_at(self.S, tail), line + k) for k, tail in enumerate(tails)]
            for _, copy in sorted(ends)[: amount.n]:
                slot += 1
                yield slot, copy

    def _remember_overlaps(self) -> None:
        """Say at each locked job's node until when its line is taken by those before it."""
        A, S = self.A, self.S
        for line in range(self.tables.n_lines):
            node, until = int(S[A[o.AT_LINE] + 2 * line]), -NEVER
            while node >= 0:
                first = int(A[o.AT_NODE]) + node * o.NODE_WIDTH
                until = max(until, self.tables.end_at(S, node))
                S[first + o.D_FREE] = until
                node = int(S[first + o.D_AFTER])


def _chance_to_wait(task: Task) -> float:
    """How often a job is tried later than it could be: often if another must follow it soon."""
    if not task.openings:
        return 0.0
    return 0.5 if any(lag.most < NEVER for lag in task.awaited_by) else 0.02
