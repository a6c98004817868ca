"""A day's plan by plain greedy insertion, then ruin and recreate with a cooling acceptance.

Written before the day's search was compiled and not changed after: what a careful engineer writes
in an afternoon, in plain Python on the problem's records, all in whole seconds since the horizon
began. It knows windows, blocks, shifts, overtime, breaks, skills and when they lapse, teams,
machines and their drivers, washing, ways, exclusive places, gaps, daylight, heat rest and the
prices of the weights; not bookings (locked, previous) nor what the records came to say later.

References
----------
G. Schrimpf, J. Schneider, H. Stamm-Wilbrandt, G. Dueck, "Record breaking optimization results using
the ruin and recreate principle", Journal of Computational Physics 159 (2000) 139-171 (from memory).
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from math import ceil, exp, hypot
from random import Random
from time import perf_counter

from schedules.dayplan.calc.legs import travel_legs
from schedules.dayplan.calc.problem import Job, Problem, Relation
from schedules.dayplan.calc.resources import Bucket, Interval, Machine, Person
from schedules.dayplan.calc.solution import Assignment

OnBetter = Callable[[float, float], object]  # seconds gone, cost
Spans = list[tuple[int, int]]
HOUR = 3600
FROM_START = (Relation.START_TO_START, Relation.START_TO_FINISH)
TO_END = (Relation.FINISH_TO_FINISH, Relation.START_TO_FINISH)
MOST_STARTS, MOST_MACHINES = 10, 4  # tried for a job
FIRST_HEAT, LAST_HEAT = 30.0, 0.5  # a plan worse by this much is accepted one time in e [min]


def plan(
    problem: Problem, seconds: float, seed: int, on_better: OnBetter | None = None
) -> list[Assignment]:
    """Plan a day within about so many seconds; the first plan is always finished."""
    began, rng = perf_counter(), Random(seed)
    facts = Facts(problem)
    now = Plan(facts)
    now.recreate(facts.by_need, rng, 0)
    cost = best_cost = now.cost()
    best = now.copy()
    if on_better is not None:
        on_better(perf_counter() - began, best_cost)
    while (share := (perf_counter() - began) / seconds) < 1 and facts.jobs:
        trial = now.copy()
        trial.recreate(trial.ruin(rng), rng, 0.3)
        trial_cost, heat = trial.cost(), FIRST_HEAT * (LAST_HEAT / FIRST_HEAT) ** share
        if trial_cost <= cost or rng.random() < exp((cost - trial_cost) / heat):
            now, cost = trial, trial_cost
        if cost < best_cost - 1e-6:
            best, best_cost = now.copy(), cost
            if on_better is not None:
                on_better(perf_counter() - began, best_cost)
    return best.assignments()


class Turn:
    """One shift of one person."""

    def __init__(self, facts: Facts, person: Person, shift: int) -> None:
        span = person.shifts[shift]
        self.person, self.at_first = person, person.start_place
        self.start, self.end = facts.second(span.start), facts.second(span.end)
        self.latest = facts.second(span.latest_end)
        self.breaks = sorted(facts.spans(person.breaks))
        self.until = {s.key: facts.second(s.until) if s.until else 1 << 40 for s in person.skills}

    def passed(self, at: int, needed: int) -> int:
        """Instant at which so much time has passed outside the breaks."""
        for start, end in self.breaks:
            if end > at and at + needed > start:
                needed -= max(0, start - at)
                at = end
        return at + needed

    def holds(self, job: Job, start: int, end: int) -> bool:
        """Whether the person is there, off breaks, with all skills to the end."""
        if start < self.start or end > self.latest:
            return False
        if any(start < b and a < end for a, b in self.breaks):
            return False
        return all(self.until[key] >= end for key in job.skills)


class Facts:
    """The problem in seconds: what does not change while plans do."""

    def __init__(self, problem: Problem) -> None:
        self.problem, self.weights = problem, problem.weights
        self.jobs = {job.id: job for job in problem.jobs}
        self.at = {p.key: (p.x_m, p.y_m) for p in problem.places}
        self.exclusive = {p.key for p in problem.places if p.is_exclusive}
        self.turns = [Turn(self, p, k) for p in problem.people for k in range(len(p.shifts))]
        self.machines: dict[str, Machine] = {m.id: m for m in problem.machines}
        self.available = {m.id: self.spans(m.available) for m in problem.machines}
        self.holds = {m.id: self.spans(m.holds) for m in problem.machines}
        self.open = {job.id: self._openings(job) for job in problem.jobs}
        self.due = {j.id: self.second(j.due_at) for j in problem.jobs if j.due_at}
        self.work = {job.id: round(job.duration_min * 60) for job in problem.jobs}
        self.rests = sorted(
            {
                (self.second(r.start), self.second(r.end), r)
                for p in problem.people
                for r in p.heat_rests
            },
            key=lambda rest: rest[:2],
        )
        self.way_m: dict[tuple[str, str], float] = {}
        self.walk_s_m = 60 / problem.walk_m_min
        self.machines_of = {
            j.id: [m for m in problem.machines if j.may_use(m)] for j in problem.jobs
        }
        self.turns_of = {job.id: self._turns_of(job) for job in problem.jobs}
        self.waits_of: dict[str, list[str]] = defaultdict(list)
        for job in problem.jobs:
            for dependency in job.depends_on:
                self.waits_of[dependency.on].append(job.id)
        self.last_end = {job.id: self._last_end(job.id) for job in problem.jobs}
        self.need = {job.id: self._need(job.id) for job in problem.jobs}
        self.by_need = sorted(self.jobs, key=lambda key: self.need[key])

    def second(self, at: datetime) -> int:
        return round((at - self.problem.horizon.start) / timedelta(seconds=1))

    def spans(self, intervals: Iterable[Interval]) -> Spans:
        return [(self.second(i.start), self.second(i.end)) for i in intervals]

    def way(self, a: str, b: str) -> float:
        """Way on the ground [m]."""
        if (a, b) not in self.way_m:
            (ax, ay), (bx, by) = self.at[a], self.at[b]
            self.way_m[a, b] = hypot(ax - bx, ay - by) * self.problem.detour_factor
        return self.way_m[a, b]

    def end_of(self, key: str, start: int) -> int:
        """End of the work with the longest rest that anybody owes in the heat."""
        effort, left, at = self.jobs[key].effort, float(self.work[key]), float(start)
        if effort is None:
            return start + self.work[key]
        edges = sorted({edge for a, b, _ in self.rests for edge in (a, b) if edge > start})
        for edge in edges:
            owed = (r.rest_min_per_h(effort) for a, b, r in self.rests if a <= at < b)
            work_frac = 1 - max(owed, default=0) / 60
            if left <= (edge - at) * work_frac:
                return ceil(at + left / work_frac)
            left, at = left - (edge - at) * work_frac, edge
        return ceil(at + left)

    def _openings(self, job: Job) -> Spans:
        """When all of the job may be done, whoever does it: its windows less the blocks."""
        (day,) = self.spans((self.problem.horizon,))
        spans: Spans = [(max(a, day[0]), min(b, day[1])) for a, b in self.spans(job.windows)]
        if job.is_daylight_only:
            light = self.spans(self.problem.daylight)
            spans = [(max(a, c), min(b, d)) for a, b in spans for c, d in light]
        for block in self.problem.blocks:
            if block.place in job.places:
                c, d = self.second(block.start), self.second(block.end)
                parts = [part for a, b in spans for part in ((a, min(b, c)), (max(a, d), b))]
                spans = sorted({(a, b) for a, b in parts if b - a >= job.duration_min * 60})
        return sorted((a, b) for a, b in spans if b - a >= job.duration_min * 60)

    def _turns_of(self, job: Job) -> list[int]:
        """Turns that could do the job at some time, by hand or as a driver."""
        found = []
        for number, turn in enumerate(self.turns):
            meets = any(a < turn.latest and turn.start < b for a, b in self.open[job.id])
            if meets and all(key in turn.until for key in job.skills):
                found.append(number)
        return found

    def _last_end(self, key: str) -> int:
        """Latest end that leaves time for what waits for the job's end."""
        latest = max((b for _, b in self.open[key]), default=0)
        for other in self.waits_of[key]:
            (d,) = (d for d in self.jobs[other].depends_on if d.on == key)
            if d.relation is Relation.FINISH_TO_START:
                most = self._last_end(other) - self.work[other] - ceil(d.min_gap_min * 60)
                latest = min(latest, most)
        return latest

    def _need(self, key: str) -> tuple[float, float]:
        """Priority and latest start, no later than those of what waits for the job."""
        latest = max((b for _, b in self.open[key]), default=0) - self.work[key]
        own: list[tuple[float, float]] = [(self.jobs[key].priority, latest)]
        own += [self._need(other) for other in self.waits_of[key]]
        return min(rank for rank, _ in own), min(latest for _, latest in own)


