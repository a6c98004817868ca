"""The way from an empty farm to a first day's plan: what is there, what comes next. Pure."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum


class Step(StrEnum):
    """What a first day's plan rests on, in the order in which it is given."""

    PARLOR = "parlor"
    PENS = "pens"
    BEDS = "beds"
    SKILLS = "skills"
    PEOPLE = "people"
    SHIFTS = "shifts"
    DAYS = "days"
    WORK = "work"
    QUALIFIED = "qualified"
    MACHINES = "machines"
    PLAN = "plan"


class State(StrEnum):
    """How a step stands; of those that are not done one is next."""

    DONE = "done"
    NEXT = "next"
    AFTER = "after"


class Lack(StrEnum):
    """Why a step is not done."""

    NONE_YET = "none_yet"
    NONE_FOR_VISITS = "none_for_visits"
    NOBODY_QUALIFIED = "nobody_qualified"
    NO_MACHINE = "no_machine"
    NO_MILKING = "no_milking"
    NOT_PLANNED = "not_planned"
    NOBODY_HAS_IT = "nobody_has_it"


SECTIONS = {  # where in the farm file a step is done
    Step.PARLOR: "parlors",
    Step.PENS: "pens",
    Step.BEDS: "bed_groups",
    Step.SKILLS: "skills",
    Step.PEOPLE: "workers",
    Step.SHIFTS: "shift_patterns",
    Step.DAYS: "rotations",
    Step.WORK: "standing_orders",
    Step.QUALIFIED: "workers",
    Step.MACHINES: "machines",
}
COUNTED = (  # done as soon as there is one
    *(Step.PARLOR, Step.PENS, Step.BEDS, Step.SKILLS),
    *(Step.PEOPLE, Step.SHIFTS, Step.DAYS),
)


@dataclass(frozen=True, slots=True)
class WorkFacts:
    """What one standing order in use asks for."""

    title: str
    is_at_visit: bool
    skill: str = ""
    machine_kinds: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Facts:
    """What the farm has, so far as a first plan rests on it.

    `n_in_use` counts the entries of each section; `plan` is how many jobs plans have given to
    somebody and the last one to nobody, None where there has been none with work.
    """

    n_in_use: Mapping[str, int]
    work: Sequence[WorkFacts] = ()
    skills_held: Collection[str] = ()
    machine_kinds: Collection[str] = ()
    has_milking: bool = False
    plan: tuple[int, int] | None = None

    @property
    def has_first_plan(self) -> bool:
        """Whether a plan has ever given somebody a job."""
        return self.plan is not None and self.plan[0] > 0


@dataclass(frozen=True, slots=True)
class Line:
    """One step as it stands: how many there are, why it is not done, and of what."""

    step: Step
    state: State
    n: int = 0
    lack: Lack | None = None
    of: tuple[str, ...] = ()


def guide(facts: Facts) -> list[Line]:
    """Give every step in order with its state; the first that is not done is next."""
    lines = []
    state_of_lacking = State.NEXT
    for step in steps_of(facts):
        lack, of = _lack(step, facts)
        state = State.DONE if lack is None else state_of_lacking
        if lack is not None:
            state_of_lacking = State.AFTER
        lines.append(Line(step, state, facts.n_in_use.get(SECTIONS.get(step, ""), 0), lack, of))
    return lines


def steps_of(facts: Facts) -> list[Step]:
    """Give the steps of this farm: machines are one where work asks for them."""
    asks = any(each.machine_kinds for each in facts.work)
    return [step for step in Step if step is not Step.MACHINES or asks]


def next_of(lines: Sequence[Line]) -> Line | None:
    """Give the step that is next; None where all are done."""
    return next((line for line in lines if line.state is State.NEXT), None)


def _lack(step: Step, facts: Facts) -> tuple[Lack | None, tuple[str, ...]]:
    if step in COUNTED:
        return (None if facts.n_in_use.get(SECTIONS[step], 0) else Lack.NONE_YET), ()
    if facts.has_first_plan:  # the first day is behind: what lacks now The plan says
        return None, ()
    if step is Step.WORK:
        return _lack_of_work(facts), ()
    if step is Step.PLAN:
        return _lack_of_plan(facts), ()
    missing = _without_people(facts) if step is Step.QUALIFIED else _without_machine(facts)
    if missing:
        lack = Lack.NOBODY_QUALIFIED if step is Step.QUALIFIED else Lack.NO_MACHINE
        return lack, missing
    return (None if facts.work else Lack.NONE_YET), ()


def _lack_of_work(facts: Facts) -> Lack | None:
    if not facts.work:
        return Lack.NONE_YET
    return None if any(each.is_at_visit for each in facts.work) else Lack.NONE_FOR_VISITS


def _without_people(facts: Facts) -> tuple[str, ...]:
    return tuple(w.title for w in facts.work if w.skill and w.skill not in facts.skills_held)


def _without_machine(facts: Facts) -> tuple[str, ...]:
    there = set(facts.machine_kinds)
    lacking = (w for w in facts.work if w.machine_kinds and not there & set(w.machine_kinds))
    return tuple(w.title for w in lacking)


def _lack_of_plan(facts: Facts) -> Lack | None:
    if not facts.has_milking:
        return Lack.NO_MILKING
    return Lack.NOT_PLANNED if facts.plan is None else Lack.NOBODY_HAS_IT
