"""What the lanes give back: measured by the ledger where it can be, else the farm's own figure."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Q

from equipment.sandyard.calc import Period, calibrate_recovery
from equipment.site.looks import once_a_look
from schedules.sand.services import practice_of

from .models import AccountKind, SandMove

WEEK = timedelta(days=7)
WEEKS = 26  # half a year: long enough for n, short enough that the farm is still the same


@dataclass(frozen=True, slots=True)
class Recovery:
    """Share of bedded sand that lanes give back, with its standard deviation.

    `n` counts the weeks of loads it rests on; 0 where both are the farm's own settings.
    `spread_frac` is how far one week lies from another.
    """

    frac: float
    sd_frac: float
    n: int
    spread_frac: float

    @property
    def is_measured(self) -> bool:
        return self.n > 0


@once_a_look
def recovery_of(site_id: int, at: datetime) -> Recovery:
    """Recovery and its sd, by the loads of the last 26 whole weeks before `at`: 1 query.

    With fewer than four weeks in which sand was bedded and scooped, the farm's settings
    `recovery_frac` and `recovery_sd_frac` (n is 0). A measured share above 1 is given as 1: beds
    were not filled as they lost. The settling formulas have no part in it.
    """
    measured = calibrate_recovery(_weeks(site_id, at))
    if measured is None:
        practice = practice_of(site_id)
        return Recovery(practice.recovery_frac, practice.recovery_sd_frac, 0, 0.0)
    return Recovery(min(measured.frac, 1.0), measured.sd_frac, measured.n, measured.spread_frac)


def _weeks(site_id: int, at: datetime) -> list[Period]:
    """Sand into beds and out of lanes by week; a week without either tells nothing."""
    since = at - WEEKS * WEEK
    rows = SandMove.objects.filter(site_id=site_id, at__gte=since, at__lt=at)
    bedded, scooped = defaultdict[int, float](float), defaultdict[int, float](float)
    is_either = Q(target__kind=AccountKind.BEDS) | Q(source__kind=AccountKind.LANE)
    columns = ("at", "dry_kg", "source__kind", "target__kind")
    for when, kg, source, target in rows.filter(is_either).values_list(*columns):
        if target == AccountKind.BEDS:
            bedded[(when - since) // WEEK] += kg
        if source == AccountKind.LANE:
            scooped[(when - since) // WEEK] += kg
    return [Period(bedded[week], scooped[week]) for week in sorted(bedded.keys() & scooped.keys())]
