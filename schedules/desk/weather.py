"""Weather: what was recorded, what the coming week may bring, how hot it is, how good that was."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.site.calc.local_time import local_date_of
from equipment.site.errors import InvalidInputError
from equipment.site.units import UnitSystem, to_stored, unit_shown
from equipment.weather.calc.days import Floats
from equipment.weather.calc.et0 import ET0Method
from equipment.weather.forecasts import (
    TOLD_MAX_D,
    WEEK_D,
    ToldDay,
    WeekMembers,
    foretell_day,
    week_members,
)
from equipment.weather.models import DayForecast, Measure, WeatherDay
from equipment.weather.queries import WeekRecord, forecast_days, recorded_days, week_records

from .base import Desk, desk_view, done
from .charts import Chart
from .forms import read_number, read_words
from .heat_words import heat_words
from .weather_chart import draw_fan

N_RECORDED = 14
QUANTILES = (0.1, 0.5, 0.9)
METHODS = {
    ET0Method.GIVEN: gettext_lazy("given by its source"),
    ET0Method.HOURLY: gettext_lazy("hours measured in full"),
    ET0Method.FULL: gettext_lazy("all measured"),
    ET0Method.PARTLY_ESTIMATED: gettext_lazy("partly estimated"),
    ET0Method.TEMPERATURES_ONLY: gettext_lazy("temperatures only, the rest estimated"),
}
INPUTS = {
    "solar": gettext_lazy("radiation"),
    "humidity": gettext_lazy("humidity"),
    "wind": gettext_lazy("wind"),
}
MEASURES = {Measure.RAIN: gettext_lazy("Rain"), Measure.ET0: "ET0"}


def weather_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: about 9 queries."""
    today = local_date_of(desk.now, desk.caller.site.zone)
    week = week_members(desk.caller.site, desk.now)
    since = today - timedelta(days=N_RECORDED)
    return {
        "finding": _finding(desk, week),
        "charts": _charts(desk, week),
        "told": [_told(desk, day) for day in forecast_days(desk.site_id, today, TOLD_MAX_D + 1)],
        "days_ahead": [
            (on.isoformat(), desk.day(on))
            for on in (today + timedelta(days=n) for n in range(TOLD_MAX_D + 1))
        ],
        "heat": heat_words(desk),
        "records": [_record(desk, record) for record in week_records(desk.site_id)],
        "recorded": [
            _recorded(desk, day)
            for day in recorded_days(desk.site_id, today).filter(on__gte=since).order_by("-on")
        ],
        "unit_t": unit_shown("tmax_degc", _system(desk)).symbol,
        "unit_r": unit_shown("rain_mm", _system(desk)).symbol,
    }


def _system(desk: Desk) -> UnitSystem:
    return "us" if desk.caller.site.units == "us" else "si"


def _depth(desk: Desk, depth_mm: float) -> str:
    return desk.amount(depth_mm, "depth_mm", digits=2 if _system(desk) == "us" else 1)


def _finding(desk: Desk, week: WeekMembers | None) -> str:
    if week is None:
        return _("No past year has this week on record: nothing is forecast.")
    low, likely, high = np.quantile(week.members.rain_mm.sum(axis=1), QUANTILES)
    words = _("Rain of the next %(n)d days: %(likely)s, 8 in 10 from %(low)s to %(high)s.")
    return words % {
        "n": WEEK_D,
        "likely": _depth(desk, likely),
        "low": _depth(desk, low),
        "high": _depth(desk, high),
    }


def _charts(desk: Desk, week: WeekMembers | None) -> list[Chart]:
    if week is None:
        return []
    amounts = {Measure.RAIN: week.members.rain_mm, Measure.ET0: week.members.et0_mm}
    return [_fan(desk, week, measure, mm) for measure, mm in amounts.items()]