class Plan:
    """Who does what, with what and when; `routes` are the jobs of turns, machines and places."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.start: dict[str, int] = {}
        self.end: dict[str, int] = {}
        self.team: dict[str, tuple[int, ...]] = {}
        self.machine: dict[str, str | None] = {}
        self.routes: defaultdict[int | str, list[tuple[int, str]]] = defaultdict(list)

    def copy(self) -> Plan:
        twin = Plan(self.facts)
        twin.start, twin.end = dict(self.start), dict(self.end)
        twin.team, twin.machine = dict(self.team), dict(self.machine)
        twin.routes.update((key, list(route)) for key, route in self.routes.items())
        return twin

    # Routes.

    def _keys(self, key: str) -> Iterator[int | str]:
        yield from self.team[key]
        machine = self.machine[key]
        if machine is not None:
            yield f"machine {machine}"
        yield from self.facts.exclusive.intersection(self.facts.jobs[key].places)

    def _beside(self, route: int | str, at: int) -> tuple[str | None, str | None]:
        """Jobs of a route before and from an instant on."""
        jobs = self.routes[route]
        i = bisect_left(jobs, (at, ""))
        return jobs[i - 1][1] if i else None, jobs[i][1] if i < len(jobs) else None

    def put(self, key: str, start: int, team: tuple[int, ...], machine: str | None) -> None:
        self.start[key], self.end[key] = start, self.facts.end_of(key, start)
        self.team[key], self.machine[key] = team, machine
        for route in self._keys(key):
            insort(self.routes[route], (start, key))

    def take(self, key: str) -> list[str]:
        """Take a job out, with all that waits for it or can no longer be reached in time."""
        if key not in self.start:
            return []
        start, routes, taken = self.start[key], list(self._keys(key)), [key]
        self._lift(key)
        for other in self.facts.waits_of[key]:
            taken += self.take(other)
        for route in routes:
            follower = self._beside(route, start)[1]
            if follower is not None and not self._is_reached(follower):
                taken += self.take(follower)
            if isinstance(route, str) and route.startswith("machine "):
                for _, later in list(self.routes[route]):
                    if later in self.start and not self._is_reached(later):
                        taken += self.take(later)
        return taken

    def _lift(self, key: str) -> None:
        for route in self._keys(key):
            self.routes[route].remove((self.start[key], key))
        del self.start[key], self.end[key], self.team[key], self.machine[key]

    def ruin(self, rng: Random) -> list[str]:
        """Take out jobs near one in time and place, or of its people; give all that are missing."""
        facts = self.facts
        missing = [key for key in facts.jobs if key not in self.start]
        late = [key for key in self.start if self._late_cost(key, self.end[key]) > 0]
        pools = [pool for pool in (missing, late) if pool and rng.random() < 0.4]
        seed = rng.choice(pools[0] if pools else list(facts.jobs))
        near = sorted(self.start, key=lambda key: self._distance(seed, key) * (0.5 + rng.random()))
        taken = []
        for key in near[: rng.randint(2, 14)]:
            taken += self.take(key)
        some = rng.sample(missing, min(len(missing), 5))
        return [*({seed} - {*taken, *some} - self.start.keys()), *some, *taken]

    def _distance(self, seed: str, key: str) -> float:
        """How little two jobs have to do with each other: minutes apart in time and on the way."""
        facts = self.facts
        at = self.start.get(seed, facts.open[seed][0][0] if facts.open[seed] else 0)
        apart = abs(self.start[key] - at) / 60
        way_min = facts.way(facts.jobs[seed].place, facts.jobs[key].place) / 80
        shares = set(self.team.get(seed, ())) & set(self.team[key])
        return (apart + 3 * way_min) * (0.4 if shares else 1)

    def cost(self) -> float:
        """Price of the plan, as the score has it."""
        weights, jobs = self.facts.weights, self.facts.problem.jobs
        total = sum(weights.left_out[j.priority - 1] for j in jobs if j.id not in self.start)
        for key, end in self.end.items():
            total += self._late_cost(key, end)
            total += self._crew_cost(self.facts.jobs[key], self.team[key])
            total += sum(way_min for _, way_min in self._legs(key)) * weights.travel_per_min
        for number, turn in enumerate(self.facts.turns):
            last = max((self.end[key] for _, key in self.routes[number]), default=0)
            total += weights.overtime_per_min * max(0, last - turn.end) / 60
        return total

    def assignments(self) -> list[Assignment]:
        """The plan as records."""
        begins, turns = self.facts.problem.horizon.start, self.facts.turns
        bare = [
            Assignment(
                key,
                tuple(turns[n].person.id for n in self.team[key]),
                self.machine[key],
                begins + timedelta(seconds=start),
                begins + timedelta(seconds=self.end[key]),
            )
            for key, start in self.start.items()
        ]
        legs = travel_legs(self.facts.problem, bare)
        return [replace(a, travel_min=sum(g.travel_min for g in legs[a.job])) for a in bare]

    # Ways to a job.

    def _is_in_time(self, key: str) -> bool:
        """Whether the job and all that come after it in its routes can be reached."""
        start, machine = self.start[key], self.machine[key]
        nexts = {self._beside(route, start + 1)[1] for route in self._keys(key)}
        if machine is not None:
            nexts.update(later for at, later in self.routes[f"machine {machine}"] if at > start)
        return all(self._is_reached(other) for other in (key, *nexts) if other is not None)

    def _is_reached(self, key: str) -> bool:
        return all(ready <= self.start[key] for ready, _ in self._legs(key))

    def _legs(self, key: str) -> Iterator[tuple[int, float]]:
        """Earliest start and minutes on the way, for each of the team and a machine brought in."""
        machine, start = self.machine[key], self.start[key]
        is_driven = machine is not None and self.facts.jobs[key].is_driven
        for seat, turn in enumerate(self.team[key]):
            drives = machine if is_driven and seat == 0 else None
            yield self._leg(key, start, turn, self._beside(turn, start)[0], drives)
        if machine is not None and not is_driven:
            yield self._leg(key, start, None, None, machine)

    def _leg(
        self,
        key: str,
        start: int,
        turn: int | None,
        before: str | None,
        machine: str | None,
        machine_before: str | None = "",
    ) -> tuple[int, float]:
        """One of the team on the way to a job; the machine's job before it unless told: its own."""
        facts, job = self.facts, self.facts.jobs[key]
        walker = None if turn is None else facts.turns[turn]
        here = facts.jobs[before].place if before else walker.at_first if walker else ""
        at = self.end[before] if before else walker.start if walker else -(1 << 40)
        if machine is None:
            assert walker is not None
            walk_min = facts.way(here, job.place) / facts.problem.walk_m_min
            return walker.passed(at, ceil(walk_min * 60)), walk_min
        record = facts.machines[machine]
        if machine_before == "":
            machine_before = self._beside(f"machine {machine}", start)[0]
        stands = facts.jobs[machine_before].place if machine_before else record.start_place
        drive_min = facts.way(stands, job.place) / record.speed_m_min
        extra_min = drive_min + self._wash_min(job, machine, start, machine_before)
        known = [a for a, _ in facts.available[machine] if a <= start]
        known += [b for _, b in facts.holds[machine] if b <= start]
        known += [self.end[machine_before]] if machine_before else []
        if walker is None:
            return max(known) + ceil(extra_min * 60), 0
        if before is None or before != machine_before:
            extra_min += record.hookup_min
        walk_min = facts.way(here, stands) / facts.problem.walk_m_min
        at = max(walker.passed(at, ceil(walk_min * 60)), *known)
        return walker.passed(at, ceil(extra_min * 60)), walk_min + drive_min

    def _wash_min(self, job: Job, machine: str, start: int, before: str | None) -> float:
        if job.bucket is not Bucket.CLEAN:
            return 0
        last = self.facts.machines[machine].last_bucket
        earlier = [key for at, key in self.routes[f"machine {machine}"] if at < start]
        for key in earlier if before is None or before in earlier else (*earlier, before):
            last = self.facts.jobs[key].bucket or last
        return self.facts.problem.wash_min if last is Bucket.DIRTY else 0

    # Insertion.

    def recreate(self, missing: Sequence[str], rng: Random, noise: float) -> None:
        """Put jobs in by need, or now and then in any order, what is waited for first."""
        pending = set(missing)
        order = list(missing) if noise and rng.random() < 0.4 else []
        for key in order or sorted(missing, key=lambda key: self.facts.need[key]):
            self._recreate_one(key, pending, rng, noise)

    def _recreate_one(self, key: str, pending: set[str], rng: Random, noise: float) -> None:
        if key not in pending:
            return
        pending.discard(key)
        for dependency in self.facts.jobs[key].depends_on:
            self._recreate_one(dependency.on, pending, rng, noise)
        self._insert(key, rng, noise)

    def _insert(self, key: str, rng: Random, noise: float) -> None:
        """Put a job where it costs least, of some starts."""
        bounds = self._bounds(key)
        if not bounds:
            return
        starts = self._starts(key, bounds)
        if len(starts) > MOST_STARTS:
            starts = sorted((starts[0], *rng.sample(starts[1:], MOST_STARTS - 1)))
        if noise:
            starts += [rng.randint(a, max(a, b - self.facts.work[key])) for a, b in bounds[:2]]
        best = 1e18
        found: list[tuple[float, int, tuple[int, ...], str]] = []
        for start in starts:
            end = self.facts.end_of(key, start)
            own = self._late_cost(key, end) + 1e-4 * (start - starts[0]) / 60
            own += rng.random() * noise * 10
            if own < best and self._fits(key, start, end):
                team = self._team(key, start, end)
                if team is not None:
                    best = min(best, own + team[0])
                    found.append((own + team[0], start, team[1], team[2] or ""))
        for _, start, people, machine in sorted(found):
            self.put(key, start, people, machine or None)
            if self._is_in_time(key):
                return
            self._lift(key)

    def _late_cost(self, key: str, end: int) -> float:
        late_min = max(0, end - self.facts.due.get(key, end)) / 60
        return self.facts.weights.late_per_min * late_min

    def _bounds(self, key: str) -> Spans:
        """When the job may run from first start to last end, by what it waits for."""
        least, most, work = -(1 << 40), 1 << 40, self.facts.work[key]
        for d in self.facts.jobs[key].depends_on:
            if d.on not in self.start:
                return []
            since = self.start[d.on] if d.relation in FROM_START else self.end[d.on]
            to_end = d.relation in TO_END
            least = max(least, ceil(since + d.min_gap_min * 60) - (work if to_end else 0))
            if d.max_gap_min is not None:
                latest = int(since + d.max_gap_min * 60)
                most = min(most, latest if to_end else latest + work)
        most = min(most, self.facts.last_end[key])
        spans = [(max(a, least), min(b, most)) for a, b in self.facts.open[key]]
        return [(a, b) for a, b in spans if b - a >= work]

    def _fits(self, key: str, start: int, end: int) -> bool:
        """Whether the places and what it waits for allow the job from `start` to `end`."""
        job = self.facts.jobs[key]
        if not any(a <= start and end <= b for a, b in self.facts.open[key]):
            return False
        for place in self.facts.exclusive.intersection(job.places):
            before, after = self._beside(place, start)
            if (before and self.end[before] > start) or (after and self.start[after] < end):
                return False
        for d in job.depends_on:
            since = self.start[d.on] if d.relation in FROM_START else self.end[d.on]
            gap = (end if d.relation in TO_END else start) - since
            if gap < d.min_gap_min * 60:
                return False
            if d.max_gap_min is not None and gap > d.max_gap_min * 60:
                return False
        return True

    def _starts(self, key: str, bounds: Spans) -> list[int]:
        """First starts in the gaps of people, machines and places."""
        facts, work, walk_s = self.facts, self.facts.work[key], self.facts.walk_s_m
        job, first, last = facts.jobs[key], bounds[0][0], max(b for _, b in bounds) - work
        frees = {a for a, _ in bounds} | {b - work for _, b in bounds}
        for number in facts.turns_of[key]:
            turn = facts.turns[number]
            way_m = facts.way(turn.at_first, job.place)
            frees.add(turn.passed(turn.start, ceil(way_m * walk_s)))
            frees.update(end for _, end in turn.breaks)
            for other in self._ending(number, first - HOUR, last):
                way_m = facts.way(facts.jobs[other].place, job.place)
                frees.add(turn.passed(self.end[other], ceil(way_m * walk_s)))
        wash_s = ceil(facts.problem.wash_min * 60) if job.bucket is Bucket.CLEAN else 0
        for machine in facts.machines_of[key]:
            frees.update(a for a, _ in facts.available[machine.id])
            frees.update(b for _, b in facts.holds[machine.id])
            for other in self._ending(f"machine {machine.id}", first - HOUR, last):
                way_m = facts.way(facts.jobs[other].place, job.place)
                there = self.end[other] + ceil(way_m / machine.speed_m_min * 60)
                frees.update((there, there + wash_s))
        for place in facts.exclusive.intersection(job.places):
            frees.update(self.end[other] for other in self._ending(place, first, last))
        return sorted(at for at in frees if any(a <= at <= b - work for a, b in bounds))

    def _ending(self, route: int | str, first: int, last: int) -> list[str]:
        """Jobs of a route that end between two instants."""
        return [key for at, key in self.routes[route] if at < last and self.end[key] >= first]

    def _team(
        self, key: str, start: int, end: int
    ) -> tuple[float, tuple[int, ...], str | None] | None:
        """Cheapest people and machine for a job at an instant."""
        job = self.facts.jobs[key]
        free = [n for n in self.facts.turns_of[key] if self._is_free(n, key, start, end)]
        walkers = []
        if job.n_people > 1 or not job.is_driven:
            costs = ((self._person_cost(key, start, end, n), n) for n in free)
            walkers = sorted((cost, n) for cost, n in costs if cost is not None)
        machines = self._near_machines(key, start, end) if job.needs_machine else [None]
        best: tuple[float, tuple[int, ...], str | None] | None = None
        for machine in machines:
            drivers: list[tuple[float, int]] = [(0.0, -1)]
            if machine is not None:
                drivers = self._drivers(key, start, end, machine, free)
            for cost, driver in drivers:
                rest = [w for w in walkers if w[1] != driver]
                rest = rest[: job.n_people - (driver >= 0)]
                team = tuple(n for n in (driver, *(n for _, n in rest)) if n >= 0)
                if len({self.facts.turns[n].person.id for n in team}) < job.n_people:
                    continue
                total = cost + sum(c for c, _ in rest) + self._crew_cost(job, team)
                if best is None or total < best[0]:
                    best = total, team, machine
        return best

    def _is_free(self, turn: int, key: str, start: int, end: int) -> bool:
        if not self.facts.turns[turn].holds(self.facts.jobs[key], start, end):
            return False
        before, after = self._beside(turn, start)
        is_done = before is None or self.end[before] <= start
        return is_done and (after is None or self.start[after] >= end)

    def _is_machine_free(self, machine: str, start: int, end: int) -> bool:
        if not any(a <= start and end <= b for a, b in self.facts.available[machine]):
            return False
        if any(a < end and start < b for a, b in self.facts.holds[machine]):
            return False
        before, after = self._beside(f"machine {machine}", start)
        is_done = before is None or self.end[before] <= start
        return is_done and (after is None or self.start[after] >= end)

    def _near_machines(self, key: str, start: int, end: int) -> list[str | None]:
        """Nearest machines that are free and could be there."""
        near: list[tuple[float, str | None]] = []
        for machine in self.facts.machines_of[key]:
            if not self._is_machine_free(machine.id, start, end):
                continue
            if self._leg(key, start, None, None, machine.id)[0] <= start:
                before = self._beside(f"machine {machine.id}", start)[0]
                stands = self.facts.jobs[before].place if before else machine.start_place
                near.append((self.facts.way(stands, self.facts.jobs[key].place), machine.id))
        return [machine for _, machine in sorted(near)[:MOST_MACHINES]]

    def _crew_cost(self, job: Job, team: tuple[int, ...]) -> float:
        crew, turns = job.preferred_crew, self.facts.turns
        is_off = crew is not None and any(turns[n].person.crew != crew for n in team)
        return self.facts.weights.off_crew_per_job * is_off

    def _person_cost(
        self, key: str, start: int, end: int, turn: int, machine: str | None = None
    ) -> float | None:
        """Ways and overtime that one more job means for a person; none: it cannot be."""
        facts, record = self.facts, self.facts.turns[turn]
        before, after = self._beside(turn, start)
        ready, way_min = self._leg(key, start, turn, before, machine)
        if ready > start:
            return None
        last = self.end[self.routes[turn][-1][1]] if self.routes[turn] else record.end
        overtime = max(0, end - max(record.end, last)) / 60
        if after is None:
            return (
                way_min * facts.weights.travel_per_min + overtime * facts.weights.overtime_per_min
            )
        is_driver = self.team[after][0] == turn and facts.jobs[after].is_driven
        drives = self.machine[after] if is_driver else None
        old_min = self._leg(after, self.start[after], turn, before, drives)[1]
        ready, next_min = self._with(key, start, end, machine, after, turn, drives)
        if ready > self.start[after]:
            return None
        return (way_min + next_min - old_min) * facts.weights.travel_per_min

    def _with(
        self,
        key: str,
        start: int,
        end: int,
        machine: str | None,
        after: str,
        turn: int | None,
        drives: str | None,
    ) -> tuple[int, float]:
        """Leg to the job `after` with the new one before it."""
        self.end[key] = end  # for this look only
        is_same = machine is not None and drives == machine
        is_next = is_same and self._beside(f"machine {machine}", start)[1] == after
        try:
            if is_next:
                return self._leg(after, self.start[after], turn, key, drives, key)
            return self._leg(after, self.start[after], turn, key, drives)
        finally:
            del self.end[key]

    def _drivers(
        self, key: str, start: int, end: int, machine: str, free: list[int]
    ) -> list[tuple[float, int]]:
        """Who could drive a machine to a job in time, with what that costs; -1: nobody must."""
        cost, after, is_late = self._next_of_machine(key, start, end, machine)
        if not self.facts.jobs[key].needs_driver:
            return [] if is_late else [(cost, -1)]
        found, skill = [], self.facts.machines[machine].driver_skill
        for turn in free:
            if skill and self.facts.turns[turn].until.get(skill, -1) < end:
                continue
            own = self._person_cost(key, start, end, turn, machine)
            drives_on = after is not None and self._beside(turn, start)[1] == after
            drives_on = drives_on and turn in self.team[after or ""][:1]
            if own is not None and (drives_on or not is_late):
                found.append((own + (0 if drives_on else cost), turn))
        return found

    def _next_of_machine(
        self, key: str, start: int, end: int, machine: str
    ) -> tuple[float, str | None, bool]:
        """What the job costs the machine's next one, which that is, and whether it comes late."""
        route, facts = f"machine {machine}", self.facts
        after = self._beside(route, start)[1]
        if after is None:
            return 0, None, False
        turn = self.team[after][0] if facts.jobs[after].is_driven else None
        before = None if turn is None else self._beside(turn, self.start[after])[0]
        old_min = self._leg(after, self.start[after], turn, before, machine)[1]
        self.end[key] = end  # for this look only
        insort(self.routes[route], (start, key))
        ready, new_min = self._leg(after, self.start[after], turn, before, machine)
        self.routes[route].remove((start, key))
        del self.end[key]
        cost = (new_min - old_min) * facts.weights.travel_per_min
        return cost, after, ready > self.start[after]
