"""What pages read of the day's clock, in how many queries, and what is warned of."""

from datetime import date, timedelta

import pytest
from pytest_django import DjangoAssertNumQueries

from equipment.barns.models import Pen
from equipment.parlor.models import Parlor
from equipment.site.models import Place, Site
from schedules.rounds.calc import BedWorkKey, WarningCode
from schedules.rounds.models import PenVisit
from schedules.rounds.queries import (
    flush_visits,
    milkings_of_day,
    view_day,
    visits_between,
    warnings_of,
)
from schedules.rounds.services import plan_milkings
from tests.factories import make_alley, make_bed_group, make_parlor, make_pen, make_site, utc

pytestmark = pytest.mark.django_db

MONDAY = date(2026, 6, 1)
FIVE = utc("2026-06-01 11:00")  # 05:00 in Denver


@pytest.fixture
def site() -> Site:
    site = make_site()
    make_parlor(site, starts_local=("05:00", "13:00"), open_buffer_min=1, close_buffer_min=1)
    for key in ("1", "2"):
        pen = make_pen(site, key)
        for row in ("a", "b"):
            make_bed_group(pen, row)
    return site


def plan(site: Site) -> None:
    plan_milkings(
        site_id=site.pk,
        from_on=MONDAY,
        until_on=MONDAY + timedelta(days=2),
        at=utc("2026-05-31 12:00"),
    )


def codes(site: Site, work: dict[BedWorkKey, float] | None = None) -> list[WarningCode]:
    return [w.code for w in warnings_of(view_day(site.pk, MONDAY), bed_work_min=work)]


