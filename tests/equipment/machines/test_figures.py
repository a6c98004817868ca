"""Figures put together from records: what is known is reckoned, what is not is left open."""

from datetime import timedelta
from decimal import Decimal

import pytest

from equipment.machines.figures import machine_figures
from equipment.machines.models import (
    Machine,
    MachinePractice,
    MeterReading,
    Repair,
    ServiceItem,
    ServiceRecord,
)
from equipment.machines.queries import machine_views
from equipment.site.models import Site
from tests.factories import make_actor, make_machine, make_site, utc

pytestmark = pytest.mark.django_db
NOW = utc("2026-03-04 12:00")


@pytest.fixture
def site() -> Site:
    """One loader at 8 h a day for 60 days; its oil 30 h overdue once, with a stop in that time."""
    site = make_site()
    mia = make_actor(site, "mia")
    loader = make_machine(site, "loader-1", bucket_m3=3.0, travel_m_min=200)
    for day in range(61):
        MeterReading.objects.create(
            site=site, machine=loader, by=mia, meter_h=1000 + 8 * day,
            read_at=NOW - timedelta(days=60 - day),
        )  # fmt: skip
    facts = {"site": site, "machine_kind": "loader", "title": {"en": "x"}, "skill": "mechanic"}
    oil = ServiceItem.objects.create(key="oil", every_h=250, duration_min=120, **facts)
    ServiceItem.objects.create(key="axle", every_h=500, duration_min=60, **facts)
    for cycle, meter_h in ((1, 1000), (2, 1280)):
        ServiceRecord.objects.create(
            site=site, machine=loader, item=oil, cycle=cycle, meter_h=meter_h, by=mia,
            done_at=NOW - timedelta(days=60 - (meter_h - 1000) / 8), cost=Decimal(120),
        )  # fmt: skip
    down_from = NOW - timedelta(days=60 - 265 / 8)
    Repair.objects.create(
        site=site, machine=loader, cause="hose", reported_by=mia, cost=Decimal(240),
        down_from=down_from, down_until=down_from + timedelta(hours=12),
    )  # fmt: skip
    return site


def test_a_stop_past_a_service_is_counted_there(site: Site) -> None:
    _figures, stops, _practice = machine_figures(site.pk, machine_views(site.pk), NOW)
    # 480 h run; past the oil from 1,250 to 1,280 h, with the stop at 1,265 h
    assert stops.record.over_h == pytest.approx(30)
    assert stops.record.on_time_h == pytest.approx(450)
    assert (stops.record.n_on_time, stops.record.n_over) == (0, 1)
    # by hand: 3 stops believed in 1,000 h, and 1 in 30 h seen
    assert stops.over.mean_h == pytest.approx(4 / 1030)


def test_what_was_spent_and_how_long_it_was_down_are_told(site: Site) -> None:
    (one,), _stops, _practice = machine_figures(site.pk, machine_views(site.pk), NOW)
    assert one.recorded is not None
    assert one.recorded.per_h == Decimal("1.00")  # 480 over 480 h
    assert one.down_frac == pytest.approx(12 / (365 * 24))


def test_without_prices_cost_replacement_and_visits_are_not_known(site: Site) -> None:
    (one,), _stops, _practice = machine_figures(site.pk, machine_views(site.pk), NOW)
    assert one.cost.per_h is None
    assert set(one.cost.parts.values()) == {None}
    assert (one.replacement, one.visits, one.saved) == (None, (), None)
    assert one.output is not None
    assert one.output.is_over is None


def test_what_a_new_machine_loses_at_once_is_the_farms_setting(site: Site) -> None:
    # By hand, without interest: half of 100,000 is left at its end after one year. Kept at once
    # wholly, each year halves it and one more year costs half of what the old one would fetch;
    # with half lost at once nothing more is lost, and the year costs its repairs alone.
    Machine.objects.update(
        price=100_000, list_price=100_000, salvage=50_000, worth_now=8_000, life_y=1,
        repair_row="tractor_4wd",
    )  # fmt: skip
    practice = MachinePractice.objects.create(site=site, interest_frac=0, kept_at_once_frac=1)
    costs = []
    for practice.kept_at_once_frac in (1, 0.5):
        practice.save()
        (one,), _stops, _practice = machine_figures(site.pk, machine_views(site.pk), NOW)
        assert one.replacement is not None
        costs.append(one.replacement.keep_cost_y)
    assert costs[0] - costs[1] == pytest.approx(4_000)


def test_services_close_together_are_proposed_as_one_visit(site: Site) -> None:
    MachinePractice.objects.create(
        site=site, visit_cost=Decimal(90), shop_cost_per_h=Decimal(60), most_early_frac=0.2
    )
    (one,), _stops, _practice = machine_figures(site.pk, machine_views(site.pk), NOW)
    # at 1,480 h: the axle is due at 1,500 h in 2.5 days, the oil at 1,530 h in 6.25 days; four
    # days early of 31.25 at 120 cost 15.36, a visit 90
    ((_on, dues, early_cost),) = one.visits
    assert [due.item.key for due in dues] == ["axle", "oil"]
    assert early_cost == pytest.approx(15.36)
    assert one.saved == pytest.approx(90 - 15.36)


def test_figures_cost_the_same_queries_for_any_number_of_machines(
    site: Site, django_assert_num_queries: pytest.FixtureRequest
) -> None:
    for n in range(2, 6):
        make_machine(site, f"loader-{n}")
    views = machine_views(site.pk)
    with django_assert_num_queries(5):  # type: ignore[operator]  # the fixture is a context
        machine_figures(site.pk, views, NOW)
