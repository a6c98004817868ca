"""What records say of the parlor, and the order of pens that would suit people better."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

from crews.roster.queries import working_shifts
from equipment.parlor.calc import AnyParlor
from equipment.parlor.calc.rotary import S_PER_H
from equipment.parlor.models import Parlor
from equipment.site.calc.local_time import parse_instant

from .calc import Visit
from .calc.holding import HoldingStay, holding_load
from .calc.order import OrderPen, OrderRules, PenOrder, is_order_allowed, order_pens, price_order
from .calc.pace import PaceFit, fit_pace
from .calc.windows import minutes_between
from .clock import ParlorSetup, deck_of, site_parlor
from .models import Milking, MilkingState, PenVisit
from .queries import ParlorDayView, view_day

RECORD_DAYS = timedelta(days=28)


def recorded_pace(site_id: int, until: datetime) -> PaceFit | None:
    """Fit the pace of four weeks of recorded milkings: 1 query, of what was reported alone."""
    visits = PenVisit.objects.filter(
        site_id=site_id,
        milking__starts_at__gte=until - RECORD_DAYS,
        milking__starts_at__lt=until,
        actual__has_key="first_on",
    )
    told = [
        _Turn(*row)
        for row in visits.order_by("milking_id", "position").values_list(
            "milking_id", "position", "n_cows", "actual__first_on", "pen__is_milk_withheld"
        )
    ]
    pens = [found for one, following in pairwise(told) for found in _entries(one, following)]
    return fit_pace([n for n, _min in pens], [minutes for _n, minutes in pens])


@dataclass(frozen=True, slots=True)
class _Turn:
    """A pen's turn in a milking whose first cow on was reported."""

    milking_id: int
    position: int
    n_cows: int
    first_on: str
    is_withheld: bool


def _entries(one: _Turn, following: _Turn) -> Iterator[tuple[int, float]]:
    """A pen's cows and minutes, where the next pen's first cow is known, with no wash between."""
    is_next = (following.milking_id, following.position) == (one.milking_id, one.position + 1)
    is_washed = one.is_withheld and not following.is_withheld
    if is_next and not is_washed:
        took = parse_instant(following.first_on) - parse_instant(one.first_on)
        yield one.n_cows, took / timedelta(minutes=1)


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


def order_proposal(view: ParlorDayView) -> OrderProposal | None:
    """The best order for a date's first milking, by its crews: 1 query; None without pens."""
    setup, milking = view.setup, view.milkings[0]
    pens = [_order_pen(setup, visit) for visit in milking.visits.all()]
    if not pens:
        return None
    parlor = setup.parlor
    meant = sorted(setup.planned_starts(view.local_date).values())
    until = next((at for at in meant if at > milking.starts_at), milking.wash_until)
    # As on the clock: the last cow rides her turn, then the system is washed.
    wash_s = round((parlor.wash_min + setup.deck.rotation_min) * 60)
    rules = OrderRules(
        wash_s=wash_s,
        available_s=_seconds(until - milking.starts_at) - wash_s,
        crew=_crew_spans(parlor.site_id, milking.starts_at, until),
    )
    own = price_order(pens, rules)
    return OrderProposal(milking.slot, own, is_order_allowed(pens), order_pens(pens, rules))


@dataclass(frozen=True, slots=True)
class TimeAway:
    """A pen's time away on a day: its longest milking and all of them, against the limits."""

    pen_id: int
    n_visits: int
    longest_min: float
    day_min: float
    is_over: bool
    is_day_over: bool


def times_away(visits: Iterable[PenVisit], parlor: Parlor | None) -> list[TimeAway]:
    """Time away of each pen that some visits are of. No query."""
    of_pen: dict[int, list[float]] = defaultdict(list)
    for visit in visits:
        of_pen[visit.pen_id].append(away_min(visit))
    return [_time_away(pen_id, lengths, parlor) for pen_id, lengths in of_pen.items()]


def _time_away(pen_id: int, lengths_min: list[float], parlor: Parlor | None) -> TimeAway:
    longest_min, day_min = max(lengths_min), sum(lengths_min)
    return TimeAway(
        pen_id=pen_id,
        n_visits=len(lengths_min),
        longest_min=longest_min,
        day_min=day_min,
        is_over=parlor is not None and longest_min > parlor.away_limit_min,
        is_day_over=parlor is not None and day_min > parlor.away_day_limit_min,
    )


def away_min(visit: PenVisit) -> float:
    """Minutes from a pen's first cow out to its last one back."""
    return minutes_between(visit.first_out_at, visit.last_back_at)


