"""What the Sand page says of an amount, of a batch's moisture, of what its forecast lacks."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django.utils import formats
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from equipment.site.calc.local_time import local_date_of
from schedules.sand import words
from schedules.sand.forecasts import WhyNone, why_none
from schedules.sand.models import Batch, DryForecast, Stage
from schedules.sand.queries import BatchView

from .base import Desk

WHY_NONE: dict[WhyNone, Promise] = {
    WhyNone.NO_WEATHER: gettext_lazy("No forecast: no weather is recorded yet. Import some."),
    WhyNone.NO_PAST_YEAR: gettext_lazy(
        "No forecast: the recorded weather has not one past year with all of these days."
    ),
    WhyNone.BAD_SERIES: gettext_lazy(
        "No forecast: the recorded weather contradicts itself. Import it anew."
    ),
}


def say_day(on: date | None) -> str:
    """Say a date in words: Wed 4 Mar; a dash for none."""
    return formats.date_format(on, "SHORT_DATE_FORMAT") if on else "–"


def say_range(low: date | None, mid: date | None, high: date | None) -> str:
    """Say the likely date, and the two between which eight of ten chances lie."""
    if mid is None:
        return _("not within the forecast")
    return _("%(mid)s (%(low)s to %(high)s)") % {
        "mid": say_day(mid),
        "low": say_day(low),
        "high": say_day(high) if high else _("later"),
    }


def tons_unit(desk: Desk) -> str:
    """Name the unit of sand on this site."""
    return words.tons_unit(desk.caller.site)


def tons(desk: Desk, dry_kg: float) -> float:
    """Give dry kilograms in the site's unit."""
    return words.tons(desk.caller.site, dry_kg)


def say_tons(desk: Desk, dry_kg: float, digits: int = 0) -> str:
    """Say dry kilograms in the site's unit."""
    return words.say_tons(desk.caller.site, dry_kg, digits)


def say_moisture(desk: Desk, view: BatchView) -> list[tuple[str, str]]:
    """Say what was measured last and what is reckoned of a layer, each named as what it is."""
    said = []
    if view.last_test:
        said_on = _("measured %(day)s") % {"day": desk.day(view.last_test.taken_at)}
        said.append((_percent(view.last_test.moisture_wb_frac), said_on))
    if view.batch.stage == Stage.DRYING and view.forecast and view.forecast.moisture:
        estimate = view.forecast.moisture
        between = _("estimate, %(low)s to %(high)s") % {
            "low": _percent(estimate.low_wb_frac),
            "high": _percent(estimate.high_wb_frac),
        }
        said.append((_percent(estimate.likely_wb_frac), between))
    return said or [(_percent(view.batch.moisture_wb_frac), _say_source(view.batch))]


def _percent(frac: float) -> str:
    return f"{frac:.1%}"


def _say_source(batch: Batch) -> str:
    """Say where a moisture comes from that nobody measured on this batch."""
    if batch.is_bought:
        return _("as delivered, not measured here")
    if batch.stage in (Stage.DRAINING, Stage.DRYING):
        return _("as scooped, not measured")
    return _("of the wettest sand brought to it")


def find_why_none(desk: Desk, views: Iterable[BatchView]) -> dict[int, WhyNone]:
    """Ask why a layer was not forecast today, where one was not: no query, else 2."""
    zone = desk.caller.site.zone
    today = local_date_of(desk.now, zone)
    is_fresh = all(
        v.forecast is not None and local_date_of(v.forecast.made_at, zone) >= today
        for v in views
        if v.batch.stage == Stage.DRYING
    )
    return {} if is_fresh else why_none(desk.caller.site, desk.now)


def say_lacks(desk: Desk, forecast: DryForecast | None, why: WhyNone | None) -> str:
    """Say why there is no forecast of today, or what of its weather was never recorded."""
    if why is not None:
        old = _("These dates are of %s.") % desk.day(forecast.made_at) if forecast else ""
        return f"{WHY_NONE[why]} {old}".rstrip()
    if forecast is None or not forecast.n_days_filled:
        return ""
    return ngettext(
        "%(n)d day has no recorded weather: past years stand in for it.",
        "%(n)d days have no recorded weather: past years stand in for them.",
        forecast.n_days_filled,
    ) % {"n": forecast.n_days_filled}