def test_milkings_of_a_day_come_with_all_that_a_page_shows(
    site: Site, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    plan(site)
    with django_assert_num_queries(3):
        shown = [
            (
                milking.slot,
                visit.pen.place.key,
                [w.bed_group.place.key for w in visit.windows.all()],
            )
            for milking in milkings_of_day(site.pk, MONDAY)
            for visit in milking.visits.all()
        ]
    rows_1, rows_2 = ["pen-1-beds-a", "pen-1-beds-b"], ["pen-2-beds-a", "pen-2-beds-b"]
    assert shown == [
        (1, "pen-1", rows_1),
        (1, "pen-2", rows_2),
        (2, "pen-1", rows_1),
        (2, "pen-2", rows_2),
    ]


def test_visits_between_reach_into_the_span(
    site: Site, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    plan(site)
    first, second = PenVisit.objects.filter(milking__local_date=MONDAY, milking__slot=1)
    with django_assert_num_queries(2):
        visits = list(visits_between(site.pk, first.called_at, second.called_at))
        assert [(v.milking.slot, v.pen.place.key) for v in visits] == [(1, "pen-1")]
        assert len(visits[0].windows.all()) == 2
    assert list(visits_between(site.pk, second.called_at, second.called_at + timedelta(1))) != []
    assert list(visits_between(site.pk, second.last_back_at, second.last_back_at)) == []


def test_visit_lasts_until_its_last_row_closes(site: Site) -> None:
    Pen.objects.filter(place__key="pen-2").update(return_mode="spare_pen", return_hold_min=90)
    plan(site)
    visit = PenVisit.objects.get(milking__local_date=MONDAY, milking__slot=1, position=1)
    closes_at = visit.windows.all()[0].closes_at
    assert closes_at > visit.last_back_at
    span = (closes_at - timedelta(minutes=1), closes_at)
    assert [v.pk for v in visits_between(site.pk, *span)] == [visit.pk]


def test_strangers_milkings_are_not_read(site: Site) -> None:
    plan(site)
    other = make_site("other-farm")
    week = timedelta(days=7)
    assert list(milkings_of_day(other.pk, MONDAY)) == []
    assert list(visits_between(other.pk, FIVE - week, FIVE + week)) == []
    assert warnings_of(view_day(other.pk, MONDAY)) == []


def test_flush_is_given_each_rows_window_without_the_release(
    site: Site, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    pen = make_pen(site, "3")
    alley = make_alley(site, pen=pen)
    make_bed_group(pen, alley=alley)
    plan(site)
    with django_assert_num_queries(4):
        visits = flush_visits(site.pk, FIVE, FIVE + timedelta(hours=2))
    by_pen = {visit.pen_id: visit for visit in visits}
    assert [visit.key for visit in visits] == ["2026-06-01/1"] * 3
    window = PenVisit.objects.get(
        pen=pen, milking__slot=1, milking__local_date=MONDAY
    ).windows.get()
    [span] = by_pen[pen.pk].spans
    assert span.alley_id == alley.pk
    assert span.start_at == window.usable_from
    assert span.end_at == window.usable_until - timedelta(minutes=3)


def test_pen_without_beds_is_flushed_while_it_is_empty(site: Site) -> None:
    pen = make_pen(site, "holding")
    plan(site)
    visit = PenVisit.objects.get(pen=pen, milking__slot=1, milking__local_date=MONDAY)
    given = {v.pen_id: v for v in flush_visits(site.pk, FIVE, FIVE + timedelta(hours=2))}
    [span] = given[pen.pk].spans
    assert (span.alley_id, span.start_at) == (None, visit.last_out_at)
    assert span.end_at == visit.first_back_at - timedelta(minutes=1 + 3)


def test_day_that_fits_has_no_warnings(
    site: Site, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    plan(site)
    with django_assert_num_queries(8):
        assert codes(site) == []


def test_day_not_planned_has_no_warnings(site: Site) -> None:
    assert codes(site) == []


def test_pen_away_over_the_limit_is_named(site: Site) -> None:
    # Kansas State (Harner), as told in agproud.com/articles/27154: over 60 minutes at three
    # milkings is too long. 500 cows at 6 s are 50 min, two walks 7.3 and the turn 8: 65.
    Pen.objects.filter(place__key="pen-2").update(n_cows=500)
    plan(site)
    warnings = warnings_of(view_day(site.pk, MONDAY))
    pen = Pen.objects.get(place__key="pen-2")
    assert [(w.code, w.slot, w.pen_key) for w in warnings] == [
        (WarningCode.TIME_AWAY_OVER_LIMIT, slot, str(pen.pk)) for slot in (1, 2)
    ]
    assert warnings[0].value_min == pytest.approx(65.3, abs=0.1)
    stored = PenVisit.objects.filter(pen=pen)[0].warnings
    assert stored == [{"code": "time_away_over_limit", "value_min": 65.3, "limit_min": 60.0}]


def test_rows_that_cannot_be_finished_are_named_at_their_milking(site: Site) -> None:
    plan(site)
    row = Place.objects.get(key="pen-1-beds-a")
    assert codes(site, {(1, str(row.pk)): 1}) == []
    assert codes(site, {(1, str(row.pk)): 500}) == [WarningCode.BEDS_CANNOT_BE_FINISHED]


def test_row_without_any_room_is_named(site: Site) -> None:
    Parlor.objects.update(open_buffer_min=10)
    plan(site)
    assert set(codes(site)) == {WarningCode.WINDOW_EMPTY}


def test_day_that_does_not_close_is_named(site: Site) -> None:
    Parlor.objects.update(wash_min=500)  # from 05:00 past 13:00, and the second past midnight
    plan(site)
    assert set(codes(site)) == {WarningCode.DAY_DOES_NOT_CLOSE}
    Parlor.objects.update(wash_min=700)
    plan(site)
    over = [w for w in warnings_of(view_day(site.pk, MONDAY)) if w.slot is None]
    assert over[0].limit_min == 24 * 60


def test_starts_on_one_instant_in_the_gap_night_still_get_warnings(site: Site) -> None:
    other = make_site("gap")
    make_parlor(other, starts_local=("02:30", "03:30"), open_buffer_min=10)
    make_bed_group(make_pen(other))
    night = date(2026, 3, 8)
    plan_milkings(
        site_id=other.pk,
        from_on=night,
        until_on=night + timedelta(days=1),
        at=utc("2026-03-01 12:00"),
    )
    found = {warning.code for warning in warnings_of(view_day(other.pk, night))}
    assert WarningCode.WINDOW_EMPTY in found
