"""What machines cost, carry and risk, put together from their records: reads for pages."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from equipment.site.calc.local_time import local_date_of
from equipment.site.looks import once_a_look
from equipment.site.queries import site_of

from .calc import costs, productivity, risk, visits
from .calc.downtime import HourlyCost, Span, down_share_frac, hourly_cost
from .calc.meter import MeterSeries
from .calc.replacement import Replacement, Wear, keep_or_replace
from .histories import meter_histories
from .models import Machine, MachineKind, MachinePractice, Repair, ServiceRecord
from .queries import ItemDue, MachineView

LOOK_BACK = timedelta(days=365)
VISITS_AHEAD_D = 90  # a service farther off is not worth a word yet
ROUTINE_H, ROUTINE_D = 50.0, 7  # the daily and weekly rounds are done where the machine stands
LOADERS = (MachineKind.LOADER, MachineKind.SKID_LOADER)
Visits = tuple[tuple[date, tuple[ItemDue, ...], float], ...]  # when, what, cost of being early


@dataclass(frozen=True, slots=True)
class Output:
    """What a loader moves, and what its bucket weighs."""

    loads_h: float
    m3_h: float
    wet_kg: float
    rated_load_kg: float | None

    @property
    def is_over(self) -> bool | None:
        """Whether a bucket of wet sand is above the rated load; None when that is not known."""
        return None if self.rated_load_kg is None else self.wet_kg > self.rated_load_kg


@dataclass(frozen=True, slots=True)
class MachineFigures:
    """One machine's money, work and record."""

    view: MachineView
    cost: costs.CostYear
    recorded: HourlyCost | None
    down_frac: float | None
    replacement: Replacement | None
    output: Output | None
    visits: Visits
    saved: float | None


@dataclass(frozen=True, slots=True)
class StopFigures:
    """Stops of all machines, on time and past a service, with what is believed of them."""

    record: risk.StopRecord
    on_time: risk.StopRate
    over: risk.StopRate


@once_a_look
def practice_of(site_id: int) -> MachinePractice:
    """Give the farm's own figures, or those it would begin with: 1 query."""
    return MachinePractice.objects.filter(site_id=site_id).first() or MachinePractice()


def _number(amount: Decimal | None) -> float | None:
    return None if amount is None else float(amount)


def cost_year(view: MachineView, practice: MachinePractice, run_h: float) -> costs.CostYear:
    """Reckon the next year of a machine at its present use; None for what is not known."""
    year_h = view.use.rate_h_d * 365 if view.use else 0.0
    fuel = _fuel_cost(view.machine, practice, year_h)
    price = _number(view.machine.price)
    wear = _wear(view, practice)
    return costs.CostYear(
        run_h=year_h,
        capital=_capital_cost(view.machine, practice),
        ownership=None if price is None else price * practice.ownership_frac,
        fuel=fuel,
        lubricants=None if fuel is None else fuel * practice.lubricant_frac,
        repair=None if wear is None else wear.repairs(run_h, 1)[0],
    )


def _capital_cost(machine: Machine, practice: MachinePractice) -> float | None:
    price, salvage = _number(machine.price), _number(machine.salvage)
    life_y, interest_frac = machine.life_y, practice.interest_frac
    if price is None or salvage is None or life_y is None or interest_frac is None:
        return None
    return costs.capital_cost_y(price, salvage, interest_frac, life_y)


def _fuel_cost(machine: Machine, practice: MachinePractice, year_h: float) -> float | None:
    if machine.power_kw is None or practice.fuel_price_per_l is None:
        return None
    return year_h * costs.fuel_l_h(machine.power_kw) * float(practice.fuel_price_per_l)


def _wear(view: MachineView, practice: MachinePractice) -> Wear | None:
    """How its kind loses worth and needs repair; None while a figure is not known."""
    machine = view.machine
    price, salvage = _number(machine.price), _number(machine.salvage)
    list_price = _number(machine.list_price)
    if not (price and list_price and machine.repair_row and machine.life_y and view.use):
        return None
    if salvage is None:
        return None
    row, year_h = costs.RepairRow(machine.repair_row), view.use.rate_h_d * 365
    kept_frac = practice.kept_at_once_frac
    return Wear(list_price, salvage / price, machine.life_y, year_h, row, kept_frac)


def replacement_of(
    view: MachineView, practice: MachinePractice, run_h: float
) -> Replacement | None:
    """Hold a machine against a new one like it; None while a figure is not known."""
    wear, worth_now = _wear(view, practice), _number(view.machine.worth_now)
    if wear is None or worth_now is None or practice.interest_frac is None:
        return None
    return keep_or_replace(wear, worth_now, run_h, practice.interest_frac)


def output_of(machine: Machine, practice: MachinePractice) -> Output | None:
    """Reckon what a loader moves over the farm's usual way; None for other machines."""
    if machine.kind not in LOADERS or machine.bucket_m3 is None:
        return None
    cycle = productivity.cycle_min(practice.fixed_cycle_min, practice.haul_m, machine.travel_m_min)
    bucket = (machine.bucket_m3, machine.fill_frac)
    return Output(
        productivity.loads_h(cycle, practice.work_share_frac),
        productivity.loader_m3_h(*bucket, cycle, practice.work_share_frac),
        productivity.bucket_load_kg(*bucket, practice.wet_sand_kg_m3),
        machine.rated_load_kg,
    )


