"""The parlor on the page of pens: plan against record, who goes round, a better order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from equipment.barns.models import Pen
from equipment.parlor.calc import AnyParlor, go_round_frac, rotation_for_go_round_min
from equipment.parlor.models import Parlor, ParlorKind
from schedules.rounds.clock import deck_of
from schedules.rounds.parlor_reads import (
    OrderProposal,
    PaceRecord,
    holding_day,
    not_ended,
    order_proposal,
    pace_record,
)
from schedules.rounds.queries import ParlorDayView

from .base import Desk
from .parlor_holding import holding_chart

FIFTH = 0.2  # the best share of the 62 herds of Edwards 2012


@dataclass(frozen=True, slots=True)
class OrderPanel:
    """The farm's order beside a proposed one."""

    words: str
    own: str
    best: str
    pen_ids: tuple[str, ...]


def parlor_context(
    desk: Desk, parlor: Parlor | None, view: ParlorDayView | None, pens: list[Pen]
) -> dict[str, Any]:
    """Put the panel together: 4 queries."""
    if parlor is None:
        return {}
    deck = deck_of(parlor)
    proposal = order_proposal(view) if view else None
    names = {str(pen.pk): desk.place(pen.place) for pen in pens}
    return {
        "parlor_facts": [
            _say_plan(parlor, deck),
            _say_record(pace_record(parlor, desk.now)),
            *([_say_go_round(parlor, deck)] if parlor.kind == ParlorKind.ROTARY else []),
        ],
        "open_milkings": not_ended(desk.site_id, desk.now),
        "order": _order_panel(proposal, names) if proposal else None,
        "holding": holding_chart(desk, holding_day(view), names) if view else None,
    }


def _say_plan(parlor: Parlor, deck: AnyParlor) -> str:
    return _("Plan: %(cows)s cows an hour, %(turn)s min a turn; the farm's settings.") % {
        "cows": f"{deck.cows_per_h:,.0f}",
        "turn": f"{deck.rotation_min:.1f}",
    }


def _say_record(record: PaceRecord | None) -> str:
    if record is None:
        return _("Record: too few recorded pens in four weeks to say how fast it really goes.")
    fit = record.fit
    return _(
        "Record: %(s)s s a cow (%(low)s to %(high)s, 90 %%; n = %(n)d pens), %(cows)s cows an "
        "hour, %(diff)s %% against the plan; %(loss)s %% of stalls lost at the farm's pace, "
        "%(between)s s between pens; a pen is off by %(spread)s s in the middle."
    ) % {
        "s": f"{fit.s_per_cow:.2f}",
        "low": f"{fit.low_s:.2f}",
        "high": f"{fit.high_s:.2f}",
        "n": fit.n,
        "cows": f"{record.cows_per_h:,.0f}",
        "diff": f"{100 * record.difference_frac:+.0f}",
        "loss": f"{100 * record.loss_frac:.0f}",
        "between": f"{fit.between_s:.0f}",
        "spread": f"{fit.spread_s:.0f}",
    }


def _say_go_round(parlor: Parlor, deck: AnyParlor) -> str:
    times = {"mean_s": parlor.milking_mean_s, "sd_s": parlor.milking_sd_s}
    return _(
        "With milking times of %(mean)s s, sd %(sd)s s (the farm's setting), %(share)s %% of cows "
        "are not done after one turn; a fifth goes round at %(fifth)s min a turn."
    ) % {
        "mean": f"{parlor.milking_mean_s:.0f}",
        "sd": f"{parlor.milking_sd_s:.0f}",
        "share": f"{100 * go_round_frac(deck.rotation_min, **times):.0f}",
        "fifth": f"{rotation_for_go_round_min(FIFTH, **times):.1f}",
    }


def _order_panel(proposal: OrderProposal, names: dict[str, str]) -> OrderPanel:
    own, best = proposal.own, proposal.best
    offers = best.keys != own.keys and (proposal.gain_s > 0 or not proposal.is_own_allowed)
    return OrderPanel(
        words=_say_order(proposal),
        own=", ".join(names.get(key, key) for key in own.keys),
        best=", ".join(names.get(key, key) for key in best.keys),
        pen_ids=best.keys if offers and not best.short_s else (),
    )


def _say_order(proposal: OrderProposal) -> str:
    best = proposal.best
    if best.short_s:
        words = _(
            "No order fits: pens and %(n)d washes between milk for the tank and milk kept out of "
            "it need %(needed)s min, %(short)s min more than there are."
        )
        return words % {
            "n": best.n_washes,
            "needed": f"{best.needed_s / 60:,.0f}",
            "short": f"{best.short_s / 60:,.0f}",
        }
    if not proposal.is_own_allowed:
        return _(
            "The farm's order does not keep its classes of contagion, or milk that is kept out of "
            "the tank is not last in its class."
        )
    if proposal.gain_s <= 0 and not best.is_proven:
        return _("No better order was found; with so many pens not all orders were tried.")
    if proposal.gain_s <= 0:
        return _("No allowed order saves people more time than the farm's own.")
    words = _("It saves people %(min)s min a milking, on foot or at beds without a crew.")
    said = words % {"min": f"{proposal.gain_s / 60:,.0f}"}
    if best.is_proven:
        return said
    return said + " " + _("With so many pens not all orders were tried: a better one may be.")
