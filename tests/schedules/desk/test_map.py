"""Map and wall board: where everybody is planned to be, and where to go first."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client

from crews.people.models import Worker
from equipment.flushing.models import Lock
from equipment.flushing.services import put_lock
from equipment.site.models import PlaceKind
from schedules.dayplan.models import Assignment, Claim
from schedules.desk.map_shapes import MARGIN_M, Box, Spot, covered_m2, lay_out
from schedules.rounds.models import Milking
from schedules.work.models import Status, WorkOrder
from schedules.work.progress import start_work
from tests.factories import make_visit, make_work_order
from tests.farm import Farm

from .conftest import NOW
from .reading import Page, url, words
from .reading import rows as rows_of

HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)


def alley(pk: int, x_m: float, y_m: float) -> Spot:
    return Spot(pk, PlaceKind.ALLEY, x_m, y_m, within=9, size_m=(60, 4))


# How places lie -----------------------------------------------------------------------------------


def test_rows_above_each_other_lie_east_to_west_and_rows_beside_each_other_do_not() -> None:
    above = lay_out([alley(1, 0, 0), alley(2, 0, 10)])
    beside = lay_out([alley(1, 0, 0), alley(2, 10, 0)])

    assert [(box.w_m, box.h_m) for box in above] == [(60, 4), (60, 4)]
    assert [(box.w_m, box.h_m) for box in beside] == [(4, 60), (4, 60)]


def test_one_that_would_cover_the_others_lies_the_other_way() -> None:
    basins = [Spot(n, PlaceKind.BASIN, 30.0 * n, 0, size_m=(90, 12)) for n in range(3)]
    pond = Spot(9, PlaceKind.BASIN, 30, -110, size_m=(200, 100))

    boxes = {box.pk: box for box in lay_out([*basins, pond])}

    assert (boxes[0].w_m, boxes[0].h_m) == (12, 90)
    assert (boxes[9].w_m, boxes[9].h_m) == (200, 100)
    assert covered_m2(list(boxes.values())) == 0


def test_pen_is_drawn_below_and_about_what_lies_in_it() -> None:
    pen = Spot(9, PlaceKind.PEN, 500, 500)

    first, *rest = lay_out([alley(1, 0, 0), alley(2, 0, 20), pen])

    assert first == Box(9, PlaceKind.PEN, -30 - MARGIN_M, -2 - MARGIN_M, 68, 32)
    assert [box.pk for box in rest] == [1, 2]


def test_place_without_a_size_and_pen_without_parts_lie_at_their_point() -> None:
    shop = Spot(1, PlaceKind.SHOP, 10, 20)

    [below, above] = lay_out([shop, Spot(2, PlaceKind.PEN, 0, 0)])

    assert (above.x_m + above.w_m / 2, above.y_m + above.h_m / 2) == (10, 20)
    assert (below.x_m + below.w_m / 2, below.y_m + below.h_m / 2) == (0, 0)


def test_fields_and_the_site_itself_are_off_the_map() -> None:
    assert lay_out([Spot(1, PlaceKind.SITE, 0, 0), Spot(2, PlaceKind.FIELD, 0, -9000)]) == []


def test_boxes_apart_cover_nothing_and_boxes_alike_all() -> None:
    one = Box(1, PlaceKind.BAY, 0, 0, 10, 20)

    assert covered_m2([one, Box(2, PlaceKind.BAY, 10, 0, 5, 5)]) == 0
    assert covered_m2([one, one]) == 200


def rows(page: Page) -> list[list[str]]:
    return rows_of(page.content.decode())


@pytest.fixture
def bare(farm: Farm) -> None:
    """Take everybody off the farm's own work, and all locks."""
    Lock.objects.filter(site=farm.site, off_at=None).update(off_at=NOW, off_by=farm.manager.actor)
    Assignment.objects.filter(site=farm.site).delete()
    WorkOrder.objects.filter(site=farm.site, status=Status.IN_PROCESS).update(
        status=Status.NEEDS_ACTION, started_at=None
    )


# The page -----------------------------------------------------------------------------------------


def give(order: WorkOrder, worker: Worker, minutes: int = 30) -> None:
    span = (order.starts_after, order.starts_after + minutes * MINUTE)
    given = Assignment.objects.create(
        site=order.site, work_order=order, starts_at=span[0], ends_at=span[1]
    )
    Claim.objects.create(site=order.site, assignment=given, worker=worker, span=span)


