"""What records say of the parlor, and the order of pens that would suit people better."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

from django.db.models import Prefetch

from crews.roster.queries import working_shifts
from equipment.site.calc.local_time import parse_instant

from .calc.order import OrderPen, OrderRules, PenOrder, is_order_allowed, order_pens, price_order
from .calc.pace import PaceFit, fit_pace
from .clock import ParlorSetup, load_setup, site_parlor
from .models import Milking, MilkingState, PenVisit
from .queries import milkings_of_day

RECORD_DAYS = timedelta(days=28)


def recorded_pace(site_id: int, until: datetime) -> PaceFit | None:
    """Fit the pace of four weeks of recorded milkings: 2 queries."""
    since = until - RECORD_DAYS
    in_turn = PenVisit.objects.select_related("pen").order_by("milking_id", "position")
    milkings = Milking.objects.filter(
        site_id=site_id, starts_at__gte=since, starts_at__lt=until
    ).prefetch_related(Prefetch("visits", in_turn))
    pens = [found for milking in milkings for found in _entries(list(milking.visits.all()))]
    return fit_pace([n for n, _min in pens], [minutes for _n, minutes in pens])


def _entries(visits: Sequence[PenVisit]) -> Iterator[tuple[int, float]]:
    """Pens whose first cow on is known, and the next pen's too, with no wash between the two."""
    for visit, following in pairwise(visits):
        on, next_on = visit.actual.get("first_on"), following.actual.get("first_on")
        is_washed = visit.pen.is_milk_withheld and not following.pen.is_milk_withheld
        if on and next_on and not is_washed:
            yield (
                visit.n_cows,
                (parse_instant(next_on) - parse_instant(on)) / timedelta(minutes=1),
            )


def not_ended(site_id: int, now: datetime) -> list[Milking]:
    """Milkings whose wash is over and that nobody said had ended: 1 query."""
    rows = Milking.objects.filter(site_id=site_id, state=MilkingState.STARTED, wash_until__lt=now)
    return list(rows.order_by("starts_at"))


@dataclass(frozen=True, slots=True)
class OrderProposal:
    """The farm's own order and the best one, priced at one milking of a date."""

    slot: int
    own: PenOrder
    is_own_allowed: bool
    best: PenOrder

    @property
    def gain_s(self) -> int:
        return self.own.cost_s - self.best.cost_s


def order_proposal(site_id: int, local_date: date) -> OrderProposal | None:
    """The best order for a date's first milking, by its crews: 9 queries; None without one."""
    parlor = site_parlor(site_id)
    milkings = list(milkings_of_day(site_id, local_date))
    if parlor is None or not milkings:
        return None
    setup = load_setup(parlor)
    milking = milkings[0]
    pens = [_order_pen(setup, visit) for visit in milking.visits.all()]
    if not pens:
        return None
    meant = sorted(setup.planned_starts(local_date).values())
    until = next((at for at in meant if at > milking.starts_at), milking.wash_until)
    rules = OrderRules(
        # As on the clock: the last cow rides her turn, then the system is washed.
        wash_s=round((parlor.wash_min + setup.deck.rotation_min) * 60),
        available_s=_seconds(until - milking.starts_at)
        - round((parlor.wash_min + setup.deck.rotation_min) * 60),
        crew=_crew_spans(site_id, milking.starts_at, until),
    )
    own = price_order(pens, rules)
    return OrderProposal(milking.slot, own, is_order_allowed(pens), order_pens(pens, rules))


def _seconds(length: timedelta) -> int:
    return round(length.total_seconds())


def _order_pen(setup: ParlorSetup, visit: PenVisit) -> OrderPen:
    pen = setup.pens[visit.pen_id]
    usable = [w for w in visit.windows.all() if w.usable_until > w.usable_from]
    on_at = visit.first_on_at
    work = [
        min((w.usable_from for w in usable), default=on_at),
        max((w.usable_until for w in usable), default=on_at),
    ]
    return OrderPen(
        key=str(pen.pk),
        contagion_class=pen.contagion_class,
        is_withheld=pen.is_milk_withheld,
        entry_s=round(setup.deck.entry_min(visit.n_cows) * 60),
        work_from_s=_seconds(work[0] - on_at),
        work_until_s=_seconds(work[1] - on_at),
        x_m=pen.place.x_m,
        y_m=pen.place.y_m,
    )


def _crew_spans(site_id: int, start: datetime, end: datetime) -> tuple[tuple[int, int], ...]:
    """When anybody is on, from `start`, joined where shifts overlap."""
    spans: list[tuple[int, int]] = []
    for shift in working_shifts(site_id, start, end + timedelta(hours=2)):
        begin, until = _seconds(shift.starts_at - start), _seconds(shift.ends_at - start)
        if spans and begin <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(until, spans[-1][1]))
        else:
            spans.append((begin, until))
    return tuple(spans)
