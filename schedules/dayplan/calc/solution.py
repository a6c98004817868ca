"""The answer to a day-plan problem: records only; `score` prices them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from schedules.dayplan.calc.resources import require_span, require_unique, require_utc

SCHEMA = "penround/day-solution/1"

Fact = str | int | float | tuple[str, ...]


class Status(StrEnum):
    """What is known of a solution: no plan can be cheaper, or it is the best one found."""

    OPTIMAL = "optimal"
    FEASIBLE = "feasible"


@dataclass(frozen=True, slots=True)
class Assignment:
    """One job given to people, at a time, with or without a machine.

    Parameters
    ----------
    people : tuple of str
        With a machine that needs a driver, the first drives.
    start, end : datetime
        On the job, UTC; the way there lies before.
    travel_min : float
        Walking and driving of all its people to get there, with the calls and fuel stops on the
        way. [min]
    calls_at : str or None
        The place with stocks at which the first of its people calls on the way, before walking on
        to the machine, if there is one.
    """

    job: str
    people: tuple[str, ...]
    machine: str | None
    start: datetime
    end: datetime
    travel_min: float = 0
    calls_at: str | None = None

    def __post_init__(self) -> None:
        record = f"assignment of {self.job!r}"
        if self.start != self.end or self.people:  # a milestone takes no time
            require_span(self.start, self.end, record)
        require_utc(self.start, record, "start")
        require_unique(self.people, record, "people")


class ReasonCode(StrEnum):
    """Every reason there is; the last four are found outside the problem, where it is made."""

    PREDECESSOR_LEFT_OUT = "predecessor_left_out"
    OUTSIDE_HORIZON = "outside_horizon"
    WINDOW_TOO_SHORT = "window_too_short"
    NO_DAYLIGHT = "no_daylight"
    PLACE_BLOCKED = "place_blocked"
    NO_SKILLED_PERSON = "no_skilled_person"
    OUTSIDE_SHIFT = "outside_shift"
    NO_SKILLED_PERSON_ON_SHIFT = "no_skilled_person_on_shift"
    SHIFT_TOO_SHORT = "shift_too_short"
    SKILL_LAPSED = "skill_lapsed"
    TWO_PEOPLE_NEEDED = "two_people_needed"
    HEAT_REST_TOO_LONG = "heat_rest_too_long"
    ITEMS_NOT_TO_BE_HAD = "items_not_to_be_had"
    NO_MACHINE_OF_KIND = "no_machine_of_kind"
    MACHINES_HELD = "machines_held"
    MACHINES_UNAVAILABLE = "machines_unavailable"
    NO_DRIVER_ON_SHIFT = "no_driver_on_shift"
    NO_COMMON_TIME = "no_common_time"
    GAP_NOT_KEPT = "gap_not_kept"
    PLACE_BUSY = "place_busy"
    ALL_PEOPLE_BUSY = "all_people_busy"
    ALL_MACHINES_BUSY = "all_machines_busy"
    ALL_DRIVERS_BUSY = "all_drivers_busy"
    NO_COMMON_TIME_LEFT = "no_common_time_left"
    WAY_AND_SETUP_TOO_LONG = "way_and_setup_too_long"
    PEN_HELD = "pen_held"
    BATCH_HELD = "batch_held"
    NO_FLUSH_IN_WINDOW = "no_flush_in_window"
    MOVED_MEANWHILE = "moved_meanwhile"


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a job was left out: a code, and the facts that a sentence about it needs."""

    code: ReasonCode
    facts: Mapping[str, Fact] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A job that nobody has, with its reasons, the most specific first."""

    job: str
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Score:
    """What a plan costs, by cause.

    Parameters
    ----------
    left_out_cost : float
        Prices of the jobs left out, by priority or their own. [min of walking]
    late_min, overtime_min, travel_min : float
        Past the due time; past the end of shifts, ways back counted; walked and driven, with the
        stops on the way and the ways back. [min]
    n_off_crew, n_changes : int
        Jobs not done by their preferred crew; jobs that leave the previous plan.
    duty_min, uneven_min : float
        From leaving to being back, of all shifts; worked beyond an even share, of all people. [min]
    total_cost : float
        All of them, weighted. [min of walking]
    """

    left_out_cost: float
    late_min: float
    overtime_min: float
    travel_min: float
    n_off_crew: int
    n_changes: int
    total_cost: float
    duty_min: float = 0
    uneven_min: float = 0


@dataclass(frozen=True, slots=True)
class Solution:
    """A plan.

    Parameters
    ----------
    status : Status
        OPTIMAL when `score.total_cost` equals `bound_cost`.
    bound_cost : float
        No plan can cost less: the price of the jobs that no plan can hold. [min of walking]
    seed, n_iterations : int
        What to run again for the same plan.
    """

    status: Status
    assignments: tuple[Assignment, ...]
    left_out: tuple[LeftOut, ...]
    score: Score
    bound_cost: float
    seed: int
    n_iterations: int
