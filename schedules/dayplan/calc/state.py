"""A plan while the search works on it: busy lists of people on shift, machines and places."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass

from schedules.dayplan.calc.instance import CLEAN, DIRTY, UNTOUCHED, Instance
from schedules.dayplan.calc.problem import Booking
from schedules.dayplan.calc.solution import Assignment

NOBODY = -1
NOT_PLACED = -1 << 60

Stop = tuple[int, int, int]
"""When something is free, where it then stands, and after which job (-1: none yet)."""


class Line:
    """The jobs of one person on shift, machine or place, in order of start."""

    __slots__ = ("ends", "is_tangled", "jobs", "starts")

    def __init__(self) -> None:
        self.starts: list[int] = []
        self.ends: list[int] = []
        self.jobs: list[int] = []
        self.is_tangled = False  # jobs locked by hand may overlap; the search adds no overlap

    def add(self, start: int, end: int, job: int) -> None:
        """Book a span."""
        i = bisect_right(self.starts, start)
        if self.free_from(i, NOT_PLACED) > start or (i < len(self.starts) and self.starts[i] < end):
            self.is_tangled = True
        self.starts.insert(i, start)
        self.ends.insert(i, end)
        self.jobs.insert(i, job)

    def drop(self, start: int, job: int) -> None:
        """Free the span of a job."""
        i = self.jobs.index(job, bisect_left(self.starts, start))
        del self.starts[i], self.ends[i], self.jobs[i]

    def free_from(self, i: int, when_first: int) -> int:
        """When the jobs before the i-th are over; `when_first` if there are none."""
        if i == 0:
            return when_first
        return max(self.ends[:i]) if self.is_tangled else self.ends[i - 1]

    def copy(self) -> Line:
        """Return a line that changes on its own."""
        twin = Line()
        twin.starts, twin.ends, twin.jobs = self.starts[:], self.ends[:], self.jobs[:]
        twin.is_tangled = self.is_tangled
        return twin


@dataclass(slots=True)
class Slot:
    """Where a job goes: its time, the units that do it, its machine and the unit that drives it."""

    start: int
    end: int
    team: tuple[int, ...]
    machine: int = NOBODY
    driver: int = NOBODY


class State:
    """Slots of the jobs placed so far, and the lines that follow from them."""

    def __init__(self, inst: Instance) -> None:
        self.inst = inst
        self.slots: list[Slot | None] = [None] * len(inst.tasks)
        self.units = [Line() for _ in inst.units]
        self.machines = [Line() for _ in inst.machine_free]
        self.places = [Line() for _ in inst.place_index]
        for job, task in enumerate(inst.tasks):
            if task.locked is not None:
                self.place(job, self.slot_for(job, task.locked))

    def slot_for(self, job: int, booking: Booking | Assignment) -> Slot:
        """Return the slot that stands for a booking, its people off shift left aside."""
        inst = self.inst
        start, end = inst.floor_s(booking.start), inst.ceil_s(booking.end)
        machine = NOBODY if booking.machine is None else inst.machine_index[booking.machine]
        several = [inst.units_of[inst.person_index[person]] for person in booking.people]
        teams = [
            [u for u in units if inst.units[u].start < end and start < inst.units[u].end]
            for units in several
        ]
        is_driven = machine != NOBODY and inst.tasks[job].is_driven
        driver = teams[0][0] if is_driven and teams and teams[0] else NOBODY
        return Slot(start, end, tuple(u for team in teams for u in team), machine, driver)

    def copy(self) -> State:
        """Return a state that changes on its own."""
        twin = State.__new__(State)
        twin.inst, twin.slots = self.inst, self.slots[:]
        twin.units = [line.copy() for line in self.units]
        twin.machines = [line.copy() for line in self.machines]
        twin.places = [line.copy() for line in self.places]
        return twin

    def _lines(self, job: int, slot: Slot) -> list[Line]:
        lines = [self.units[u] for u in slot.team]
        lines += [self.places[p] for p in self.inst.tasks[job].exclusive]
        return lines if slot.machine == NOBODY else [*lines, self.machines[slot.machine]]

    def place(self, job: int, slot: Slot) -> None:
        """Book a job's slot on all lines it takes."""
        self.slots[job] = slot
        for line in self._lines(job, slot):
            line.add(slot.start, slot.end, job)

    def remove(self, job: int) -> None:
        """Free a job's slot."""
        slot = self.slots[job]
        assert slot is not None
        self.slots[job] = None
        for line in self._lines(job, slot):
            line.drop(slot.start, job)

    def unit_stop(self, u: int, i: int) -> Stop:
        """Where the unit comes from for what is, or would be, its i-th job."""
        line, unit = self.units[u], self.inst.units[u]
        if i == 0:
            return unit.start, unit.place, NOBODY
        job = line.jobs[i - 1]
        return line.free_from(i, unit.start), self.inst.tasks[job].place, job

    def machine_stop(self, m: int, i: int) -> Stop:
        """Where the machine stands before what is, or would be, its i-th job."""
        line = self.machines[m]
        if i == 0:
            return NOT_PLACED, self.inst.machine_place[m], NOBODY
        job = line.jobs[i - 1]
        return line.free_from(i, NOT_PLACED), self.inst.tasks[job].place, job

    def bucket_before(self, m: int, i: int) -> int:
        """What the machine's bucket last touched before its i-th job."""
        for job in reversed(self.machines[m].jobs[:i]):
            if self.inst.tasks[job].bucket != UNTOUCHED:
                return self.inst.tasks[job].bucket
        return self.inst.first_bucket[m]

    def needs_wash(self, job: int, m: int, i: int) -> bool:
        """Whether the job, as the machine's i-th, wants a clean bucket after dirty work."""
        return self.inst.tasks[job].bucket == CLEAN and self.bucket_before(m, i) == DIRTY
