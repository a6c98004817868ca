"""The exact model: optional intervals, no-overlap for people and places, one choice for each seat.

References
----------
K. D. Young, T. Feydy, A. Schutt, "Constraint programming applied to the multi-skill project
scheduling problem", CP 2017, LNCS 10416, 308-317: resources by skill beside the people (from
memory).
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import floor

from ortools.sat.python import cp_model

from schedules.dayplan.calc.exact.scope import beyond, grain_s
from schedules.dayplan.calc.instance import Instance, Task
from schedules.dayplan.calc.problem import Job, Relation, Seat
from schedules.dayplan.calc.solution import Assignment
from schedules.dayplan.calc.spans import NEVER, Span, common

_SCALE = 1000  # prices are whole thousandths, rounded down, so that the bound stays one
_FROM_START = (Relation.START_TO_START, Relation.START_TO_FINISH)
_TO_END = (Relation.FINISH_TO_FINISH, Relation.START_TO_FINISH)


@dataclass(frozen=True, slots=True)
class Found:
    """What the exact model came to: a plan, if it found one, and a bound that no plan beats."""

    assignments: tuple[Assignment, ...] | None
    bound_cost: float


@dataclass(slots=True)
class _Piece:
    """A job in the model."""

    start: cp_model.IntVar
    end: cp_model.LinearExpr
    is_done: cp_model.IntVar
    interval: cp_model.IntervalVar
    units: dict[int, cp_model.IntVar]
    takers: dict[Seat, dict[int, cp_model.IntVar]]


class Exact:
    """A day as a CP-SAT model; only for days with nothing `beyond` it.

    Parameters
    ----------
    inst : Instance
    all_done : bool
        Whether only plans that leave nothing out count: those are proved sooner. The bound then is
        at most the price of the cheapest job, which holds for every plan.

    Raises
    ------
    ValueError
        `inst`: it has something that the model cannot say.
    """

    def __init__(self, inst: Instance, all_done: bool) -> None:
        self.inst, self.problem, self.all_done = inst, inst.problem, all_done
        self.solver = cp_model.CpSolver()
        self.known_cost, self.known_bound = float("inf"), 0.0
        if beyond(inst):
            msg = f"inst: the day has {', '.join(sorted(beyond(inst)))}"
            raise ValueError(msg)
        self.grain = grain_s(inst.problem)
        self.model = cp_model.CpModel()
        self.costs: list[cp_model.LinearExpr | cp_model.IntVar] = []
        self.past_shift: dict[int, cp_model.IntVar] = {}
        self.on_unit: dict[int, list[cp_model.IntervalVar]] = defaultdict(list)
        self.pieces = [self._piece(j) for j in range(len(inst.tasks))]
        for j, piece in enumerate(self.pieces):
            self._seat_people(j, piece)
            self._wait(j, piece)
            self._price(j, piece)
        for intervals in self.on_unit.values():
            self.model.add_no_overlap(intervals)
        self._share()
        self.model.minimize(sum(self.costs))

    def _piece(self, j: int) -> _Piece:
        task, model = self.inst.tasks[j], self.model
        spans = [(a, b) for a, b in task.openings if b - a >= task.work]
        low = min((a for a, _ in spans), default=0) // self.grain
        high = max((b for _, b in spans), default=0) // self.grain
        work = task.work // self.grain
        start = model.new_int_var(low, max(low, high - work), "")
        is_done = model.new_constant(1) if self.all_done else model.new_bool_var("")
        interval = model.new_optional_fixed_size_interval_var(start, work, is_done, "")
        piece = _Piece(start, start + work, is_done, interval, {}, {})
        self._inside(piece, spans, is_done)
        return piece

    def _inside(self, piece: _Piece, spans: list[Span], if_so: cp_model.IntVar) -> None:
        """Keep a job inside one of some spans, if so."""
        if not spans:
            self.model.add(if_so == 0)
            return
        chosen = [if_so] if len(spans) == 1 else [self.model.new_bool_var("") for _ in spans]
        if len(spans) > 1:
            self.model.add(sum(chosen) == if_so)
        for is_in, (a, b) in zip(chosen, spans, strict=True):
            self.model.add(piece.start >= a // self.grain).only_enforce_if(is_in)
            self.model.add(piece.end <= b // self.grain).only_enforce_if(is_in)

    def _seat_people(self, j: int, piece: _Piece) -> None:
        task, model = self.inst.tasks[j], self.model
        if not task.n_people:
            return
        takers: dict[int, list[cp_model.IntVar]] = defaultdict(list)
        for seat, n in self._kinds_of_seats(j).items():
            able = {u: model.new_bool_var("") for u in self._able(j, seat)}
            piece.takers[seat] = able
            model.add(sum(able.values()) == n * piece.is_done)
            for u, takes in able.items():
                takers[u].append(takes)
        for u, several in takers.items():
            piece.units[u] = has = model.new_bool_var("")
            model.add(sum(several) == has)
            self._on_shift(j, u, piece, has)

    def _kinds_of_seats(self, j: int) -> dict[Seat, int]:
        return Counter(_seats_of(self.problem.jobs[j]))

    def _able(self, j: int, seat: Seat) -> list[int]:
        """Return the units that may take a seat, whatever the time."""
        job, inst = self.problem.jobs[j], self.inst
        asked = [(key, job.skill_level) for key in job.skills]
        asked += [(key, seat.level) for key in seat.skills]
        return [
            u
            for u in inst.tasks[j].units
            if all(self._level(u, key) >= level for key, level in asked)
        ]

    def _level(self, u: int, key: str) -> int:
        levels = self.inst.skill_levels(self.inst.units[u].person, key)
        return max((level for _, level in levels), default=0)

    def _on_shift(self, j: int, u: int, piece: _Piece, has: cp_model.IntVar) -> None:
        task, unit = self.inst.tasks[j], self.inst.units[u]
        fits = common(task.openings, unit.free)
        self._inside(piece, [(a, b) for a, b in fits if b - a >= task.work], has)
        work = task.work // self.grain
        same = self.model.new_optional_fixed_size_interval_var(piece.start, work, has, "")
        self.on_unit[u].append(same)

    def _wait(self, j: int, piece: _Piece) -> None:
        """Keep the gaps to what a job waits for, which must be done too."""
        for lag in self.inst.tasks[j].waits_for:
            other = self.pieces[lag.other]
            self.model.add_implication(piece.is_done, other.is_done)
            since = other.start if lag.relation in _FROM_START else other.end
            until = piece.end if lag.relation in _TO_END else piece.start
            least = self.model.add(until - since >= lag.least // self.grain)
            least.only_enforce_if(piece.is_done)
            if lag.most < NEVER:
                most = self.model.add(until - since <= lag.most // self.grain)
                most.only_enforce_if(piece.is_done)

    def _share(self) -> None:
        """Keep exclusive places and gear, and, beside the people, how many can do what."""
        at_place: dict[int, list[cp_model.IntervalVar]] = defaultdict(list)
        for task, piece in zip(self.inst.tasks, self.pieces, strict=True):
            for place in task.exclusive if task.work else ():
                at_place[place].append(piece.interval)
        for intervals in at_place.values():
            self.model.add_no_overlap(intervals)
        for gear in self.problem.gear:
            held = [
                (j, a.n)
                for j, job in enumerate(self.problem.jobs)
                for a in job.gear
                if a.key == gear.key and self.inst.tasks[j].work
            ]
            self._at_once(held, gear.n)
        seats = [
            (j, {self.inst.units[u].person for u in self._able(j, seat)}, n)
            for j in range(len(self.pieces))
            for seat, n in self._kinds_of_seats(j).items()
        ]
        for group in {frozenset(able) for _, able, _ in seats}:
            asked = defaultdict[int, int](int)
            for j, able, n in seats:
                asked[j] += n if able <= group else 0
            self._at_once([(j, n) for j, n in asked.items() if n], len(group))

    def _at_once(self, held: list[tuple[int, int]], most: int) -> None:
        intervals = [self.pieces[j].interval for j, _ in held]
        self.model.add_cumulative(intervals, [n for _, n in held], most)

    def _price(self, j: int, piece: _Piece) -> None:
        task, job, weights = self.inst.tasks[j], self.problem.jobs[j], self.problem.weights
        self.costs.append(floor(task.left_out_cost * _SCALE) * (1 - piece.is_done))
        per_min = weights.late_per_min if job.late_per_min is None else job.late_per_min
        if task.due < NEVER and per_min:
            self.costs.append(self._minutes_past(piece, task.due, per_min, piece.is_done, task))
        for u, has in piece.units.items():
            unit = self.inst.units[u]
            if unit.end > unit.paid_end and weights.overtime_per_min:
                self._overtime(piece, u, has)
        if task.crew is not None and weights.off_crew_per_job:
            is_off = self.model.new_bool_var("")
            for u, has in piece.units.items():
                if self.inst.units[u].crew != task.crew:
                    self.model.add_implication(has, is_off)
            self.costs.append(floor(weights.off_crew_per_job * _SCALE) * is_off)

    def _minutes_past(
        self, piece: _Piece, due: int, per_min: float, if_so: cp_model.IntVar, task: Task
    ) -> cp_model.LinearExpr:
        last = max((b for _, b in task.openings), default=due)
        past = self.model.new_int_var(0, max(0, last - due) // self.grain + 1, "")
        self.model.add(past >= piece.end - due // self.grain).only_enforce_if(if_so)
        return floor(per_min * self.grain / 60 * _SCALE) * past

    def _overtime(self, piece: _Piece, u: int, has: cp_model.IntVar) -> None:
        """A shift's overtime is that of its last job: one number a shift."""
        unit = self.inst.units[u]
        if u not in self.past_shift:
            most = (unit.end - unit.paid_end) // self.grain
            past = self.past_shift[u] = self.model.new_int_var(0, most, "")
            per_min = self.problem.weights.overtime_per_min
            self.costs.append(floor(per_min * self.grain / 60 * _SCALE) * past)
        over = self.past_shift[u] >= piece.end - unit.paid_end // self.grain
        self.model.add(over).only_enforce_if(has)

    def solve(
        self, seconds: float, seed: int, workers: int, known: Iterable[Assignment] = ()
    ) -> Found:
        """Look for the cheapest plan, and for a bound; `stop` ends it from another thread.

        Parameters
        ----------
        seconds : float
            Time after which it stops. [s]
        seed, workers : int
            Of CP-SAT.
        known : iterable of Assignment
            The plan to begin with.

        Raises
        ------
        RuntimeError
            The model is no model: a bug.
        """
        self._hint({given.job: given for given in known})
        parameters = self.solver.parameters
        parameters.max_time_in_seconds = seconds
        parameters.random_seed, parameters.num_workers = seed, workers
        self.solver.best_bound_callback = self._hear_bound
        status = self.solver.solve(self.model, _Telling(self))
        if status == cp_model.MODEL_INVALID:
            raise RuntimeError(self.model.validate() or "the hints are wrong")
        if status == cp_model.INFEASIBLE:
            return Found(None, self._capped(float("inf")))
        self._hear_bound(self.solver.best_objective_bound)
        is_found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
        return Found(tuple(self._read()) if is_found else None, self.known_bound)

    def stop(self) -> None:
        """End the search; the best plan stays."""
        self.solver.stop_search()

    def _hear_bound(self, scaled: float) -> None:
        self.known_bound = self._capped(scaled / _SCALE)

    def _capped(self, bound: float) -> float:
        cheapest = min((task.left_out_cost for task in self.inst.tasks), default=0.0)
        return max(0.0, min(bound, cheapest) if self.all_done else bound)

    def _hint(self, known: dict[str, Assignment]) -> None:
        for job, piece in zip(self.problem.jobs, self.pieces, strict=True):
            given = known.get(job.id)
            if not self.all_done:
                self.model.add_hint(piece.is_done, given is not None)
            if given is None:
                continue
            self.model.add_hint(piece.start, self.inst.floor_s(given.start) // self.grain)
            persons = {self.inst.person_index[key] for key in given.people}
            at = self.inst.floor_s(given.start)
            for u, has in piece.units.items():
                unit = self.inst.units[u]
                is_on = unit.person in persons and unit.start <= at < unit.end
                self.model.add_hint(has, is_on)

    def _read(self) -> Iterator[Assignment]:
        inst, solver = self.inst, self.solver
        for job, task, piece in zip(self.problem.jobs, inst.tasks, self.pieces, strict=True):
            if solver.boolean_value(piece.is_done):
                start = solver.value(piece.start) * self.grain
                begins, ends = inst.instant(start), inst.instant(start + task.work)
                yield Assignment(job.id, self._people(job, piece), None, begins, ends)

    def _people(self, job: Job, piece: _Piece) -> tuple[str, ...]:
        """Return who takes the seats, in the seats' order."""
        takers = {
            seat: iter([u for u, takes in able.items() if self.solver.boolean_value(takes)])
            for seat, able in piece.takers.items()
        }
        units = [next(takers[seat]) for seat in _seats_of(job)]
        return tuple(self.problem.people[self.inst.units[u].person].id for u in units)


def _seats_of(job: Job) -> tuple[Seat, ...]:
    return job.seats or (Seat(),) * job.n_people


class _Telling(cp_model.CpSolverSolutionCallback):
    def __init__(self, exact: Exact) -> None:
        super().__init__()
        self.exact = exact

    def on_solution_callback(self) -> None:
        """Keep what the plan just found costs."""
        self.exact.known_cost = self.objective_value / _SCALE
