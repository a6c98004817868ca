"""The service sheet of each machine: what is due, with room for reading, parts, name and date."""

from __future__ import annotations

from datetime import timedelta

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.machines.queries import (
    DUE_SOON_D,
    DUE_SOON_H,
    ItemDue,
    MachineView,
    machine_views,
)
from equipment.site.calc.local_time import local_date_of
from equipment.site.errors import InvalidInputError, NotFoundError

from .base import Desk, desk_view
from .machines import say_left
from .paper import (
    N_BLANK,
    REST,
    Cell,
    Sheet,
    Table,
    Width,
    a_line,
    both,
    boxes,
    day_line,
    day_lines,
    print_sheets,
    said_in_both,
    two_lines,
    word_line,
    word_lines,
)

COLUMNS: tuple[Width, ...] = (9, REST, 25, 20, 32, 34)
HEADS = (
    gettext_lazy("Service"),
    gettext_lazy("Left"),
    gettext_lazy("Hours"),
    gettext_lazy("Parts"),
    gettext_lazy("Name and date"),
)
BLANK: list[Cell] = [boxes(1), "", "", "", "", ""]
CAUTION = {
    "en": "Key out. Lock, tag and try. Lower attachments or block them. Relieve the pressure. "
    "Chock the wheels. The maker's manual and local rules go before this sheet; intervals are the "
    "farm's own.",
    "es": "Saque la llave. Candado, etiqueta y prueba. Baje los aditamentos o bloquéelos. Quite la "
    "presión. Calce las ruedas. El manual del fabricante y las reglas locales van antes que esta "
    "hoja; los intervalos son los del rancho.",
}


@desk_view
def service_sheet(desk: Desk) -> HttpResponse:
    """Give what is due on each machine, or on that of `?machine=`: 10 queries."""
    views = machine_views(desk.site_id, _asked_machine(desk))
    if not views and "machine" in desk.request.GET:
        raise NotFoundError(_("There is no such machine here."))
    # Without a machine the sheet is a form to fill by hand.
    sheets = [_sheet(desk, view) for view in views] or [_empty(desk)]
    title = f"{desk.caller.site.name}: {desk.day(desk.now)}"
    return print_sheets(desk, sheets, title=title, name="service-sheet")


def _asked_machine(desk: Desk) -> int | None:
    text = desk.request.GET.get("machine")
    if text is None:
        return None
    if not text.isdecimal() or len(text) > 18:
        raise InvalidInputError(_("Choose one of the machines."))
    return int(text)


def _sheet(desk: Desk, view: MachineView) -> Sheet:
    kind = a_line(desk, lambda _d: str(view.machine.get_kind_display()))
    table = _table(desk, view.machine.name, f"· {kind} · {_meter(desk, view)}", view)
    back = reverse("machines", args=[desk.caller.site.slug])
    return Sheet([table], f"{back}#machine-{view.machine.pk}", _below(desk, view))


def _empty(desk: Desk) -> Sheet:
    table = _table(desk, a_line(desk, lambda d: d.noun("machine")), "", None)
    return Sheet([table], reverse("machines", args=[desk.caller.site.slug]), _below(desk, None))


def _table(desk: Desk, name: str, note: str, view: MachineView | None) -> Table:
    return Table(
        name=name,
        note=note,
        columns=COLUMNS,
        heads=["", *(word_lines(desk, head) for head in HEADS)],
        rows=[_row(desk, due) for due in (view.dues if view else ())],
        blank=BLANK,
        n_blank=N_BLANK,
    )


def _meter(desk: Desk, view: MachineView) -> str:
    """The last reading and its day, since paper ages."""
    last = view.last
    if last is None:
        return word_line(desk, gettext_lazy("meter never read"))
    return f"{last.meter_h:,.1f} h, {day_line(desk, last.read_at)}"


def _below(desk: Desk, view: MachineView | None) -> list[Cell]:
    """Defects not put right, then the cautions of the trade."""
    defects = view.defects if view else ()
    word = word_line(desk, gettext_lazy("Defect"))
    return [*(f"{word}: {defect.text}" for defect in defects), *CAUTION.values()]


def _row(desk: Desk, one: ItemDue) -> list[Cell]:
    title = said_in_both(one.item.title, one.item.name)
    caution = said_in_both(one.item.caution)
    cautions = [text for text in dict.fromkeys(caution.values()) if text]
    return [boxes(1), [title, *cautions], _left(desk, one), "", "", ""]


def _left(desk: Desk, one: ItemDue) -> list[Cell]:
    """Hours left and the likely day; whether it is overdue or due soon in words."""
    due = one.due
    lines: list[Cell] = list(two_lines(desk, lambda _d: say_left(due.left_h)))
    if due.due_on is not None:
        lines += day_lines(desk, due.due_on)
    state = both(desk, lambda d: _say_state(d, one))
    return [*lines, *dict.fromkeys(words for words in state.values() if words)]


def _say_state(desk: Desk, one: ItemDue) -> str:
    due, today = one.due, local_date_of(desk.now, desk.caller.site.zone)
    if one.is_over or (due.due_on is not None and due.due_on < today):
        return _("Overdue")
    by_date = due.due_on is not None and due.due_on <= today + timedelta(days=DUE_SOON_D)
    by_hours = due.left_h is not None and due.left_h <= DUE_SOON_H
    return _("Due soon") if by_date or by_hours else ""
