"""The day's report as plain text for a terminal, in the language of the moment."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.site.clock import say_clock, say_span
from equipment.site.models import Place
from equipment.site.queries import current_language, place_name
from schedules.dayplan.models import Assignment
from schedules.dayplan.report import DayReport
from schedules.rounds.models import BedWindow, Milking, PenVisit
from schedules.work.models import WorkOrder
from schedules.work.queries import say_title

from .reasons import names_for, say_reasons
from .wording import say_order_state


class DayText:
    """Says one report line by line."""

    def __init__(self, report: DayReport) -> None:
        self.report, self.site = report, report.site
        self.language = current_language()

    def lines(self) -> Iterator[str]:
        """Give the whole report: 2 queries at most, for the names in reasons."""
        yield f"{self.site.name}: {date_format(self.report.on, 'DATE_FORMAT')}"
        yield from self._part(_("Milkings"), map(self._milking, self.report.milkings))
        yield from self._part(_("Away, and when beds can be worked"), self._visits())
        yield from self._part(_("Work"), (self._given(*pair) for pair in self.report.assigned))
        yield from self._part(_("Nobody has it"), self._left())
        yield from self._part(_("In all"), self._sums())

    def _part(self, head: str, lines: Iterator[str]) -> Iterator[str]:
        yield f"\n{head}"
        yield from (f"  {line}" for line in lines)

    def _place(self, place: Place) -> str:
        return place_name(self.site, place, self.language)

    def _clock(self, at: datetime) -> str:
        return say_clock(self.site, at)

    def _span(self, start: datetime, end: datetime) -> str:
        return say_span(self.site, start, end)

    def _milking(self, milking: Milking) -> str:
        return _("%(slot)d: %(span)s, wash until %(wash)s") % {
            "slot": milking.slot,
            "span": self._span(milking.starts_at, milking.ends_at),
            "wash": self._clock(milking.wash_until),
        }

    def _visits(self) -> Iterator[str]:
        for milking in self.report.milkings:
            for visit in milking.visits.all():
                yield f"{milking.slot}: {self._visit(visit)}"
                yield from (f"     {self._window(w)}" for w in visit.windows.all())

    def _visit(self, visit: PenVisit) -> str:
        return _("%(pen)s away %(span)s, empty %(empty)s") % {
            "pen": self._place(visit.pen.place),
            "span": self._span(visit.first_out_at, visit.last_back_at),
            "empty": self._span(visit.last_out_at, visit.first_back_at),
        }

    def _window(self, window: BedWindow) -> str:
        usable = window.usable_until - window.usable_from
        return _("%(beds)s %(span)s (%(min)s min)") % {
            "beds": self._place(window.bed_group.place),
            "span": self._span(window.usable_from, window.usable_until),
            "min": f"{usable / timedelta(minutes=1):,.0f}",
        }

    def _name(self, order: WorkOrder) -> str:
        return f"{say_title(order)} {self._place(order.place)}"

    def _given(self, order: WorkOrder, assignment: Assignment) -> str:
        claims = assignment.claims.all()
        who = [c.worker.name for c in claims if c.worker]
        machines = [c.machine.name for c in claims if c.machine]
        span = self._span(assignment.starts_at, assignment.ends_at)
        words = ", ".join([*who, *machines])
        return f"{span}  {self._name(order)}: {words} [{say_order_state(order)}]"

    def _left(self) -> Iterator[str]:
        names = names_for(self.site.pk, self.report.unassigned)
        for order in self.report.unassigned:
            name, due = self._name(order), self._clock(order.due_at)
            head = _("%(job)s, due %(due)s") % {"job": name, "due": due}
            why = "; ".join(say_reasons(order, names)) or _("not planned yet")
            yield f"{head}: {why}"

    def _sums(self) -> Iterator[str]:
        report, beds = self.report, self.report.beds
        jobs = ngettext("%d work order", "%d work orders", report.n_orders) % report.n_orders
        yield _("%(jobs)s: given %(given)d, nobody has %(left)d, closed %(closed)d.") % {
            "jobs": jobs,
            "given": len(report.assigned),
            "left": len(report.unassigned),
            "closed": report.n_closed,
        }
        yield _("Rows of beds: due %(due)d, done %(done)d, given %(given)d, in all %(share)s.") % {
            "due": beds.n_due,
            "done": beds.n_done,
            "given": beds.n_assigned,
            "share": f"{beds.share:.1%}",
        }
