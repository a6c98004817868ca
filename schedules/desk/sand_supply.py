"""The supply on the Sand page: days of sand, what to buy and when, places needed, and why."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from schedules.outlook.supply import PenTurn, PlacesNeeded, SandSupply
from schedules.outlook.supply_facts import ResidenceSource
from schedules.sand.calc.ahead import CHANCE_FRAC, Purchase
from schedules.sand.calc.supply import Range
from schedules.sand.models import Stage
from schedules.sand.queries import BatchView, SandStock

from .base import Desk
from .charts import Chart
from .fan import Strip, draw_fan
from .sand_words import say_day, say_tons, tons, tons_unit

WEEK_D = 7
RESIDENCE = {
    ResidenceSource.FORECASTS: gettext_lazy("by the forecasts of the layers that lie there now"),
    ResidenceSource.RECORDS: gettext_lazy("by the layers picked up in the last four weeks"),
    ResidenceSource.NONE: gettext_lazy("nothing tells: no layer lies there or was picked up"),
}


@dataclass(frozen=True, slots=True)
class PlaceLine:
    """One kind of place against what a steady day needs of it."""

    name: str
    needed: str
    n_there: int
    lies: str
    verdict: str


@dataclass(frozen=True, slots=True)
class NextLine:
    """A released batch, and the days for which it feeds all beds in its turn."""

    number: int
    amount: str
    days: str


@dataclass(frozen=True, slots=True)
class PenLine:
    """What a pen's beds lost since they got sand, and the batches that it comes from."""

    name: str
    since: str
    lost: str
    batches: str


def supply_context(
    desk: Desk,
    supply: SandSupply,
    stock: SandStock,
    views: Iterable[BatchView],
    pen_names: Mapping[int, str],
) -> dict[str, Any]:
    """Put the part of the Sand page together that is about supply: no query."""
    if not supply.ahead.use_kg.any():
        return {"finding": ""}
    return {
        "finding": say_days(supply),
        "buy": _say_purchase(desk, supply),
        "steady": _say_steady(desk, supply),
        "chart": _chart(desk, supply),
        "places": _places(desk, supply),
        "next": _next(desk, supply, views),
        "pens": [_pen_line(desk, turn, pen_names) for turn in supply.pens],
        "rests_on": _rests_on(desk, supply, stock),
    }


def say_days(supply: SandSupply) -> str:
    """Say the likely days of sand, and the fewest in one of ten chances."""
    days, n_days = supply.days_d, supply.ahead.n_days
    if days.likely == 0:
        return _("Ready sand is below the safety stock by tonight.")
    if math.isinf(days.likely):
        first = _("Sand for more than %(n)d days: so far batches on record tell") % {"n": n_days}
    else:
        first = ngettext("Sand for %(n)d day", "Sand for %(n)d days", int(days.likely)) % {
            "n": int(days.likely)
        }
    if days.low == days.likely:
        return f"{first}."
    words = _("%(first)s; one chance in ten that it is %(low)d or less.")
    return words % {"first": first, "low": int(days.low)}


def _say_purchase(desk: Desk, supply: SandSupply) -> str:
    bought, n_days = supply.purchase, supply.ahead.n_days
    if bought is None:
        return _("What to buy is told once the farm file gives buy_lead_d (year_ahead): the days "
                 "from order to delivery.")  # fmt: skip
    if bought.first_d is None:
        words = _("Nothing needs to be bought within %(n)d days: the chance to fall below the "
                  "safety stock is %(chance)s.")  # fmt: skip
        return words % {"n": n_days, "chance": _percent(bought.below_unbought_frac)}
    return " ".join(filter(None, (_say_order(desk, supply, bought), _say_rest(bought))))


def _say_order(desk: Desk, supply: SandSupply, bought: Purchase) -> str:
    """Say the first week's deliveries, when to order them, and how much it comes to in all."""
    assert bought.first_d is not None
    assert bought.order_d is not None
    n_first = int(bought.n_trucks[bought.first_d : bought.first_d + WEEK_D].sum())
    n_all = int(bought.n_trucks.sum())
    words = ngettext(
        "Order %(n)d truck (%(mass)s) by %(day)s, for the week from %(first)s; %(all)d (%(in_all)s)"
        " in all until %(last)s.",
        "Order %(n)d trucks (%(mass)s) by %(day)s, for the week from %(first)s; %(all)d "
        "(%(in_all)s) in all until %(last)s.",
        n_first,
    )
    return words % {
        "n": n_first,
        "mass": say_tons(desk, n_first * bought.truck_kg),
        "day": _("today") if bought.order_d == 0 else say_day(supply.day_on(bought.order_d)),
        "first": say_day(supply.day_on(bought.first_d)),
        "all": n_all,
        "in_all": say_tons(desk, n_all * bought.truck_kg),
        "last": say_day(supply.day_on(supply.ahead.n_days - 1)),
    }