@dataclass(frozen=True, slots=True)
class PenInHolding:
    """The most cows in the holding area while a pen's are there, and the room each has."""

    pen_id: int
    slot: int
    peak_cows: float
    m2_cow: float | None
    is_over: bool


@dataclass(frozen=True, slots=True)
class HoldingDay:
    """The holding area over a day: cows at each instant at which a rate changes, and by pen."""

    area_m2: float | None
    limit_m2_cow: float
    load: tuple[tuple[datetime, float], ...]
    wait_cow_min: float
    pens: tuple[PenInHolding, ...]

    @property
    def room_for(self) -> float | None:
        """Cows that have the room that the farm wants for each."""
        return None if self.area_m2 is None else self.area_m2 / self.limit_m2_cow


def holding_day(view: ParlorDayView) -> HoldingDay:
    """Cows in the holding area on a day, as it is planned and goes. No query.

    A pen's cows come in after their walk and leave as they step on the deck.
    """
    parlor, visits = view.setup.parlor, view.clock.visits
    origin = min(visit.times.first_out_at for visit in visits)
    load = holding_load([_stay(visit, origin) for visit in visits])
    return HoldingDay(
        area_m2=parlor.holding_area_m2,
        limit_m2_cow=parlor.holding_m2_cow,
        load=tuple(
            (origin + timedelta(minutes=float(at)), float(n))
            for at, n in zip(load.at_min, load.n_cows, strict=True)
        ),
        wait_cow_min=load.wait_cow_min,
        pens=tuple(
            _in_holding(visit, peak, parlor) for visit, peak in zip(visits, load.peaks, strict=True)
        ),
    )


def _stay(visit: Visit, origin: datetime) -> HoldingStay:
    times, walk_min = visit.times, visit.pen.walk_min
    on_from = minutes_between(origin, times.first_on_at)
    return HoldingStay(
        key=visit.pen.key,
        n_cows=visit.pen.n_cows,
        in_from_min=minutes_between(origin, times.first_out_at) + walk_min,
        in_until_min=minutes_between(origin, times.last_out_at) + walk_min,
        on_from_min=on_from,
        on_until_min=max(on_from, minutes_between(origin, times.last_on_at)),
    )


def _in_holding(visit: Visit, peak_cows: float, parlor: Parlor) -> PenInHolding:
    area_m2 = parlor.holding_area_m2
    m2_cow = area_m2 / peak_cows if area_m2 is not None and peak_cows > 0 else None
    return PenInHolding(
        pen_id=int(visit.pen.key),
        slot=visit.slot,
        peak_cows=peak_cows,
        m2_cow=m2_cow,
        is_over=m2_cow is not None and m2_cow < parlor.holding_m2_cow,
    )


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


@dataclass(frozen=True, slots=True)
class PaceRecord:
    """What was recorded of the pace, against what the farm's settings say."""

    fit: PaceFit
    deck: AnyParlor
    seconds_per_stall_s: float

    @property
    def cows_per_h(self) -> float:
        return S_PER_H / self.fit.s_per_cow

    @property
    def difference_frac(self) -> float:
        """How much faster than planned."""
        return self.cows_per_h / self.deck.cows_per_h - 1

    @property
    def loss_frac(self) -> float:
        """Share of stalls lost at the farm's own pace."""
        return self.fit.loss_frac(self.seconds_per_stall_s)


def pace_record(parlor: Parlor, until: datetime) -> PaceRecord | None:
    """The recorded pace beside the planned one: 1 query; None with too few records."""
    fit = recorded_pace(parlor.site_id, until)
    if fit is None:
        return None
    return PaceRecord(fit, deck_of(parlor), parlor.seconds_per_stall_s / parlor.n_sides)


@dataclass(frozen=True, slots=True)
class ParlorSummary:
    """All that is said of the parlor on a date."""

    local_date: date
    parlor: Parlor
    deck: AnyParlor
    record: PaceRecord | None
    away: list[TimeAway]
    holding: HoldingDay | None
    order: OrderProposal | None


def parlor_summary(site_id: int, local_date: date, now: datetime) -> ParlorSummary | None:
    """Plan and record, time away, holding area, order: 11 queries; None without a parlor."""
    view = view_day(site_id, local_date)
    parlor = view.setup.parlor if view else site_parlor(site_id)
    if parlor is None:
        return None
    visits = [v for milking in view.milkings for v in milking.visits.all()] if view else []
    return ParlorSummary(
        local_date=local_date,
        parlor=parlor,
        deck=deck_of(parlor),
        record=pace_record(parlor, now),
        away=times_away(visits, parlor),
        holding=holding_day(view) if view else None,
        order=order_proposal(view) if view else None,
    )
