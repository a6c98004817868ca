"""The cheapest place for one job in a plan: over machines, people and the earliest time of each."""

from __future__ import annotations

from collections.abc import Iterator

from schedules.dayplan.calc.fit import Bounds, Fitter
from schedules.dayplan.calc.instance import Instance, Seat, Task
from schedules.dayplan.calc.pricing import Prices
from schedules.dayplan.calc.spans import NEVER, SlowSpan
from schedules.dayplan.calc.state import NOBODY, NOT_PLACED, Slot, State

Crew = tuple[list[SlowSpan], list[int]]


class Inserter:
    """Chooses slots for jobs in a state of the plan.

    `noise` adds a price to each unit, so that a search does not choose the same people each time.
    """

    def __init__(self, inst: Instance, state: State, noise: list[float] | None = None) -> None:
        self.inst = inst
        self.state = state
        self.fitter = Fitter(inst, state)
        self.prices = Prices(inst, state, noise or [0.0] * len(inst.units))

    def best_slot(self, job: int, not_before: int = NOT_PLACED) -> Slot | None:
        """Return the cheapest slot found from an instant on, None if the job fits nowhere."""
        first_useful = self.inst.tasks[job].first_useful
        slot = self._best_from(job, max(not_before, first_useful))
        if slot is None and first_useful > not_before:
            return self._best_from(job, not_before)  # better done for itself than not at all
        return slot

    def _best_from(self, job: int, first_start: int) -> Slot | None:
        bounds = self.fitter.bounds(job)
        if bounds is None:
            return None
        bounds.first_start = max(bounds.first_start, first_start)
        return self._cheapest(job, self._slots(job, bounds))

    def slot_as_before(self, job: int) -> Slot | None:
        """Return the slot that the previous plan gave the job, if it still fits."""
        bounds = self.fitter.bounds(job)
        if bounds is None:
            return None
        return self._cheapest(job, self._slots_as_before(job, bounds))

    def _cheapest(self, job: int, slots: Iterator[Slot]) -> Slot | None:
        return min(slots, key=lambda slot: self.prices.of_slot(job, slot), default=None)

    def _slots(self, job: int, bounds: Bounds) -> Iterator[Slot]:
        task = self.inst.tasks[job]
        yield from self._slots_as_before(job, bounds)
        if task.n_people == 1:
            yield from self._single_slots(job, bounds)
        else:
            for crew in task.crews:
                yield from self._team_slots(job, bounds, crew)

    def _slots_as_before(self, job: int, bounds: Bounds) -> Iterator[Slot]:
        task, seat = self.inst.tasks[job], self.inst.tasks[job].previous
        if seat is None or len(seat.people) != task.n_people:
            return
        team = self._units_at(seat)
        if seat.machine not in self._machines(task) or not set(team) <= set(task.units):
            return
        driver = team[0] if task.is_driven else NOBODY
        if driver != NOBODY and driver not in task.drivers[seat.machine]:
            return
        walkers = team[1:] if task.is_driven else team
        for slow, units in task.crews:
            if set(team) <= set(units):
                span = self.fitter.fit(
                    job,
                    seat.start,
                    bounds,
                    slow,
                    machine=seat.machine,
                    driver=driver,
                    walkers=walkers,
                )
                if span is not None and span[0] - seat.start <= self.inst.tolerance:
                    yield Slot(*span, team, seat.machine, driver)

    def _units_at(self, seat: Seat) -> tuple[int, ...]:
        """Return the units that the people of a seat were, NOBODY for one not on shift then."""
        units = self.inst.units
        return tuple(
            next((u for u in ofs if units[u].start <= seat.start < units[u].end), NOBODY)
            for ofs in (self.inst.units_of[p] if p >= 0 else [] for p in seat.people)
        )

    def _machines(self, task: Task) -> list[int]:
        return task.machines if task.needs_machine else [NOBODY]

    def _single_slots(self, job: int, bounds: Bounds) -> Iterator[Slot]:
        task = self.inst.tasks[job]
        slows = self.inst.slow[task.effort]
        for machine in self._machines(task):
            for u in task.drivers[machine] if task.is_driven else task.units:
                driver, walkers = (u, ()) if task.is_driven else (NOBODY, (u,))
                at, slow = self.inst.units[u].start, slows[self.inst.units[u].pace]
                span = self.fitter.fit(
                    job, at, bounds, slow, machine=machine, driver=driver, walkers=walkers
                )
                if span is not None:
                    yield Slot(*span, (u,), machine, driver)

    def _team_slots(self, job: int, bounds: Bounds, crew: Crew) -> Iterator[Slot]:
        task = self.inst.tasks[job]
        for machine in self._machines(task):
            for driver in task.drivers[machine] if task.is_driven else (NOBODY,):
                if driver == NOBODY or driver in crew[1]:
                    slot = self._team_slot(job, bounds, crew, machine, driver)
                    if slot is not None:
                        yield slot

    def _team_slot(
        self, job: int, bounds: Bounds, crew: Crew, machine: int, driver: int
    ) -> Slot | None:
        """Return the earliest slot at which machine and driver have enough others beside them."""
        slow, units = crew
        others = [u for u in units if u != driver]
        leaders = () if driver == NOBODY else (driver,)
        n_others = self.inst.tasks[job].n_people - len(leaders)
        at = 0
        while len(others) >= n_others and at < NEVER:
            span = self.fitter.fit(
                job, at, bounds, slow, machine=machine, driver=driver, walkers=()
            )
            if span is None:
                return None
            nexts = {u: self.fitter.after_walker(job, *span, u) for u in others}
            ready = [u for u in others if nexts[u] == span[0]]
            if len(ready) >= n_others:
                ready.sort(key=lambda u: self.prices.of_unit(job, span, u))
                return Slot(*span, (*leaders, *ready[:n_others]), machine, driver)
            at = sorted(nexts.values())[n_others - 1]
        return None
