"""The heat report: days on which the farm's heat rules applied, by recorded weather."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.site.calc.heat_rest import Effort
from equipment.weather.heat import DayHeat, heat_recorded
from equipment.weather.models import WeatherDay
from equipment.weather.queries import days_between
from schedules.work.models import StandingOrder

from .base import Desk
from .heat_words import BANDS, EFFORTS, say_rest
from .record_columns import Col, Raw, day, plain, quantity, trace
from .record_period import Period
from .wording import say_said


@dataclass(frozen=True, slots=True)
class HotDay:
    """A recorded day and its heat; `reached` are the standing orders that it called for."""

    day: WeatherDay
    heat: DayHeat
    reached: tuple[StandingOrder, ...]

    @property
    def pk(self) -> int:
        """The record of the weather."""
        return self.day.pk

    @property
    def applied(self) -> bool:
        """Whether any rule asked for something."""
        return self.heat.is_hot_for_people or self.heat.is_hot_for_cows or bool(self.reached)


def heat_days(
    desk: Desk, period: Period, orders: Sequence[StandingOrder]
) -> tuple[list[HotDay], int]:
    """Give the days on which a rule applied, and how many days have weather: 1 query."""
    days = list(days_between(desk.site_id, period.from_on, period.until_on))
    found = [HotDay(day, heat_recorded(day), _reached(day, orders)) for day in days]
    return [one for one in found if one.applied], len(days)


def _reached(day: WeatherDay, orders: Sequence[StandingOrder]) -> tuple[StandingOrder, ...]:
    return tuple(o for o in orders if day.tmax_degc >= o.trigger_rule.get("at_least", float("inf")))


def _rest(effort: Effort) -> Col:
    name = f"rest_{effort}_min_per_h"

    def minutes(_desk: Desk, row: HotDay) -> int | str | None:
        return row.heat.rests[effort].rest_min_per_h

    code = Raw(f"rest_{effort}", "string", lambda _d, row: str(row.heat.rests[effort].code))
    raws = (code, Raw(name, "integer", minutes))
    return Col(EFFORTS[effort], lambda _d, row: say_rest(row.heat.rests[effort]), raws, 30)


def _orders(desk: Desk, row: HotDay) -> str:
    return ", ".join(say_said(order.title, desk.language) for order in row.reached)


HEAT_COLUMNS = (
    day("on", gettext_lazy("Day"), lambda row: row.day.on),
    quantity("tmax_degc", gettext_lazy("Highest"), lambda row: row.day.tmax_degc, 0, width=20),
    Col(
        gettext_lazy("Humidity then"),
        lambda _d, row: f"{row.heat.rh_frac:.0%}",
        (
            Raw("rh_frac", "double", lambda _d, row: round(row.heat.rh_frac, 4)),
            Raw("is_rh_estimated", "boolean", lambda _d, row: row.heat.is_rh_estimated),
        ),
        22,
        is_number=True,
    ),
    *(_rest(effort) for effort in Effort),
    Col(
        gettext_lazy("Cows"),
        lambda _d, row: f"THI {row.heat.thi:.0f}, {BANDS[row.heat.thi_band]}",
        (
            Raw("thi", "double", lambda _d, row: round(row.heat.thi, 1)),
            Raw("thi_band", "string", lambda _d, row: str(row.heat.thi_band)),
        ),
        34,
    ),
    Col(
        gettext_lazy("Standing orders it called for"),
        lambda d, row: _orders(d, row) or "–",
        (Raw("standing_orders", "string", _orders),),
    ),
    plain("station", gettext_lazy("Station"), lambda row: row.day.station.name, 24),
    trace(18),
)


def say_heat_rules(desk: Desk, orders: Sequence[StandingOrder]) -> list[str]:
    """Say what the farm's heat rules are, as this program holds them."""
    words = _("%(work)s: made when the day's highest temperature reaches %(limit)s.")
    made = [
        words
        % {
            "work": say_said(order.title, desk.language) or order.name,
            "limit": desk.amount(order.trigger_rule["at_least"], "at_least_degc"),
        }
        for order in orders
        if "at_least" in order.trigger_rule
    ]
    return [
        _("People: minutes of rest in each hour of work by the NIOSH table (publication 2017-127), "
          "in full sun, at the day's highest temperature and the humidity then."),
        _("Cows in milk: heat load from a THI of 68 on (Collier et al. 2012)."),
        *(made or [_("No standing order is made by heat.")]),
        _("The farm's own written heat plan and local law go before these; neither is kept here."),
    ]  # fmt: skip
