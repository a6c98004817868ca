"""What changed between two plans, and who must be told."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from schedules.dayplan.calc.score import is_moved
from schedules.dayplan.calc.solution import Assignment


class ChangeKind(StrEnum):
    """How a job changed, the weightiest word that fits."""

    ADDED = "added"
    REMOVED = "removed"
    REASSIGNED = "reassigned"
    MACHINE_CHANGED = "machine_changed"
    MOVED = "moved"


@dataclass(frozen=True, slots=True)
class PlanChange:
    """One job that changed.

    Parameters
    ----------
    before, after : Assignment or None
        None where the plan leaves the job out.
    people : tuple of str
        Who must be told: all that had it and all that have it now, in order of id.
    """

    job: str
    kind: ChangeKind
    before: Assignment | None
    after: Assignment | None
    people: tuple[str, ...]


def diff_plans(
    old: Iterable[Assignment], new: Iterable[Assignment], *, tolerance_min: float = 0
) -> tuple[PlanChange, ...]:
    """Return the jobs that two plans give to other people, machines or times.

    Parameters
    ----------
    old, new : iterable of Assignment
        The plan that people know, and the one that takes its place.
    tolerance_min : float
        A start moved by no more than this is no change. [min]

    Returns
    -------
    tuple of PlanChange
        In order of the time they take place, the new one where there is one.
    """
    before = {given.job: given for given in old}
    after = {given.job: given for given in new}
    changes = [
        _change(job, before.get(job), after.get(job))
        for job in dict.fromkeys((*before, *after))
        if _differs(before.get(job), after.get(job), tolerance_min)
    ]
    return tuple(sorted(changes, key=_when))


def _differs(a: Assignment | None, b: Assignment | None, tolerance_min: float) -> bool:
    if a is None or b is None:
        return a is not b
    return is_moved(a, b, tolerance_min)


def _change(job: str, a: Assignment | None, b: Assignment | None) -> PlanChange:
    people = {person for given in (a, b) if given is not None for person in given.people}
    return PlanChange(job, _kind(a, b), a, b, tuple(sorted(people)))


def _kind(a: Assignment | None, b: Assignment | None) -> ChangeKind:
    if a is None:
        return ChangeKind.ADDED
    if b is None:
        return ChangeKind.REMOVED
    if set(a.people) != set(b.people):
        return ChangeKind.REASSIGNED
    return ChangeKind.MOVED if a.machine == b.machine else ChangeKind.MACHINE_CHANGED


def _when(change: PlanChange) -> tuple[float, str]:
    given = change.after or change.before
    assert given is not None
    return given.start.timestamp(), change.job