def is_routine(due: ItemDue) -> bool:
    """Whether it comes so often that it is always due soon: the daily grease."""
    every_h, every_d = due.item.every_h, due.item.every_d
    return (every_h is None or every_h <= ROUTINE_H) and (every_d is None or every_d <= ROUTINE_D)


def _visit_service(
    due: ItemDue, view: MachineView, practice: MachinePractice, today: date
) -> visits.VisitService | None:
    """Put a service in the terms of a visit; None where its date is not in sight."""
    due_on, rate_h_d = due.due.due_on, view.use.rate_h_d if view.use else 0.0
    if due_on is None or (due_on - today).days > VISITS_AHEAD_D:
        return None
    by_hours = due.item.every_h / rate_h_d if due.item.every_h and rate_h_d else None
    intervals = [d for d in (by_hours, due.item.every_d) if d is not None]
    interval_d = max(min(intervals), 1.0)
    price = due.item.duration_min / 60 * float(practice.shop_cost_per_h or 0)
    return visits.VisitService(
        str(due.item.pk),
        max((due_on - today).days, 0),
        price / interval_d,
        int(practice.most_early_frac * interval_d),
    )


def visits_of(
    view: MachineView, practice: MachinePractice, today: date
) -> tuple[Visits, float | None]:
    """Propose which services to do together, and what that saves; None without its prices."""
    if practice.visit_cost is None or practice.shop_cost_per_h is None:
        return (), None
    dues = [due for due in view.dues if not is_routine(due)]
    services = [_visit_service(due, view, practice, today) for due in dues]
    known = [service for service in services if service is not None]
    cost = float(practice.visit_cost)
    found = visits.best_visits(known, cost)
    by_key = {str(due.item.pk): due for due in dues}
    shown = tuple(
        (today + timedelta(days=v.on_d), tuple(by_key[k] for k in v.keys), v.early_cost)
        for v in found
    )
    return shown, visits.saved_by(found, cost)


@dataclass(frozen=True, slots=True)
class _Records:
    """All records of a site's machines, by machine."""

    series: dict[int, MeterSeries]
    services: dict[int, list[ServiceRecord]]
    repairs: dict[int, list[Repair]]


def _records_of(site_id: int) -> _Records:
    """Readings, services and repairs: 3 queries."""
    services, repairs = defaultdict(list), defaultdict(list)
    for record in ServiceRecord.objects.filter(site_id=site_id).select_related("item"):
        services[record.machine_id].append(record)
    for repair in Repair.objects.filter(site_id=site_id):
        repairs[repair.machine_id].append(repair)
    series = {pk: history.series for pk, history in meter_histories(site_id).items()}
    return _Records(series, services, repairs)


def stop_figures(records: _Records, practice: MachinePractice) -> StopFigures:
    """Put all machines' stops together, on time and past a service."""
    total = risk.StopRecord(0.0, 0.0, 0, 0)
    for pk, series in records.series.items():
        total = total + _stops_of(series, records.services[pk], records.repairs[pk])
    per_h = practice.stops_weight_h
    prior = risk.StopRate(practice.stops_per_1000_h * per_h / 1000, per_h)
    return StopFigures(
        total,
        risk.learned_rate(prior, total.n_on_time, total.on_time_h),
        risk.learned_rate(prior, total.n_over, total.over_h),
    )


def _stops_of(
    series: MeterSeries, services: Sequence[ServiceRecord], repairs: Iterable[Repair]
) -> risk.StopRecord:
    began_h, now_h = series.totals_h[0], series.totals_h[-1]
    done_h, every_h = defaultdict(list), {}
    for record in services:
        if record.item.every_h is not None:
            done_h[record.item_id].append(series.total_h_at(record.done_at))
            every_h[record.item_id] = record.item.every_h
    over = [
        span
        for item_id, done in done_h.items()
        for span in risk.overrun_spans_h(done, began_h, every_h[item_id], now_h)
    ]
    stops = [series.total_h_at(repair.down_from) for repair in repairs]
    return risk.stop_record(over, stops, began_h, now_h)


def machine_figures(
    site_id: int, views: Iterable[MachineView], now: datetime
) -> tuple[list[MachineFigures], StopFigures, MachinePractice]:
    """Put together what each machine costs, carries and risks: 5 queries."""
    practice, records = practice_of(site_id), _records_of(site_id)
    today = local_date_of(now, site_of(site_id).zone)
    figures = [_figures(view, practice, records, (today, now)) for view in views]
    return figures, stop_figures(records, practice), practice


def _figures(
    view: MachineView, practice: MachinePractice, records: _Records, when: tuple[date, datetime]
) -> MachineFigures:
    today, now = when
    pk, start = view.machine.pk, now - LOOK_BACK
    series, repairs = records.series.get(pk), records.repairs[pk]
    spent = [(record.done_at, record.cost) for record in records.services[pk]]
    spent += [(repair.down_from, repair.cost) for repair in repairs]
    run_h = series.totals_h[-1] if series else 0.0
    proposed, saved = visits_of(view, practice, today)
    return MachineFigures(
        view=view,
        cost=cost_year(view, practice, run_h),
        recorded=hourly_cost(spent, series, start, now) if series else None,
        down_frac=down_share_frac([Span(r.down_from, r.down_until) for r in repairs], start, now),
        replacement=replacement_of(view, practice, run_h),
        output=output_of(view.machine, practice),
        visits=proposed,
        saved=saved,
    )
