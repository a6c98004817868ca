"""All that is stored of what stands on the farm."""

from .barns.models import Alley, BedGroup, Pen
from .basins.models import Basin, LevelReading
from .flushing.models import FlushRun, FlushTimer, FlushWater, Lock, Tank
from .machines.models import (
    CheckItem,
    Defect,
    Machine,
    MeterReading,
    PrestartCheck,
    Repair,
    ServiceItem,
    ServiceRecord,
)
from .parlor.models import MilkingStart, Parlor
from .sandyard.models import Bay, Lane, Pad, PilePlace, SandPractice, Slab
from .site.models import (
    Actor,
    Change,
    ChangeCursor,
    Event,
    Hold,
    IdempotencyKey,
    Membership,
    Place,
    Site,
    SiteVersion,
    TaskRun,
    User,
)
from .weather.models import WeatherDay, WeatherStation

__all__ = [
    "Actor",
    "Alley",
    "Basin",
    "Bay",
    "BedGroup",
    "Change",
    "ChangeCursor",
    "CheckItem",
    "Defect",
    "Event",
    "FlushRun",
    "FlushTimer",
    "FlushWater",
    "Hold",
    "IdempotencyKey",
    "Lane",
    "LevelReading",
    "Lock",
    "Machine",
    "Membership",
    "MeterReading",
    "MilkingStart",
    "Pad",
    "Parlor",
    "Pen",
    "PilePlace",
    "Place",
    "PrestartCheck",
    "Repair",
    "SandPractice",
    "ServiceItem",
    "ServiceRecord",
    "Site",
    "SiteVersion",
    "Slab",
    "Tank",
    "TaskRun",
    "User",
    "WeatherDay",
    "WeatherStation",
]
