"""Machines: what can't be counted on tomorrow?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.attachments.models import Attachment, SubjectKind
from equipment.attachments.queries import attachments_of
from equipment.machines.figures import is_routine
from equipment.machines.models import Defect, ServiceItem, ServiceRecord
from equipment.machines.queries import DUE_SOON_D, DUE_SOON_H, ItemDue, MachineView, machine_views
from equipment.site.calc.local_time import local_date_of
from equipment.site.models import HoldSubject
from equipment.site.queries import open_holds

from .base import Desk
from .calendars import machine_links
from .charts import Chart
from .machine_figures import figures_context
from .ranges import RangeBar, draw_ranges
from .sand_words import say_day
from .wording import say_said

PHOTOS_FOR = timedelta(days=14)  # of looks round a machine; those of a defect stand as long as it
Photos = dict[int, list[Attachment]]


@dataclass(frozen=True, slots=True)
class DueLine:
    """One service item of a machine in words."""

    item_id: int
    title: str
    left: str
    due: str
    is_soon: bool
    is_over: bool
    is_routine: bool
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
    defects: list[tuple[Defect, list[Attachment]]]
    shown: list[Attachment]

    @property
    def next_due(self) -> DueLine | None:
        """The soonest service that is over or more than a daily round."""
        said = (due for due in self.dues if due.is_over or not due.is_routine)
        return next(said, self.dues[0] if self.dues else None)

    @property
    def rank(self) -> tuple[bool, bool, bool, str]:
        """Out of use first, then overdue, then due soon."""
        due = self.next_due
        is_over, is_soon = (due.is_over, due.is_soon) if due else (False, False)
        return self.is_usable, not is_over, not is_soon, self.view.machine.name


def machines_context(desk: Desk) -> dict[str, Any]:
    """Put the page together: about 26 queries."""
    views = machine_views(desk.site_id)
    defects = [defect.pk for view in views for defect in view.defects]
    of_defects = attachments_of(desk.site_id, SubjectKind.DEFECT, defects)
    since, machines = desk.now - PHOTOS_FOR, [view.machine.pk for view in views]
    of_machines = attachments_of(desk.site_id, SubjectKind.MACHINE, machines, since=since)
    lines = [_line(desk, view, of_defects, of_machines) for view in views]
    out = [line for line in lines if not line.is_usable]
    soon = [line for line in lines if line.is_usable and any(d.is_soon for d in line.dues)]
    names = {line.view.machine.pk: line.view.machine.name for line in lines}
    holds = open_holds(desk.site_id, HoldSubject.MACHINE)
    return {
        "finding": _finding(lines, out, soon),
        "chart": _chart(desk, lines),
        "lines": sorted(lines, key=lambda line: line.rank),
        "holds": [(hold, names.get(hold.subject_id, "")) for hold in holds],
        "names": names,
        "calendars": machine_links(desk, names),
        "records": _records(desk),
        **figures_context(desk, views),
    }


def _records(desk: Desk) -> list[tuple[ServiceRecord, str]]:
    """Give the last 20 services, each with its title in the reader's language."""
    records = (
        ServiceRecord.objects.filter(site_id=desk.site_id)
        .select_related("machine", "item", "by")
        .order_by("-done_at")[:20]
    )
    return [(record, _title(desk, record.item)) for record in records]


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
    over = sum(any(d.is_over for d in line.dues) for line in lines)
    if over:
        said.append(ngettext("%d is overdue.", "%d are overdue.", over) % over)
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


def _line(desk: Desk, view: MachineView, of_defects: Photos, of_machines: Photos) -> MachineLine:
    last = view.last
    return MachineLine(
        view=view,
        kind=str(view.machine.get_kind_display()),
        meter=f"{last.meter_h:,.1f} h" if last else "–",
        use=_use(view),
        dues=[_due(desk, due) for due in view.dues],
        is_usable=view.is_usable,
        defects=[(defect, of_defects.get(defect.pk, [])) for defect in view.defects],
        shown=of_machines.get(view.machine.pk, []),
    )


