"""How hot a day is for people and cows, and what that rests on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from equipment.site.calc.heat_rest import (
    Effort,
    HeatCode,
    Sky,
    WorkRest,
    adjusted_air_degf,
    heat_index_degc,
    work_rest,
)

from .calc.cow_heat import ThiBand, ThiFormula, humidity_at_tmax_frac, thi, thi_band
from .models import DayForecast, WeatherDay
from .queries import forecast_days

RECORD_STANDS_D = 2  # weather of so many days ago stands for today; common practice, no source


@dataclass(frozen=True, slots=True)
class DayHeat:
    """The hottest hour of a day: `source` is who foretold it, empty where it was recorded."""

    on: date
    source: str
    tmax_degc: float
    rh_frac: float
    is_rh_estimated: bool
    adjusted_degf: float
    heat_index_degc: float
    rests: dict[Effort, WorkRest]
    thi: float
    thi_formula: ThiFormula
    thi_band: ThiBand

    @property
    def is_hot_for_people(self) -> bool:
        """Whether the table asks for rest of anybody."""
        return any(rest.code is not HeatCode.NORMAL for rest in self.rests.values())

    @property
    def is_hot_for_cows(self) -> bool:
        """Whether cows in milk feel it."""
        return self.thi_band is not ThiBand.NONE


def heat_of_day(site_id: int, on: date) -> DayHeat | None:
    """Reckon the heat of a day from its forecast, else from what was recorded last: 2 queries.

    In full sun and at the day's highest temperature: guidance, and it errs to more rest. The farm's
    own heat plan and local law govern in any case.
    """
    foretold = forecast_days(site_id, on, 1).first()
    if foretold is not None:
        return _heat(foretold, foretold.source, None)
    days = WeatherDay.objects.filter(
        site_id=site_id, on__gte=on - timedelta(days=RECORD_STANDS_D), on__lte=on
    )
    last = days.order_by("-on", "-tmax_degc").first()  # of several stations the hottest
    return None if last is None else _heat(last, "", last.rh_min_frac)


def heat_foretold(days: Iterable[DayForecast]) -> dict[date, DayHeat]:
    """Reckon the heat of days that somebody foretold, fetched before, as of each one by itself."""
    return {day.on: _heat(day, day.source, None) for day in days}


def heat_recorded(day: WeatherDay) -> DayHeat:
    """Reckon the heat of a day as it was recorded."""
    return _heat(day, "", day.rh_min_frac)


def _heat(day: DayForecast | WeatherDay, source: str, rh_min_frac: float | None) -> DayHeat:
    tmin_degc, tmax_degc = np.array([day.tmin_degc]), np.array([day.tmax_degc])
    estimated_frac = float(humidity_at_tmax_frac(tmin_degc, tmax_degc)[0])
    rh_frac = estimated_frac if rh_min_frac is None else rh_min_frac
    adjusted = adjusted_air_degf(day.tmax_degc, rh_frac, Sky.FULL_SUN)
    points = float(thi(tmax_degc, np.array([rh_frac]), ThiFormula.NRC)[0])
    return DayHeat(
        on=day.on,
        source=source,
        tmax_degc=day.tmax_degc,
        rh_frac=rh_frac,
        is_rh_estimated=rh_min_frac is None,
        adjusted_degf=adjusted,
        heat_index_degc=float(heat_index_degc(day.tmax_degc, rh_frac)),
        rests={effort: work_rest(adjusted, effort) for effort in Effort},
        thi=points,
        thi_formula=ThiFormula.NRC,
        thi_band=thi_band(points),
    )
