"""The day's clock: milkings, pen visits, windows, what they cost and where they do not fit."""

from schedules.rounds.calc.day import (
    ClockDay,
    MilkingTimes,
    Visit,
    VisitKey,
    retime,
    time_day,
)
from schedules.rounds.calc.facts import VisitFacts, VisitTimes
from schedules.rounds.calc.parlorday import Milking, ParlorDay, PenAtParlor
from schedules.rounds.calc.returns import (
    BedGroup,
    CowCost,
    FeedRailLock,
    GateHeld,
    InnerGate,
    ReturnMode,
    ReturnRule,
    SparePen,
    StraightBack,
    build_return_rule,
    price_return,
)
from schedules.rounds.calc.warn import BedWorkKey, DayWarning, WarningCode, find_warnings
from schedules.rounds.calc.windows import BedWindow, Window, WindowRules

__all__ = [
    "BedGroup",
    "BedWindow",
    "BedWorkKey",
    "ClockDay",
    "CowCost",
    "DayWarning",
    "FeedRailLock",
    "GateHeld",
    "InnerGate",
    "Milking",
    "MilkingTimes",
    "ParlorDay",
    "PenAtParlor",
    "ReturnMode",
    "ReturnRule",
    "SparePen",
    "StraightBack",
    "Visit",
    "VisitFacts",
    "VisitKey",
    "VisitTimes",
    "WarningCode",
    "Window",
    "WindowRules",
    "build_return_rule",
    "find_warnings",
    "price_return",
    "retime",
    "time_day",
]
