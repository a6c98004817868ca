"""Work made and closed by several at once: each piece exists once, and is done once."""

import threading
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from functools import partial
from typing import Any

import pytest
from django.db import IntegrityError, connection
from django.db.models import QuerySet

from equipment.site.models import Actor, Site
from schedules.work import produce, telling
from schedules.work.models import Report, StandingOrder, Status, Trigger, WorkOrder
from schedules.work.produce import materialise
from schedules.work.progress import add_load, finish_work
from schedules.work.reconcile import Counts
from tests.concurrency.threads import WAIT_S, run_together
from tests.concurrency.work_oracle import (
    Owed,
    days_from,
    instant,
    owed_daily,
    owed_hourly,
    owed_weekly,
    within,
)
from tests.factories import (
    make_actor,
    make_bed_group,
    make_milking,
    make_parlor,
    make_pen,
    make_site,
    make_visit,
    make_work_order,
)

# A week over the night of 1 November 2026, when Denver's clocks show 01:00 to 02:00 twice
# (Energy Policy Act of 2005, section 110).
FIRST = date(2026, 10, 29)
NOW = datetime(2026, 10, 29, 6, 0, tzinfo=UTC)  # midnight in Denver
DAYS = 7
WINDOW = timedelta(hours=1)
N_PENS = 8
MILKINGS_AT = ((1, 5), (2, 13), (3, 21))

pytestmark = pytest.mark.django_db(transaction=True)


def _calendar_order(number: int, place: str) -> tuple[str, str, Owed]:
    """One of four shapes of rule: its text, its wall time, and what the oracle says it owes."""
    key, minute = f"cal-{number}", number % 60
    days = days_from(FIRST - timedelta(days=1), DAYS + 3)
    shape = number % 4
    if shape == 0:
        at = (1, minute)  # in the hour that comes twice
        return "FREQ=DAILY", f"01:{minute:02}", owed_daily(key, place, days, [at])
    if shape == 1:
        hours = [(6, minute), (18, minute)]
        rule = "FREQ=DAILY;BYHOUR=6,18"
        return rule, f"06:{minute:02}", owed_daily(key, place, days, hours)
    if shape == 2:
        rule = "FREQ=WEEKLY;BYDAY=SU,WE"
        owed = owed_weekly(key, place, days, ["SU", "WE"], (23, minute))
        return rule, f"23:{minute:02}", owed
    rule = "FREQ=HOURLY;INTERVAL=8"
    return rule, f"00:{minute:02}", owed_hourly(key, place, days, 8, minute)


def _visits(site: Site) -> dict[str, dict[tuple[str, int], datetime]]:
    """Pens milked three times a day; when each one's first cow leaves, by date and slot."""
    parlor = make_parlor(site)
    pens = [make_pen(site, str(number)) for number in range(N_PENS)]
    for pen in pens:
        make_bed_group(pen)
    left: dict[str, dict[tuple[str, int], datetime]] = {str(pen): {} for pen in pens}
    for day in days_from(FIRST, DAYS + 1):
        for slot, hour in MILKINGS_AT:
            starts_at = instant(day, hour, 0)
            milking = make_milking(parlor, starts_at, local_date=day, slot=slot)
            for rank, pen in enumerate(pens):
                out_at = starts_at + timedelta(minutes=20 * rank)
                make_visit(milking, pen, first_out_at=out_at)
                left[str(pen)][day.isoformat(), slot] = out_at
    return left