def _use(view: MachineView) -> str:
    """Say the hours a day with their spread, from how many days, and a trend that is seen."""
    use = view.use
    if use is None or not use.n_days:
        return "–"
    said = _("%(rate).1f h a day ± %(sd).1f h from day to day, from %(n)d days") % {
        "rate": use.rate_h_d,
        "sd": use.scatter_h,
        "n": use.n_days,
    }
    if use.laid_up_d:
        said += ", " + _("%d days laid up left out") % use.laid_up_d
    if use.trend and use.trend.is_seen:
        said += ", " + _("%(likely)+.2f h a day each week (%(low)+.2f to %(high)+.2f)") % {
            "likely": _no_minus_nothing(use.trend.likely_h_d_w),
            "low": _no_minus_nothing(use.trend.low_h_d_w),
            "high": _no_minus_nothing(use.trend.high_h_d_w),
        }
    if len(set(use.next_days_frac)) > 1:
        said += ", " + _("not the same on every weekday")
    return said


def _no_minus_nothing(value: float) -> float:
    """Round to what is shown, without the sign of a zero."""
    return round(value, 2) + 0.0


def _due(desk: Desk, one: ItemDue) -> DueLine:
    due, item = one.due, one.item
    today = local_date_of(desk.now, desk.caller.site.zone)
    by_date = due.due_on is not None and due.due_on <= today + timedelta(days=DUE_SOON_D)
    by_hours = due.left_h is not None and due.left_h <= DUE_SOON_H
    return DueLine(
        item_id=item.pk,
        title=_title(desk, item),
        left=say_left(due.left_h),
        due=_when(due.due_on, due.earliest_on, due.latest_on),
        is_soon=(by_date or by_hours) and not is_routine(one),
        is_over=one.is_over or (due.due_on is not None and due.due_on < today),
        is_routine=is_routine(one),
        caution=say_said(item.caution, desk.language),
    )


def say_left(left_h: float | None) -> str:
    if left_h is None:
        return "–"
    return f"{left_h:,.0f} h" if left_h > 0 else _("%s h over") % f"{-left_h:,.0f}"


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


def _title(desk: Desk, item: ServiceItem) -> str:
    return say_said(item.title, desk.language) or item.name


def _chart(desk: Desk, lines: list[MachineLine]) -> Chart:
    """Draw the range of dates of each machine's next service, the daily rounds aside."""
    today = local_date_of(desk.now, desk.caller.site.zone)
    bars = [
        RangeBar(line.view.machine.name, *_days(one, today), f"{_title(desk, one.item)}")
        for line in lines
        if (one := _next_date(line.view)) is not None
    ]
    finding = _(
        "Days to the next service: 8 in 10 that it falls within the bar, 5 in 10 before its mark."
    )
    svg = draw_ranges(key="dues", bars=bars, title=_("When the next service is due"), desc=finding)
    rows = tuple(
        (
            b.label,
            b.words,
            f"{b.low:.0f}",
            f"{b.likely:.0f}",
            _("later") if b.high is None else f"{b.high:.0f}",
        )
        for b in bars
    )
    heads = (desk.noun("machine"), _("Service"), _("Early, d"), _("Likely, d"), _("Late, d"))
    return Chart("dues", finding, svg, heads, rows)


def _next_date(view: MachineView) -> ItemDue | None:
    """The soonest service that is no daily round and whose date is in sight."""
    return next((d for d in view.dues if d.due.due_on is not None and not is_routine(d)), None)


def _days(one: ItemDue, today: date) -> tuple[float, float, float | None]:
    """Days from today to its early, likely and late date."""
    due = one.due
    low, likely, high = (
        None if on is None else float(max((on - today).days, 0))
        for on in (due.earliest_on, due.due_on, due.latest_on)
    )
    return low or 0.0, likely or 0.0, high