@pytest.fixture
def order(farm: Farm, bare: None) -> WorkOrder:
    """Make a job from nine to half past, given to nobody."""
    return make_work_order(
        farm.site,
        "map/1",
        place=farm.pens[0].place,
        starts_after=NOW,
        due_at=NOW + HOUR,
        local_date=NOW.date(),
    )


@pytest.mark.django_db
def test_map_shows_who_is_where_while_it_is_planned_and_not_before_or_after(
    farm: Farm, order: WorkOrder, manager: Client
) -> None:
    give(order, farm.worker)

    now, before, after = (
        manager.get(url("map"), {"at": at} if at else {}) for at in ("", "08:59", "09:30")
    )

    found = [row for row in rows(now) if farm.worker.name in row]
    assert [(row[0], row[2], row[4]) for row in found] == [
        ("Pen pen-1", farm.worker.name, "9:30 am")
    ]
    assert "9:00 am: 1 person and 0 machines at work in 1 place." in words(now)
    for other in (before, after):
        assert farm.worker.name not in str(rows(other))
        assert "0 people and 0 machines at work in 0 places." in words(other)


@pytest.mark.django_db
def test_map_keeps_whoever_has_begun_where_they_are_after_the_planned_end(
    farm: Farm, order: WorkOrder, manager: Client, clock: object
) -> None:
    give(order, farm.worker, minutes=30)
    start_work(work_order_id=order.pk, **farm.who())
    WorkOrder.objects.filter(pk=order.pk).update(duration_min=5)
    clock.shift(40 * MINUTE)  # type: ignore[attr-defined]

    page = manager.get(url("map"))

    assert WorkOrder.objects.get(pk=order.pk).status == Status.IN_PROCESS
    assert farm.worker.name in str(rows(page))
    assert 'class="job under-way"' in page.content.decode()


@pytest.mark.django_db
def test_map_shows_empty_pens_and_locks(farm: Farm, manager: Client) -> None:
    make_visit(
        Milking.objects.get(site=farm.site, slot=3), farm.pens[1], first_out_at=NOW - 5 * MINUTE
    )
    put_lock(place_id=farm.pens[0].pk, what="", **farm.who())

    said = str(rows(manager.get(url("map"))))

    assert "Empty, first cow back" in said
    assert f"Lock of {farm.manager.actor.name}" in said


@pytest.mark.django_db
@pytest.mark.parametrize("at", ["25:00", "noon", "09:00+01:00", "9"])
def test_map_says_what_is_wrong_with_a_time_it_cannot_read(manager: Client, at: str) -> None:
    response = manager.get(url("map"), {"at": at})

    assert response.status_code == 400
    assert "at must be a time of day, such as 14:30." in words(response)


# The wall board -----------------------------------------------------------------------------------


@pytest.mark.django_db
def test_wall_board_says_in_both_languages_where_to_go_first(
    farm: Farm, order: WorkOrder, manager: Client
) -> None:
    give(order, farm.worker)

    [_heads, first] = rows(manager.get(url("wall")))[:2]

    assert first[0] == "10:00 am"
    assert "Pen pen-1" in first[1]
    assert "Corral pen-1" in first[1]
    assert first[2] == farm.worker.name


@pytest.mark.django_db
def test_wall_board_shows_two_late_jobs_at_most_and_counts_the_rest(
    farm: Farm, bare: None, manager: Client
) -> None:
    for n in range(12):
        due = NOW + (n - 4) * 10 * MINUTE
        made = make_work_order(
            farm.site,
            f"wall/{n}",
            place=farm.pens[0].place,
            starts_after=due - HOUR,
            due_at=due,
            local_date=NOW.date(),
        )
        give(made, farm.worker, minutes=5) if n == 0 else give(made, farm.spare, minutes=1)

    page = manager.get(url("wall"))
    found = [row[0] for row in rows(page)[1:]]

    assert sum("Late / " in before for before in found) == 2
    assert len(found) == 6
    assert "and 6 more jobs" in words(page)


@pytest.mark.django_db
def test_wall_board_is_fetched_anew_and_would_say_that_it_is_old(manager: Client) -> None:
    page = manager.get(url("wall"))

    text = page.content.decode()
    assert 'data-every-s="30"' in text
    assert '<noscript><meta http-equiv="refresh" content="60"></noscript>' in text
    assert "OLD. The service does not answer. This is from 9:00 am." in words(page)
    assert "as of 9:00 am" in words(page)
