"""The sheet of each pad: what lies in its bays, when it should be dry, room to write."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from datetime import date, timedelta

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from equipment.sandyard.models import Bay
from equipment.site.calc.local_time import local_date_of
from equipment.site.models import Place
from schedules.sand.models import Batch, Stage
from schedules.sand.queries import BatchView, batch_views, bays_with_batches
from schedules.sand.services import practice_of
from schedules.work.queries import turns_due

from .base import Desk, desk_view
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
    print_sheets,
    word_line,
    word_lines,
)
from .sand import say_dots
from .sand_words import say_day, say_moisture, say_tons

TURNS_D = 3  # days of which turns are printed: then a new sheet knows more
N_TESTS = 3
COLUMNS: tuple[Width, ...] = (REST, 46, 46, *[17.5] * N_TESTS)
HEADS = (gettext_lazy("What lies here"), gettext_lazy("When dry"), gettext_lazy("Turns due"))
CAUTION = {
    "en": "Machines back and turn here: stay in the driver's sight. Dust: close the cab. Keep off "
    "the pad edge.",
    "es": "Aquí las máquinas dan vuelta y van en reversa: quédese a la vista del operador. Polvo: "
    "cierre la cabina. Lejos de la orilla del patio.",
}
Turns = Mapping[date, int]


@desk_view
def pad_sheet(desk: Desk) -> HttpResponse:
    """Give what lies on each pad, a row a bay: 13 queries."""
    today = local_date_of(desk.now, desk.caller.site.zone)
    views = {view.batch.pk: view for view in batch_views(desk.site_id)}
    turns = turns_due(desk.site_id, today, today + timedelta(days=TURNS_D))
    target = f"{practice_of(desk.site_id).dry_moisture_wb_frac:.1%}"
    live = [view.batch for view in views.values()]
    pads: dict[str, list[list[Cell]]] = defaultdict(list)
    for bay, batch in bays_with_batches(desk.site_id, live):
        pads[_place(desk, bay.pad.place)].append(_row(desk, bay, batch, views, turns))
    # Without a pad the sheet is a form to fill by hand.
    shown = dict(pads) or {a_line(desk, lambda d: d.noun("pad")): []}
    sheets = [_sheet(desk, pad, rows, target) for pad, rows in shown.items()]
    title = f"{desk.caller.site.name}: {desk.day(desk.now)}"
    return print_sheets(desk, sheets, title=title, name="pad-sheet")


def _place(desk: Desk, place: Place) -> str:
    return a_line(desk, lambda d: d.place(place))


def _sheet(desk: Desk, pad: str, rows: list[list[Cell]], target: str) -> Sheet:
    tests = [[*word_lines(desk, gettext_lazy("Test")), f"{n}, %"] for n in range(1, N_TESTS + 1)]
    table = Table(
        name=pad,
        note=f"· {day_line(desk, desk.now)}",
        columns=COLUMNS,
        heads=[*(word_lines(desk, head) for head in HEADS), *tests],
        rows=rows,
        blank=["", "", boxes(2), *[""] * N_TESTS],
        n_blank=N_BLANK,
    )
    notes = both(
        desk,
        lambda _d: _("Dry is %(target)s or less, wet basis. In a test's box: the figure, wet basis "
                     "or dry, day and name.") % {"target": target},
    )  # fmt: skip
    back = reverse("sand", args=[desk.caller.site.slug])
    return Sheet([table], back, [*notes.values(), *CAUTION.values()])


def _row(
    desk: Desk,
    bay: Bay,
    batch: Batch | None,
    views: Mapping[int, BatchView],
    turns: Mapping[int, Turns],
) -> list[Cell]:
    name = both(desk, lambda d: d.place(bay.place))
    if batch is None:
        free = word_line(desk, gettext_lazy("Free"))
        return [[name, free], "", boxes(2), *[""] * N_TESTS]
    view = views[batch.pk]
    said = both(desk, lambda d: _say_batch(d, view))
    return [
        [name, *said.values()],
        list(both(desk, lambda d: _say_dry(d, view)).values()),
        _turn_lines(desk, view, turns.get(batch.pk, {})),
        *[""] * N_TESTS,
    ]


def _say_batch(desk: Desk, view: BatchView) -> str:
    """Which batch, how much, in what stage since when, and how moist."""
    batch = view.batch
    value, note = say_moisture(desk, view)[0]
    held = f" · {_('Held')}" if view.is_held else ""
    words = _("%(stage)s since %(day)s")
    since = words % {"stage": Stage(batch.stage).label, "day": desk.day(batch.stage_since)}
    number = f"{desk.noun('batch')} {batch.number}"
    return f"{number}, {say_tons(desk, view.dry_kg)} · {since} · {value}, {note}{held}"


def _say_dry(desk: Desk, view: BatchView) -> str:
    """The likely date and its chance; when it was reckoned, since paper ages."""
    forecast = view.forecast
    if forecast is None:
        return _("No forecast.")
    chance = say_dots(desk, view.batch.number, Counter(forecast.dots), forecast.dry_on_p50)
    words = _("Likely %(day)s. %(chance)s Reckoned %(made)s.")
    return words % {
        "day": say_day(forecast.dry_on_p50),
        "chance": chance,
        "made": desk.day(forecast.made_at),
    }


def _turn_lines(desk: Desk, view: BatchView, due: Turns) -> list[Cell]:
    """Turns so far, and a box for each that is due in the coming days."""
    n_turns = view.n_turns
    done = a_line(
        desk,
        lambda _d: ngettext("turned %(n)s time", "turned %(n)s times", n_turns) % {"n": n_turns},
    )
    days = [boxes(n, day_line(desk, on)) for on, n in due.items()]
    return [done, *(days or [boxes(2)])]
