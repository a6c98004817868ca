"""Machines: what can't be counted on tomorrow?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.machines.models import ServiceRecord
from equipment.machines.queries import DUE_SOON_D, DUE_SOON_H, ItemDue, MachineView, machine_views
from equipment.site.calc.local_time import local_date_of
from equipment.site.models import HoldSubject
from equipment.site.queries import open_holds

from .base import Desk
from .charts import Chart, draw_levels
from .sand import say_day


@dataclass(frozen=True, slots=True)
class DueLine:
    """One service item of a machine in words."""

    item_id: int
    title: str
    left: str
    due: str
    is_soon: bool
    is_over: bool
    caution: str


@dataclass(frozen=True, slots=True)
class MachineLine:
    """One machine as the page shows it."""

    view: MachineView
    kind: str
    meter: str
    use: str
    dues: list[DueLine]
    is_usable: bool

    @property
    def next_due(self) -> DueLine | None:
        """The soonest service."""
        return self.dues[0] if self.dues else None


def machines_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: about 12 queries."""
    lines = [_line(desk, view) for view in machine_views(desk.site_id)]
    out = [line for line in lines if not line.is_usable]
    soon = [line for line in lines if line.is_usable and any(d.is_soon for d in line.dues)]
    return {
        "finding": _finding(lines, out, soon),
        "chart": _chart(lines),
        "lines": sorted(lines, key=lambda line: (line.is_usable, line.view.machine.name)),
        "holds": list(open_holds(desk.site_id, HoldSubject.MACHINE)),
        "names": {line.view.machine.pk: line.view.machine.name for line in lines},
        "records": list(
            ServiceRecord.objects.filter(site_id=desk.site_id)
            .select_related("machine", "item", "by")
            .order_by("-done_at")[:20]
        ),
    }


def _finding(lines: list[MachineLine], out: list[MachineLine], soon: list[MachineLine]) -> str:
    said = [
        ngettext("%d machine is out of use.", "%d machines are out of use.", len(out)) % len(out),
        ngettext(
            "%(n)d is due within %(h)d h or %(d)d days.",
            "%(n)d are due within %(h)d h or %(d)d days.",
            len(soon),
        )
        % {"n": len(soon), "h": int(DUE_SOON_H), "d": DUE_SOON_D},
    ]
    no_stand_in = [
        line
        for line in out
        if line.view.repair
        and line.view.repair.substitute is None
        and not any(
            other.is_usable and other.view.machine.kind == line.view.machine.kind for other in lines
        )
    ]
    if no_stand_in:
        names = ", ".join(line.view.machine.name for line in no_stand_in)
        said.append(_("No stand-in for %s.") % names)
    return " ".join(said)


def _line(desk: Desk, view: MachineView) -> MachineLine:
    last = view.last
    return MachineLine(
        view=view,
        kind=str(view.machine.get_kind_display()),
        meter=f"{last.meter_h:,.1f} h" if last else "–",
        use=_use(view),
        dues=[_due(desk, due) for due in view.dues],
        is_usable=view.is_usable,
    )


def _use(view: MachineView) -> str:
    if view.use is None:
        return "–"
    return _("%(likely).1f h a day (%(low).1f to %(high).1f)") % {
        "likely": view.use.likely_h_d,
        "low": view.use.low_h_d,
        "high": view.use.high_h_d,
    }


def _due(desk: Desk, one: ItemDue) -> DueLine:
    due, item = one.due, one.item
    today = local_date_of(desk.now, desk.caller.site.zone)
    by_date = due.due_on is not None and due.due_on <= today + timedelta(days=DUE_SOON_D)
    by_hours = due.left_h is not None and due.left_h <= DUE_SOON_H
    return DueLine(
        item_id=item.pk,
        title=item.title.get(desk.language) or item.title.get("en") or item.name,
        left=f"{due.left_h:,.0f} h" if due.left_h is not None else "–",
        due=_when(due.due_on, due.earliest_on, due.latest_on),
        is_soon=by_date or by_hours,
        is_over=one.is_over or (due.due_on is not None and due.due_on < today),
        caution=item.caution.get(desk.language) or item.caution.get("en") or "",
    )


def _when(likely: Any, earliest: Any, latest: Any) -> str:
    if likely is None:
        return _("not in sight")
    if earliest == latest:
        return say_day(likely)
    return _("%(likely)s (%(earliest)s to %(latest)s)") % {
        "likely": say_day(likely),
        "earliest": say_day(earliest),
        "latest": say_day(latest) if latest else _("later"),
    }


def _chart(lines: list[MachineLine]) -> Chart:
    """Draw how much of the interval to its next service by hours each machine has run."""
    bars = []
    for line in lines:
        one = next((d for d in line.view.dues if d.item.every_h and d.due.left_h is not None), None)
        if one is None or one.item.every_h is None or one.due.left_h is None:
            continue
        run = one.item.every_h - one.due.left_h
        words = f"{one.due.left_h:,.0f} h · {one.item.name}"
        bars.append((line.view.machine.name, max(run, 0.0), one.item.every_h, words))
    finding = _("Hours run toward each machine's next service; the dotted line is the service.")
    svg = draw_levels(key="dues", bars=bars, title=_("Toward the next service"), desc=finding)
    rows = tuple((name, f"{run:,.0f}", f"{every:,.0f}", words) for name, run, every, words in bars)
    heads = (_("Machine"), _("Run, h"), _("Interval, h"), _("Left"))
    return Chart("dues", finding, svg, heads, rows)