def _say_rest(bought: Purchase) -> str:
    """Say the chance that stays, where an order comes too late; else what buying makes of it."""
    if bought.below_frac > CHANCE_FRAC:
        words = _("Even so the chance to fall below the safety stock, before an order of today is "
                  "here, is %(chance)s.")  # fmt: skip
        return words % {"chance": _percent(bought.below_frac)}
    words = _("The chance to fall below the safety stock is then %(chance)s; without it, %(none)s.")
    shares = {"chance": bought.below_frac, "none": bought.below_unbought_frac}
    return words % {name: _percent(share) for name, share in shares.items()}


def _say_steady(desk: Desk, supply: SandSupply) -> str:
    """Say what a day of this month takes, gives back and leaves to be bought."""
    words = _("A steady day: beds take %(use)s, lanes give back %(back)s, %(buy)s are bought.")
    amounts = {
        "use": supply.use_kg_d,
        "back": supply.recovered_kg_d,
        "buy": supply.make_up_kg_d,
    }
    return words % {name: _say_tons_range(desk, kg_d) for name, kg_d in amounts.items()}


def _say_tons_range(desk: Desk, kg: Range) -> str:
    low, likely, high = (tons(desk, amount) for amount in (kg.low, kg.likely, kg.high))
    return f"{likely:,.1f} {tons_unit(desk)} ({low:,.1f} – {high:,.1f})"


def _places(desk: Desk, supply: SandSupply) -> list[PlaceLine]:
    found = (("bay", supply.bays), ("pile_place", supply.piles))
    return [_place_line(desk.noun(noun), of) for noun, of in found if of is not None]


def _place_line(name: str, of: PlacesNeeded) -> PlaceLine:
    return PlaceLine(
        name=name,
        needed=_say_range(of.needed, digits=1),
        n_there=of.n_there,
        lies=_("%(days)s days") % {"days": _say_range(of.residence_d)},
        verdict=_say_verdict(of),
    )


def _say_verdict(of: PlacesNeeded) -> str:
    """Say how many are lacking, in the middle of the chances and in one of ten."""
    if of.needed.high <= of.n_there:
        return _("enough")
    if math.isinf(of.needed.likely):
        return _("not in sight: some layers are not foreseen dry")
    n_short = max(math.ceil(of.needed.likely - 1e-9) - of.n_there, 0)
    if n_short == 0:
        return _("enough as likely; too few in one chance of ten")
    return ngettext("%(n)d is lacking", "%(n)d are lacking", n_short) % {"n": n_short}


def _say_range(of: Range, digits: int = 0) -> str:
    low, likely, high = (_say_number(value, digits) for value in (of.low, of.likely, of.high))
    return f"{likely} ({low} – {high})"


def _say_number(value: float, digits: int) -> str:
    return f"{value:,.{digits}f}" if math.isfinite(value) else "–"


def _percent(share: float) -> str:
    return f"{share:.0%}"


def _next(desk: Desk, supply: SandSupply, views: Iterable[BatchView]) -> list[NextLine]:
    """Lay released batches end to end, the oldest released first, at the likely use."""
    use_kg = supply.ahead.use_kg.mean(axis=0).cumsum()
    released = [v for v in views if v.batch.stage == Stage.RELEASED and not v.is_held]
    released.sort(key=lambda view: (view.batch.released_at, view.batch.number))
    lines, fed_kg = [], 0.0
    for view in released:
        begins_on = supply.day_on(int((use_kg <= fed_kg).sum()))
        fed_kg += max(view.dry_kg, 0.0)
        ends_on = supply.day_on(int((use_kg < fed_kg).sum()))
        days = _("later")
        if begins_on is not None:
            last = say_day(ends_on) if ends_on else _("later")
            days = _("%(first)s to %(last)s") % {"first": say_day(begins_on), "last": last}
        lines.append(NextLine(view.batch.number, say_tons(desk, view.dry_kg), days))
    return lines


def _pen_line(desk: Desk, turn: PenTurn, pen_names: Mapping[int, str]) -> PenLine:
    since = _("not in four weeks")
    if turn.since_d is not None:
        since = ngettext("%(n)d day ago", "%(n)d days ago", turn.since_d) % {"n": turn.since_d}
    shares = [
        f"{share.number} ({say_tons(desk, share.dry_kg, digits=1)})" for share in turn.batches
    ]
    given_kg = sum(share.dry_kg for share in turn.batches)
    if turn.lost_kg - given_kg > 1:
        lacks = _("%(amount)s lacking")
        shares.append(lacks % {"amount": say_tons(desk, turn.lost_kg - given_kg, digits=1)})
    return PenLine(
        name=pen_names.get(turn.pen_id, "–"),
        since=since,
        lost=say_tons(desk, turn.lost_kg, digits=1),
        batches=", ".join(shares),
    )


