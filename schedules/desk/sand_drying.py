"""What would dry a batch sooner, what its tests changed, how fast its bay is, how good we were."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.site.units import UnitSystem, to_shown, unit_shown
from schedules.sand.forecasts import Option
from schedules.sand.learning import DryRecord, dry_record
from schedules.sand.models import Stage
from schedules.sand.queries import BatchView

from .base import Desk
from .sand_words import say_range


@dataclass(frozen=True, slots=True)
class DryingLine:
    """One batch on a pad."""

    number: int
    place: str
    dry_on: str
    untested: str
    options: list[tuple[str, str, str]]  # what, dry on, days sooner
    rate: str


@dataclass(frozen=True, slots=True)
class DryingFacts:
    """All batches on pads that have a forecast, and the record of the forecasts before."""

    lines: list[DryingLine]
    record: str


def drying_facts(desk: Desk, views: Iterable[BatchView]) -> DryingFacts:
    """Put the part of the Sand page together that is about drying: 1 query."""
    lines = [
        _line(desk, view, view.forecast.detail)
        for view in views
        if view.batch.stage == Stage.DRYING and view.forecast and "options" in view.forecast.detail
    ]
    return DryingFacts(lines, _say_record(dry_record(desk.site_id)))


def _line(desk: Desk, view: BatchView, detail: Mapping[str, Any]) -> DryingLine:
    batch, forecast = view.batch, view.forecast
    assert forecast is not None
    return DryingLine(
        number=batch.number,
        place=desk.place(batch.place) if batch.place else "–",
        dry_on=say_range(forecast.dry_on_p10, forecast.dry_on_p50, forecast.dry_on_p90),
        untested=_say_untested(detail),
        options=[_option(desk, option) for option in detail["options"]],
        rate=_say_rate(detail["rate_frac"], detail["n_rate_batches"]),
    )


def _say_dates(dates: Iterable[str]) -> str:
    low, mid, high = (date.fromisoformat(on) if on else None for on in dates)
    return say_range(low, mid, high)


def _say_untested(detail: Mapping[str, Any]) -> str:
    n_tests = detail["n_tests"]
    if not n_tests:
        return _("not tested yet")
    words = ngettext("%(dates)s before its %(n)d test", "%(dates)s before its %(n)d tests", n_tests)
    return words % {"dates": _say_dates(detail["untested"]), "n": n_tests}


def _say_one_more_turn(_desk: Desk, option: Mapping[str, Any]) -> str:
    n_turns = option["turns_d"]
    return ngettext("turned %(n)d time a day", "turned %(n)d times a day", n_turns) % {"n": n_turns}


def _say_thinner(desk: Desk, option: Mapping[str, Any]) -> str:
    system: UnitSystem = "us" if desk.caller.site.units == "us" else "si"
    depth = to_shown(option["thickness_m"], "thickness_m", system, us="in")
    unit = unit_shown("thickness_m", system, us="in")
    shown = f"{depth:.{1 if system == 'us' else 2}f}"
    return _("spread %(depth)s %(unit)s deep") % {"depth": shown, "unit": unit.symbol}


OPTION_WORDS: dict[Option, Callable[[Desk, Mapping[str, Any]], str]] = {
    Option.ONE_MORE_TURN: _say_one_more_turn,
    Option.THINNER: _say_thinner,
}


def _option(desk: Desk, option: Mapping[str, Any]) -> tuple[str, str, str]:
    low, likely, high = option["saved_d"]
    saved = ngettext(
        "%(n)d day sooner (%(low)d to %(high)d)", "%(n)d days sooner (%(low)d to %(high)d)", likely
    ) % {"n": likely, "low": low, "high": high}
    what = OPTION_WORDS[Option(option["code"])](desk, option)
    return what, _say_dates(option["dry_on"]), saved


def _say_rate(rate_frac: Iterable[float], n_batches: int) -> str:
    """Say the bay's rate against the farm's own figure, and on how many batches it rests."""
    low, likely, high = rate_frac
    words = ngettext(
        "%(likely)s (%(low)s to %(high)s), from %(n)d batch",
        "%(likely)s (%(low)s to %(high)s), from %(n)d batches",
        n_batches,
    )
    shown = {"likely": f"{likely:.2f}", "low": f"{low:.2f}", "high": f"{high:.2f}"}
    return words % {**shown, "n": n_batches}


def _say_record(record: DryRecord | None) -> str:
    if record is None:
        return _("No forecast has come due yet: none of them is checked.")
    words = ngettext(
        "%(n)d forecast of this farm has come due (%(batches)d on pads): off by %(days)s days"
        " (CRPS), %(hits)s in its 80%% range.",
        "%(n)d forecasts of this farm have come due (%(batches)d on pads): off by %(days)s days"
        " (mean CRPS), %(hits)s in their 80%% range.",
        record.n_forecasts,
    )
    return words % {
        "n": record.n_forecasts,
        "batches": record.n_batches,
        "days": f"{record.crps_d:.1f}",
        "hits": f"{record.hit_share:.0%}",
    }