def _fan(desk: Desk, week: WeekMembers, measure: Measure, amount_mm: Floats) -> Chart:
    low, likely, high = np.quantile(np.cumsum(amount_mm, axis=1), QUANTILES, axis=0)
    days = [desk.day(week.members.start_on + timedelta(days=n)) for n in range(WEEK_D)]
    said = [tuple(_depth(desk, mm) for mm in row) for row in zip(low, likely, high, strict=True)]
    finding = _("%(measure)s added up from today: likely, and 8 in 10 (%(n)d members)") % {
        "measure": MEASURES[measure],
        "n": week.members.n_members,
    }
    return Chart(
        key=f"fan-{measure}",
        finding=finding,
        svg=draw_fan(
            key=f"fan-{measure}",
            days=days,
            likely_mm=likely.tolist(),
            range_mm=list(zip(low.tolist(), high.tolist(), strict=True)),
            said=[f"{of[1]} ({_bare(of[0])}–{_bare(of[2])})" for of in said],
            title=finding,
            desc=f"{days[-1]}: {said[-1][1]} ({said[-1][0]} – {said[-1][2]})",
        ),
        heads=(_("Day"), _("Low (P10)"), _("Likely (P50)"), _("High (P90)")),
        rows=tuple((day, *of) for day, of in zip(days, said, strict=True)),
    )


def _bare(amount: str) -> str:
    """Leave the unit out where the number beside it has it: columns are narrow."""
    return amount.split(" ", 1)[0]


def _temperatures(desk: Desk, day: DayForecast | WeatherDay) -> str:
    return f"{desk.amount(day.tmin_degc, 'tmin_degc')} – {desk.amount(day.tmax_degc, 'tmax_degc')}"


def _told(desk: Desk, day: DayForecast) -> tuple[str, ...]:
    rain = _("%(chance).0f%%: %(rain)s if it rains") % {
        "chance": 100 * day.rain_chance_frac,
        "rain": _depth(desk, day.rain_mm),
    }
    et0 = f"{_depth(desk, day.et0_mm)} ± {_depth(desk, day.et0_sd_mm)}"
    if day.et0_method == ET0Method.TEMPERATURES_ONLY:
        et0 += " " + _("(estimated from temperatures)")
    source = f"{day.source}, {desk.moment(day.made_at)}"
    return desk.day(day.on), _temperatures(desk, day), rain, et0, source


def _recorded(desk: Desk, day: WeatherDay) -> tuple[str, ...]:
    depths = _depth(desk, day.rain_mm), _depth(desk, day.et0_mm)
    return desk.day(day.on), _temperatures(desk, day), *depths, _say_method(day)


def _say_method(day: WeatherDay) -> str:
    """Name what was estimated; of days recorded before that was kept, the method alone."""
    if day.et0_method not in set(METHODS):
        return day.et0_method
    said = str(METHODS[ET0Method(day.et0_method)])
    names = [str(INPUTS[name]) for name in day.et0_estimated.split(",") if name]
    return said + (": " + ", ".join(names) if names else "")


def _record(desk: Desk, record: WeekRecord) -> tuple[str, ...]:
    return (
        str(MEASURES[record.measure]),
        str(record.n_forecasts),
        f"{100 * record.hit_share:.0f}%",
        _depth(desk, record.bias_mm),
        _depth(desk, record.crps_mm),
        _depth(desk, record.climate_crps_mm),
    )


@desk_view
def foretell(desk: Desk) -> HttpResponse:
    """Take a forecast of one coming day as a lead typed it."""
    desk.require_lead()
    posted = desk.request.POST
    try:
        on = date.fromisoformat(posted.get("on", ""))
    except ValueError as error:
        raise InvalidInputError(_("Choose %s from the list.") % _("Day")) from error
    told = ToldDay(
        on=on,
        tmin_degc=_shown(desk, "tmin", _("Lowest"), "tmin_degc"),
        tmax_degc=_shown(desk, "tmax", _("Highest"), "tmax_degc"),
        rain_chance_frac=read_number(posted, "chance", _("Chance of rain, %"), most=100) / 100,
        rain_mm=_shown(desk, "rain", _("Rain if it rains"), "rain_mm"),
    )
    source = read_words(posted, "source", _("Source"), is_needed=True, most=60)
    foretell_day(site_id=desk.site_id, told=told, source=source, at=desk.now)
    return done(desk, _("The forecast is saved; the dates follow."), "weather", anchor="told-h")


def _shown(desk: Desk, field: str, label: str, name: str) -> float:
    unit = unit_shown(name, _system(desk))
    low, high = (-100, 150) if name.endswith("_degc") else (0, 2_000)
    typed = read_number(desk.request.POST, field, label, least=low, most=high)
    return to_stored(typed, name, unit)
