"""The way to a first day's plan: which step is next, and why one is not done."""

from __future__ import annotations

from dataclasses import replace

import pytest

from schedules.farmfile.guide import (
    COUNTED,
    SECTIONS,
    Facts,
    Lack,
    State,
    Step,
    WorkFacts,
    guide,
    next_of,
    steps_of,
)

RAKE = WorkFacts("Rake beds by hand", is_at_visit=True, skill="beds")
PUSH = WorkFacts("Push sand", is_at_visit=False, machine_kinds=("loader", "skid_loader"))
ALL = Facts(
    n_in_use={SECTIONS[step]: 2 for step in COUNTED},
    work=(RAKE,),
    skills_held={"beds"},
    has_milking=True,
    plan=(1, 0),
)


def state_of(facts: Facts, step: Step) -> tuple[State, Lack | None, tuple[str, ...]]:
    [line] = [line for line in guide(facts) if line.step is step]
    return line.state, line.lack, line.of


def test_empty_farm_begins_with_the_parlor_and_the_rest_comes_after() -> None:
    lines = guide(Facts(n_in_use={}))

    assert [line.step for line in lines] == [step for step in Step if step is not Step.MACHINES]
    assert lines[0].state is State.NEXT
    assert lines[0].step is Step.PARLOR
    assert {line.state for line in lines[1:]} == {State.AFTER}


@pytest.mark.parametrize("step", COUNTED)
def test_step_is_done_as_soon_as_there_is_one(step: Step) -> None:
    without = {name: n for name, n in ALL.n_in_use.items() if name != SECTIONS[step]}

    assert state_of(ALL, step) == (State.DONE, None, ())
    assert state_of(replace(ALL, n_in_use=without), step) == (State.NEXT, Lack.NONE_YET, ())


def test_what_is_given_out_of_order_is_done_and_the_first_gap_is_next() -> None:
    n_in_use = {**ALL.n_in_use, "pens": 0, "skills": 0}
    lines = guide(replace(ALL, n_in_use=n_in_use, plan=None))

    states = {line.step: line.state for line in lines}
    assert states[Step.PARLOR] is State.DONE
    assert states[Step.PENS] is State.NEXT
    assert states[Step.BEDS] is State.DONE
    assert states[Step.SKILLS] is State.AFTER
    assert states[Step.PLAN] is State.AFTER


def test_work_that_no_visit_brings_is_not_enough() -> None:
    facts = replace(ALL, work=(replace(RAKE, is_at_visit=False),), plan=None)

    assert state_of(facts, Step.WORK) == (State.NEXT, Lack.NONE_FOR_VISITS, ())


def test_work_that_nobody_may_do_is_named() -> None:
    facts = replace(ALL, skills_held=set(), plan=None)

    assert state_of(facts, Step.QUALIFIED) == (
        *(State.NEXT, Lack.NOBODY_QUALIFIED, ("Rake beds by hand",)),
    )


def test_machines_are_a_step_where_work_asks_for_them() -> None:
    facts = replace(ALL, work=(RAKE, PUSH), plan=None)

    assert Step.MACHINES not in steps_of(ALL)
    assert state_of(facts, Step.MACHINES) == (State.NEXT, Lack.NO_MACHINE, ("Push sand",))
    with_one = replace(facts, machine_kinds={"skid_loader"})
    assert state_of(with_one, Step.MACHINES)[0] is State.DONE


@pytest.mark.parametrize(
    ("has_milking", "plan", "lack"),
    [
        (False, None, Lack.NO_MILKING),
        (True, None, Lack.NOT_PLANNED),
        (True, (0, 4), Lack.NOBODY_HAS_IT),
        (True, (1, 4), None),
    ],
)
def test_plan_is_there_when_somebody_has_a_job(
    has_milking: bool, plan: tuple[int, int] | None, lack: Lack | None
) -> None:
    facts = replace(ALL, has_milking=has_milking, plan=plan)

    assert state_of(facts, Step.PLAN)[1] is lack
    assert (next_of(guide(facts)) is None) == (lack is None)


def test_farm_that_has_had_a_plan_is_only_told_of_what_is_gone() -> None:
    """A standing order that nobody may do is The plan's to say from then on."""
    assert next_of(guide(replace(ALL, skills_held=set()))) is None
    gone = next_of(guide(replace(ALL, n_in_use={**ALL.n_in_use, "pens": 0})))
    assert gone is not None
    assert gone.step is Step.PENS
