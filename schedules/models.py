"""All that is stored of what must be done, when, and by whom."""

from .alerts.models import Alert
from .calendars.models import Calendar, CalendarEntry
from .dayplan.models import Assignment, Claim, DaySearch, PlanPractice, PlanRun, Unassigned
from .farmfile.models import FarmEdit, LoadedEntry
from .handover.models import Handover, SafetyItem, WalkAnswer, WalkLine
from .nudges.models import Subscription
from .outlook.models import OutlookChunk, OutlookPractice, OutlookRun
from .phone.models import Carried, CarriedState
from .rounds.models import BedWindow, Milking, PenVisit
from .sand.models import (
    Batch,
    BatchParent,
    BatchStep,
    DryForecast,
    DryRate,
    DryScore,
    MoistureTest,
    SandAccount,
    SandMove,
)
from .work.models import Dependency, Problem, Report, StandingOrder, WorkOrder

__all__ = [
    "Alert",
    "Assignment",
    "Batch",
    "BatchParent",
    "BatchStep",
    "BedWindow",
    "Calendar",
    "CalendarEntry",
    "Carried",
    "CarriedState",
    "Claim",
    "DaySearch",
    "Dependency",
    "DryForecast",
    "DryRate",
    "DryScore",
    "FarmEdit",
    "Handover",
    "LoadedEntry",
    "Milking",
    "MoistureTest",
    "OutlookChunk",
    "OutlookPractice",
    "OutlookRun",
    "PenVisit",
    "PlanPractice",
    "PlanRun",
    "Problem",
    "Report",
    "SafetyItem",
    "SandAccount",
    "SandMove",
    "StandingOrder",
    "Subscription",
    "Unassigned",
    "WalkAnswer",
    "WalkLine",
    "WorkOrder",
]