def _farm(n_orders: int) -> tuple[Site, Owed]:
    """Standing orders, half by the calendar and half by visits, and what they owe."""
    site = make_site()
    left = _visits(site)
    orders: list[StandingOrder] = []
    owed: Owed = {}
    for number in range(n_orders // 2):
        pen = f"pen-{number % N_PENS}"
        rrule, at_local, owes = _calendar_order(number, pen)
        rule = {"rrule": rrule, "at_local": at_local, "from_on": "2026-01-04", "window_h": 1}
        orders.append(_order(site, f"cal-{number}", Trigger.CALENDAR, pen, rule))
        owed |= owes
        slot, beds = number % 3 + 1, f"{pen}-beds-a"
        visit_rule = {"within": "empty", "milkings": [slot]}
        orders.append(_order(site, f"visit-{number}", Trigger.PEN_VISIT, beds, visit_rule))
        owed |= {
            f"visit-{number}/{beds}/{day}/{slot}": out_at + timedelta(minutes=4)
            for (day, milked), out_at in left[pen].items()
            if milked == slot
        }
    StandingOrder.objects.bulk_create(orders)
    return site, within(owed, NOW, NOW + timedelta(days=DAYS), WINDOW)


def _order(
    site: Site, key: str, trigger: Trigger, place: str, rule: dict[str, Any]
) -> StandingOrder:
    kind = "pen" if trigger == Trigger.CALENDAR else "bed_group"
    return StandingOrder(
        site=site,
        key=key,
        name=key,
        title={"en": key},
        trigger=trigger,
        trigger_rule=rule,
        target={"kind": kind, "keys": [place]},
        duration={"base_min": 3},
    )


def _tick(site: Site) -> Counts:
    return materialise(site_id=site.pk, now=NOW, days=DAYS)


def _made() -> Owed:
    return dict(WorkOrder.objects.values_list("natural_key", "starts_after"))


def _two_threads_two_ticks(site: Site) -> list[Any]:
    def tick_twice() -> list[Counts]:
        return [_tick(site), _tick(site)]

    return run_together(tick_twice, tick_twice)


def test_a_thousand_standing_orders_ticked_by_two_make_what_the_oracle_says() -> None:
    site, owed = _farm(1000)
    results = _two_threads_two_ticks(site)
    assert [type(result) for result in results] == [list, list]
    assert WorkOrder.objects.count() == len(owed)
    assert _made() == owed
    assert sum(counts.n_made for result in results for counts in result) == len(owed)


# --- the guards, one after another taken away


@pytest.fixture
def race(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Take away the turns and let both threads find nothing made before either adds a row."""
    meeting, insert = threading.Barrier(2, timeout=WAIT_S), QuerySet.bulk_create

    def arrange(**changed: bool) -> None:
        def meet_and_insert(self: Any, rows: list[Any], *rest: Any, **how: Any) -> Any:
            if rows and self.model is WorkOrder:
                meeting.wait()
            return insert(self, rows, *rest, **{**how, **changed})

        monkeypatch.setattr(produce, "take_turn", lambda _site_id: None)
        monkeypatch.setattr(QuerySet, "bulk_create", meet_and_insert)

    return arrange


def test_without_turns_the_unique_key_alone_keeps_each_piece_single(
    race: Callable[..., None],
) -> None:
    site, owed = _farm(40)
    race()
    results = _two_threads_two_ticks(site)
    assert [type(result) for result in results] == [list, list]
    assert WorkOrder.objects.count() == len(owed)
    assert _made() == owed


def test_without_ignoring_conflicts_the_race_shows(race: Callable[..., None]) -> None:
    site, _owed = _farm(40)
    race(ignore_conflicts=False)
    kinds = {type(result) for result in _two_threads_two_ticks(site)}
    assert kinds == {list, IntegrityError}


@pytest.fixture
def no_unique_key() -> Iterator[None]:
    """Drop the constraint for one test."""
    [constraint] = [c for c in WorkOrder._meta.constraints if c.name == "workorder_once"]
    with connection.schema_editor() as editor:
        editor.remove_constraint(WorkOrder, constraint)
    yield
    WorkOrder.objects.all().delete()
    with connection.schema_editor() as editor:
        editor.add_constraint(WorkOrder, constraint)


def test_without_the_unique_key_work_is_doubled(
    no_unique_key: None, race: Callable[..., None]
) -> None:
    site, owed = _farm(40)
    race()
    _two_threads_two_ticks(site)
    assert WorkOrder.objects.count() == 2 * len(owed)


# --- two who close the same work


@pytest.fixture
def crew() -> tuple[WorkOrder, Actor, Actor]:
    site = make_site()
    return make_work_order(site), make_actor(site, "ana"), make_actor(site, "ben")


def _tell(verb: Callable[..., WorkOrder], order: WorkOrder, by: Actor) -> WorkOrder:
    return verb(site_id=order.site_id, work_order_id=order.pk, by=by, at=order.starts_after)


_done = partial(finish_work, outcome="done")


@pytest.mark.parametrize("repeat", range(5))
def test_two_who_finish_the_same_work_are_one_completion_and_two_witnesses(
    crew: tuple[WorkOrder, Actor, Actor], repeat: int
) -> None:
    order, *people = crew
    run_together(*(partial(_tell, _done, order, by) for by in people))
    order.refresh_from_db()
    assert (order.status, order.version) == (Status.COMPLETED, 3)
    first, second = Report.objects.order_by("id")
    assert order.ended_by_id == first.by_id != second.by_id


def test_two_loads_at_once_are_two_loads(crew: tuple[WorkOrder, Actor, Actor]) -> None:
    order, *people = crew
    run_together(*(partial(_tell, add_load, order, by) for by in people))
    order.refresh_from_db()
    assert order.loads == 2


@pytest.mark.parametrize(("verb", "version", "loads"), [(_done, 2, 0), (add_load, 2, 1)])
def test_without_the_row_lock_a_word_is_lost(
    crew: tuple[WorkOrder, Actor, Actor],
    monkeypatch: pytest.MonkeyPatch,
    verb: Callable[..., WorkOrder],
    version: int,
    loads: int,
) -> None:
    order, *people = crew
    meeting, write_down = threading.Barrier(2, timeout=WAIT_S), telling.write_down

    def meet_and_write(*words: Any, **more: Any) -> None:
        write_down(*words, **more)
        meeting.wait()  # both have read the order, neither has saved it

    monkeypatch.setattr(QuerySet, "select_for_update", lambda self, **_how: self)
    monkeypatch.setattr(telling, "write_down", meet_and_write)
    run_together(*(partial(_tell, verb, order, by) for by in people))
    order.refresh_from_db()
    assert Report.objects.count() == 2
    assert (order.version, order.loads) == (version, loads)  # 3 and twice as many, had it held