def _say_chart(supply: SandSupply) -> str:
    """Say when the middle of the chances is below the safety stock."""
    below_on = supply.day_on(supply.days_d.likely)
    if below_on is None:
        return _("Ready sand day by day if nothing is bought: above the safety stock throughout.")
    words = _("Ready sand day by day if nothing is bought: below the safety stock from %(day)s.")
    return words % {"day": say_day(below_on)}


def _chart(desk: Desk, supply: SandSupply) -> Chart:
    ahead, unit = supply.ahead, tons_unit(desk)
    low, middle, high = ([tons(desk, kg) for kg in band] for band in ahead.bands_kg.tolist())
    days = [ahead.start_on + timedelta(days=n) for n in range(ahead.n_days)]
    safety, opening = tons(desk, ahead.safety_kg), tons(desk, ahead.opening_kg)
    strip = Strip(
        label=_("Ready sand"),
        level=f"{opening:,.0f} {unit}",
        now=opening,
        bands=list(zip(low, middle, high, strict=True)),
        line=safety,
        top=max(opening, safety, *high, 1.0),
    )
    finding = _say_chart(supply)
    weekly, named = range(0, ahead.n_days, WEEK_D), range(0, ahead.n_days - WEEK_D + 1, WEEK_D)
    svg = draw_fan(
        key="supply",
        strips=[strip],
        times=[say_day(on) if n in named else "" for n, on in enumerate(days)],
        title=_("Ready sand in the days ahead"),
        desc=finding,
    )
    trucks = supply.purchase.n_trucks.cumsum() if supply.purchase else None
    heads = (_("End of"), *(f"{name}, {unit}" for name in (_("1 in 10 below"), _("Middle"),
             _("1 in 10 above"))), _("Trucks there by then"))  # fmt: skip
    rows = tuple(
        (
            say_day(days[n]),
            *(f"{band[n]:,.0f}" for band in (low, middle, high)),
            "–" if trucks is None else f"{trucks[n]}",
        )
        for n in weekly
    )
    legend = (
        ("bar soft", _("8 chances in 10, by the day; the middle one as a line")),
        ("bar", _("released now")),
    )
    return Chart("supply", finding, svg, heads, rows, legend)


def _rests_on(desk: Desk, supply: SandSupply, stock: SandStock) -> list[tuple[str, str]]:
    """Say every figure with where it comes from."""
    own, practice = supply.own, supply.practice
    use = _("%(n)d stalls × %(each)s × %(month)s for this month, ± %(sd)s")
    measured = say_tons(desk, stock.use_kg_d, digits=1) if stock.is_use_measured else "–"
    recovery = supply.recovery
    source = ngettext("by the loads of %(n)d week", "by the loads of %(n)d weeks", recovery.n)
    return [
        (
            _("Use a day (settings)"),
            use
            % {
                "n": supply.n_stalls,
                "each": desk.amount(practice.use_kg_stall_d, "use_kg", digits=1),
                "month": f"{supply.month_frac:.2f}",
                "sd": _percent(own.use_sd_frac),
            },
        ),
        (_("Bedded a day in the last two weeks, by the ledger"), measured),
        (
            _("Recovery"),
            f"{_percent(recovery.frac)} ± {recovery.sd_frac:.1%}, "
            + (source % {"n": recovery.n} if recovery.is_measured else _("the farm's setting")),
        ),
        (_("Lost when a layer is picked up (setting)"), _percent(own.screening_loss_frac)),
        (_("Days on a pad"), _say_residence(supply)),
        (
            _("A pile takes sand, then cures (settings)"),
            _("%(close)d and %(cure)d days")
            % {"close": practice.pile_close_d, "cure": practice.cure_d},
        ),
        (_("Safety stock (setting)"), say_tons(desk, practice.safety_stock_kg)),
        (
            _("Days from order to delivery, and a truck (settings)"),
            f"{own.buy_lead_d or '–'}, {say_tons(desk, own.truck_kg, digits=1)}",
        ),
        (_("Ready only after these days"), say_tons(desk, supply.later_kg)),
        (_("Held, so not counted"), say_tons(desk, supply.held_kg)),
    ]


def _say_residence(supply: SandSupply) -> str:
    found = supply.residence
    words = str(RESIDENCE[found.source])
    return f"{words} ({found.n})" if found.n else words
