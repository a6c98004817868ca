"""What a by-hand assignment may not do either: the plan's hard rules, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from crews.people.models import Skill, Worker
from equipment.machines.models import MachineKind
from schedules.errors import CannotAssignError
from schedules.work.models import WorkOrder

from .build import HORIZON, build_day
from .calc import rules
from .calc.judged import Broken, Plan, Rule
from .calc.problem import Problem
from .calc.solution import Assignment, ReasonCode
from .closures import Why

RULES: tuple[Rule, ...] = (rules.blocks, rules.teams, rules.machines, rules.holds)
HELD = {
    ReasonCode.PEN_HELD: _("The pen is held. Clear its hold first."),
    ReasonCode.BATCH_HELD: _("The batch is held. Clear its hold first."),
}
# More people than asked are the lead's own choice.
SENTENCES = {
    "place_blocked": _("The place is closed then: %(why)s. Choose another time."),
    "too_few_people": _("It takes %(needs)s people together; you named %(has)s."),
    "skill_missing": _("%(person)s is not qualified for it: %(skill)s."),
    "skill_lapsed": _("A qualification of %(person)s has run out by then: %(skill)s."),
    "machine_missing": _("It cannot be done by hand: name one of %(kinds)s."),
    "machine_of_wrong_kind": _("It takes another machine: one of %(kinds)s."),
    "driver_unqualified": _("None of them may drive that machine: %(skill)s."),
    "machine_held": _("The machine is out of use then."),
}


def team_or_refuse(
    order: WorkOrder,
    workers: Sequence[Worker],
    machine_id: int | None,
    span: tuple[datetime, datetime],
    at: datetime,
) -> list[Worker]:
    """Give the workers with one who may drive first, or refuse by the hard rule that is broken.

    Judged on the day of the assignment as it is known now: as many queries as a plan takes.

    Raises
    ------
    CannotAssignError
        Naming the rule in words.
    """
    day = build_day(order.site_id, at if span[1] <= at + HORIZON else span[0])
    held = day.unaskable.get(order.pk)
    if held is not None and held.code in HELD:
        raise CannotAssignError(str(HELD[held.code]))
    problem = day.problem
    if order.pk in day.aside:  # the plan cannot ask for it; a person can
        problem = replace(problem, jobs=(*problem.jobs, day.aside[order.pk]))
    faults = []
    for driver in workers:
        team = sorted(workers, key=lambda worker: worker != driver)
        machine = None if machine_id is None else str(machine_id)
        given = Assignment(str(order.pk), tuple(str(w.pk) for w in team), machine, *span)
        fault = _first_broken(problem, given)
        if fault is None:
            return team
        faults.append(fault)
    raise CannotAssignError(_say(faults[0], order, workers))


def _first_broken(problem: Problem, given: Assignment) -> Broken | None:
    plan = Plan(problem, [given])
    faults = (fault for rule in RULES for fault in rule(plan))
    return next((fault for fault in faults if fault.code in SENTENCES), None)


def _say(fault: Broken, order: WorkOrder, workers: Sequence[Worker]) -> str:
    names = {str(worker.pk): worker.name for worker in workers}
    facts: dict[str, object] = dict(fault.facts)
    if "why" in facts:
        facts["why"] = Why(str(facts["why"])).label
    if "skill" in facts:
        skill = Skill.objects.filter(site_id=order.site_id, key=facts["skill"]).first()
        facts["skill"] = skill.name if skill else facts["skill"]
    facts["person"] = names.get(fault.person or "", "")
    facts["kinds"] = ", ".join(_machines_asked(order))
    return str(SENTENCES[fault.code]) % facts


def _machines_asked(order: WorkOrder) -> list[str]:
    """Name the one machine that is to be served, else the kinds that can do the work."""
    if order.for_machine is not None:
        return [order.for_machine.name]
    return [str(MachineKind(kind).label) for kind in order.machine_kinds]
