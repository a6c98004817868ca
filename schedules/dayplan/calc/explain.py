"""Why a job was left out: codes and facts, the most specific first, never sentences.

Codes that hold in any plan of the day come before those that hold in this plan only:

================================ ====================================================
predecessor_left_out             jobs: what it waits for and nobody does
outside_horizon                  no window lies in the day, or too little of one
window_too_short                 needs_min, has_min
no_daylight                      needs_min, has_min
place_blocked                    places, whys, needs_min, has_min
no_skilled_person                skills: what nobody holds, or nobody all of
outside_shift                    nobody is on shift while it may be done
no_skilled_person_on_shift       skills, people: who holds them, on shift at other times
shift_too_short                  people, needs_min, has_min: shifts less breaks leave no room
skill_lapsed                     skills, people
two_people_needed                n_needed, n_there (skilled and free together)
heat_rest_too_long               needs_min, has_min
items_not_to_be_had              items: of what nobody qualified carries or can load enough
no_machine_of_kind               kinds
machines_held                    machines
machines_unavailable             machines
no_driver_on_shift               skills, machines
no_common_time                   people and machine never at the same time
gap_not_kept                     jobs: what it waits for, or what waits for it
place_busy                       places, jobs
all_people_busy                  jobs, people
all_machines_busy                machines, jobs
all_drivers_busy                 machines, jobs
no_common_time_left              people, machine and place free, but never together
way_and_setup_too_long           free, but not there, hooked up and washed in time
================================ ====================================================
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import inf

from schedules.dayplan.calc.instance import Instance
from schedules.dayplan.calc.problem import Problem
from schedules.dayplan.calc.resources import Person
from schedules.dayplan.calc.room import Room, widest
from schedules.dayplan.calc.solution import Assignment, Fact, LeftOut, Reason, ReasonCode
from schedules.dayplan.calc.spans import Span, common, end_of_work
from schedules.dayplan.calc.state import Line, State


def explain(problem: Problem, assignments: Iterable[Assignment]) -> tuple[LeftOut, ...]:
    """Say for each job that is not among the assignments why it is left out.

    Parameters
    ----------
    problem : Problem
    assignments : iterable of Assignment
        The plan.

    Returns
    -------
    tuple of LeftOut
        In the order of the problem's jobs; each has at least one reason.
    """
    inst = Instance(problem)
    state = State(inst)
    for given in assignments:
        job = inst.job_index[given.job]
        if inst.tasks[job].locked is None:
            state.place(job, given)
    return Explainer(inst, state).left_out()


class Explainer:
    """Finds reasons in one state of a plan."""

    def __init__(self, inst: Instance, state: State) -> None:
        self.inst = inst
        self.problem = inst.problem
        self.state = state
        self.whole = Room(inst)

    def left_out(self) -> tuple[LeftOut, ...]:
        """Return the jobs without a slot, each with its reasons."""
        return tuple(
            LeftOut(job.id, tuple(self.reasons(i)))
            for i, job in enumerate(self.problem.jobs)
            if self.state.slots[i] is None
        )

    def reasons(self, job: int) -> list[Reason]:
        """Return why a job without a slot has none: what lasts first, else what passes."""
        waits = [lag.other for lag in self.inst.tasks[job].waits_for]
        missing = [other for other in waits if self.state.slots[other] is None]
        first = [Reason(ReasonCode.PREDECESSOR_LEFT_OUT, {"jobs": self._job_ids(missing)})]
        lasting = self.lasting(job)
        if missing or lasting:
            return (first if missing else []) + lasting
        return list(self._passing(job)) or [Reason(ReasonCode.WAY_AND_SETUP_TOO_LONG)]

    def lasting(self, job: int) -> list[Reason]:
        """Return why no plan of the day could hold the job, dependencies left aside."""
        window = list(self._window(job))
        if window:
            return window
        found = [*self._people(job), *self._items(job), *self._machines(job)]
        if found or self.whole.is_enough(job):
            return found
        return [Reason(ReasonCode.NO_COMMON_TIME)]

    def _window(self, job: int) -> Iterator[Reason]:
        inst, record, work = self.inst, self.problem.jobs[job], self.inst.tasks[job].work
        needs_min = work / 60
        whole = [inst.inside(window) for window in record.windows]
        spans = common(whole, [inst.horizon])
        is_cut = widest(spans) < work <= widest(whole)
        if not spans or is_cut:
            yield Reason(ReasonCode.OUTSIDE_HORIZON)
            return
        if widest(spans) < work:
            yield Reason(ReasonCode.WINDOW_TOO_SHORT, _room_facts(needs_min, spans))
            return
        if record.is_daylight_only:
            spans = common(spans, map(inst.inside, self.problem.daylight))
            if widest(spans) < work:
                yield Reason(ReasonCode.NO_DAYLIGHT, _room_facts(needs_min, spans))
                return
        openings = inst.tasks[job].openings
        if widest(openings) < work:
            blocks = [b for b in self.problem.blocks if b.place in record.places]
            met = [b for b in blocks if common(spans, [inst.around(b)])]
            places = tuple(sorted({b.place for b in met}))
            whys = tuple(sorted({b.why for b in met}))
            facts = _room_facts(needs_min, openings)
            yield Reason(ReasonCode.PLACE_BLOCKED, {"places": places, "whys": whys, **facts})

    def _people(self, job: int) -> Iterator[Reason]:
        record, task = self.problem.jobs[job], self.inst.tasks[job]
        if task.n_people == 0:
            return
        at_work = [u for u in self.inst.units if common(u.free, task.openings)]
        if not self._holders(record.skills):
            yield Reason(ReasonCode.NO_SKILLED_PERSON, {"skills": self._unheld(record.skills)})
        elif not at_work:
            yield Reason(ReasonCode.OUTSIDE_SHIFT)
        elif not task.units:
            yield self._no_room_on_shift(job)
        else:
            yield from self._not_together(job)

    def _no_room_on_shift(self, job: int) -> Reason:
        record, task = self.problem.jobs[job], self.inst.tasks[job]
        holders = self._holders(record.skills)
        people = self.problem.people
        spans = [
            part
            for unit in self.inst.units
            if people[unit.person].id in holders
            for part in common(unit.free, task.openings)
        ]
        if not spans:
            facts: dict[str, Fact] = {"skills": record.skills, "people": holders}
            return Reason(ReasonCode.NO_SKILLED_PERSON_ON_SHIFT, facts)
        return Reason(
            ReasonCode.SHIFT_TOO_SHORT, {"people": holders, **_room_facts(task.work / 60, spans)}
        )

    def _not_together(self, job: int) -> Iterator[Reason]:
        record, n_needed = self.problem.jobs[job], self.inst.tasks[job].n_people
        if self.whole.n_together(job) >= n_needed:
            return
        n_there = self.whole.n_together(job, is_rested=False)
        if n_there >= n_needed:
            yield Reason(ReasonCode.HEAT_REST_TOO_LONG, self._heat_facts(job))
        elif n_needed >= 2:
            yield Reason(ReasonCode.TWO_PEOPLE_NEEDED, {"n_needed": n_needed, "n_there": n_there})
        else:
            yield Reason(
                ReasonCode.SKILL_LAPSED, {"skills": record.skills, "people": self._names(job)}
            )

    def _heat_facts(self, job: int) -> dict[str, Fact]:
        task = self.inst.tasks[job]
        start, end = max(task.openings, key=lambda span: span[1] - span[0])
        slows = [self.inst.slow[task.effort][self.inst.units[u].pace] for u in task.units]
        needed = min(end_of_work(start, task.work, slow) - start for slow in slows)
        return {"needs_min": needed / 60, "has_min": (end - start) / 60}

    def _items(self, job: int) -> Iterator[Reason]:
        units = self.inst.tasks[job].units
        people = [self.problem.people[self.inst.units[u].person] for u in units]
        wanted = self.problem.jobs[job].items
        lacks = [{a.key for a in wanted if self._most_of(person, a.key) < a.n} for person in people]
        if lacks and all(lacks):
            items = tuple(sorted(set.intersection(*lacks) or set.union(*lacks)))
            yield Reason(ReasonCode.ITEMS_NOT_TO_BE_HAD, {"items": items})

    def _most_of(self, person: Person, item: str) -> float:
        """Return how much of an item a person can have at hand at once."""
        has = max((a.n for a in person.carries if a.key == item), default=0)
        if not any(item in place.stocks for place in self.problem.places):
            return has
        return max(has, min((a.n for a in person.room_for if a.key == item), default=inf))

    def _machines(self, job: int) -> Iterator[Reason]:
        record, task = self.problem.jobs[job], self.inst.tasks[job]
        if not record.needs_machine or self.whole.machines_for(job):
            if record.is_driven and task.units and not self.whole.has_driver(job):
                skills = {self.problem.machines[m].driver_skill or "" for m in task.machines}
                facts: dict[str, Fact] = {
                    "skills": tuple(sorted(skills)),
                    "machines": self._machine_ids(task.machines),
                }
                yield Reason(ReasonCode.NO_DRIVER_ON_SHIFT, facts)
            return
        if not task.machines:
            kinds = (*record.machine_kinds, *record.machine_ids)
            yield Reason(ReasonCode.NO_MACHINE_OF_KIND, {"kinds": kinds})
            return
        held = [m for m in task.machines if self._is_held(job, m)]
        code = ReasonCode.MACHINES_HELD if held else ReasonCode.MACHINES_UNAVAILABLE
        yield Reason(code, {"machines": self._machine_ids(held or task.machines)})

    def _is_held(self, job: int, m: int) -> bool:
        """Whether the machine would be free for long enough, were it not for its holds."""
        task, spans = self.inst.tasks[job], self.problem.machines[m].available
        return widest(common(task.openings, map(self.inst.inside, spans))) >= task.work

    def _passing(self, job: int) -> Iterator[Reason]:
        record, task = self.problem.jobs[job], self.inst.tasks[job]
        within = self._within(job)
        if widest(common(task.openings, [within])) < task.work:
            waits = [lag.other for lag in (*task.waits_for, *task.awaited_by)]
            yield Reason(ReasonCode.GAP_NOT_KEPT, {"jobs": self._job_ids(waits)})
            return
        left = Room(self.inst, self.state, within)
        if widest(left.openings(job)) < task.work:
            lines = [self.state.places[place] for place in task.exclusive]
            facts: dict[str, Fact] = {"places": record.places, "jobs": self._met(job, lines)}
            yield Reason(ReasonCode.PLACE_BUSY, facts)
            return
        found = [*self._busy_people(job, left), *self._busy_machines(job, left)]
        if not found and not left.is_enough(job):
            found = [Reason(ReasonCode.NO_COMMON_TIME_LEFT)]
        yield from found

    def _within(self, job: int) -> Span:
        """Return the time that the jobs it waits for, and those that wait for it, leave."""
        task, bounds = self.inst.tasks[job], self.state.bounds(job)
        assert bounds is not None  # predecessor_left_out has been told before
        ends = (end_of_work(bounds.last_start, task.work, slow) for slow, _ in task.crews)
        last_end = max(ends, default=bounds.last_start + task.work)
        first_start = max(bounds.first_start, bounds.first_end - task.work)
        return first_start, min(bounds.last_end, last_end)

    def _busy_people(self, job: int, left: Room) -> Iterator[Reason]:
        task = self.inst.tasks[job]
        if left.n_together(job) < task.n_people:
            lines = [self.state.units[u] for u in task.units]
            jobs = self._met(job, lines)
            yield Reason(ReasonCode.ALL_PEOPLE_BUSY, {"jobs": jobs, "people": self._names(job)})

    def _busy_machines(self, job: int, left: Room) -> Iterator[Reason]:
        task = self.inst.tasks[job]
        machines = self._machine_ids(task.machines)
        if task.needs_machine and not left.machines_for(job):
            lines = [self.state.machines[m] for m in task.machines]
            facts: dict[str, Fact] = {"machines": machines, "jobs": self._met(job, lines)}
            yield Reason(ReasonCode.ALL_MACHINES_BUSY, facts)
        elif task.is_driven and not left.has_driver(job):
            drivers = {u for units in task.drivers.values() for u in units}
            jobs = self._met(job, [self.state.units[u] for u in sorted(drivers)])
            yield Reason(ReasonCode.ALL_DRIVERS_BUSY, {"machines": machines, "jobs": jobs})

    def _met(self, job: int, lines: list[Line]) -> tuple[str, ...]:
        """Return the jobs on the lines that lie in the openings."""
        openings = self.inst.tasks[job].openings
        met = {
            other
            for line in lines
            for other, span in zip(line.jobs, line.spans, strict=True)
            if common([span], openings)
        }
        return self._job_ids(sorted(met))

    def _holders(self, skills: tuple[str, ...]) -> tuple[str, ...]:
        people = self.problem.people
        return tuple(p.id for p in people if set(skills) <= {skill.key for skill in p.skills})

    def _unheld(self, skills: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(skill for skill in skills if not self._holders((skill,))) or skills

    def _names(self, job: int) -> tuple[str, ...]:
        people = {self.inst.units[u].person for u in self.inst.tasks[job].units}
        return tuple(self.problem.people[person].id for person in sorted(people))

    def _job_ids(self, jobs: Iterable[int]) -> tuple[str, ...]:
        return tuple(self.problem.jobs[job].id for job in jobs)

    def _machine_ids(self, machines: Iterable[int]) -> tuple[str, ...]:
        return tuple(self.problem.machines[m].id for m in machines)


def _room_facts(needs_min: float, spans: Iterable[Span]) -> dict[str, Fact]:
    return {"needs_min": needs_min, "has_min": widest(spans) / 60}
