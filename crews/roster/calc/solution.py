"""The answer to a roster problem: records only; `score` prices them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

SCHEMA = "penround/week-solution/1"


class Status(StrEnum):
    """What is known of a roster."""

    OPTIMAL = "optimal"  # none is cheaper
    FEASIBLE = "feasible"  # the best one found
    INFEASIBLE = "infeasible"  # there is none: `explain` says why
    NO_ANSWER = "no_answer"  # time was up


@dataclass(frozen=True, slots=True)
class Assignment:
    """One person's shift.

    Parameters
    ----------
    on : date
        The local date on which it starts.
    skill : str or None
        What the person works as, where everybody works one skill a shift.
    """

    person: str
    on: date
    kind: str
    skill: str | None = None


@dataclass(frozen=True, slots=True)
class Score:
    """What a roster costs, in all and by cause.

    Parameters
    ----------
    by_cause : mapping of str to float
        Only causes that cost: "under", "over" (heads beside a target), "wish", a contract rule's
        measure, "crew_apart", "lead_missing", "unfair", "changed".
    """

    total_cost: float
    by_cause: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Solution:
    """A roster with its score and, where one is known, the cost that none can go below."""

    status: Status
    assignments: tuple[Assignment, ...] = ()
    score: Score | None = None
    bound_cost: float | None = None

    @property
    def gap_frac(self) -> float | None:
        """How far at most the roster is from the best one, as a share of its cost (0 to 1)."""
        if self.score is None or self.bound_cost is None:
            return None
        total = self.score.total_cost
        return max(0.0, total - self.bound_cost) / total if total > 0 else 0.0
