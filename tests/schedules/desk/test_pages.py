"""Every page: who sees it, what a stranger sees, how many queries it takes."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from crews.people.models import Worker
from equipment.flushing.services import put_lock
from equipment.site.models import LEADS, HoldSubject, PlaceKind, Role
from equipment.site.services import put_hold
from schedules.dayplan.models import Assignment, Claim
from schedules.desk.base import LEADS_PAGES
from schedules.work.models import WorkOrder
from schedules.work.progress import report_problem
from tests.factories import (
    make_bed_group,
    make_machine,
    make_pen,
    make_place,
    make_shift,
    make_site,
    make_standing_order,
    make_user,
    make_visit,
    make_work_order,
    make_worker,
)
from tests.farm import Farm

from .conftest import NOW, ClientOf
from .reading import PAGES, url, words

pytestmark = pytest.mark.django_db
MOST_QUERIES = 25
WITHOUT = {
    "today": "Pens: nothing away or called in the next half hour.",
    "day-list": "No job in these hours.",
    "alerts": "Nothing needs a decision.",
    "map": "No place is on record yet.",
    "wall": "No job is planned for the next three hours.",
    "problems": "Nothing reported is without an answer.",
    "came-late": "Nothing waits for a decision.",
    "week": "Nothing is planned for the coming days: no shift, no work, no sand.",
    "plan": "No plan has been made today.",
    "replan": "There is nothing to try",
    "pens": "No milking is planned today.",
    "crew": "No shift runs in the next hours.",
    "roster": "The farm file names no shifts",
    "sand": "Bay: the farm file names none.",
    "lane": "Sand lane: give its length and width in the farm file",
    "water": "Flush tank: the farm file names none.",
    "look-back": "Nothing is on record of these weeks: no turn, no sand.",
    "records": "Nothing is on record of this period.",
    "year": "No year ahead has been reckoned yet.",
    "weather": "No day has been recorded.",
    "basins": "Basins: the farm file names none.",
    "machines": "Machines: the farm file names none.",
    "standing-orders": "No standing order is in use.",
    "set-up": "9 things are missing before a first plan.",
    "status": "No phone is paired yet.",
}
HOUR = timedelta(hours=1)


@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("page", PAGES)
def test_page_is_there_for_everybody_of_the_farm_who_may_see_it(
    page: str, role: Role, client_of: ClientOf
) -> None:
    response = client_of(role).get(url(page))

    is_seen = role in LEADS or page not in LEADS_PAGES
    assert response.status_code == (200 if is_seen else 403)
    assert "Ours" in words(response)
    if page != "wall":  # which names no pages
        assert (f'href="{url("records")}"' in response.content.decode()) == (role in LEADS)


@pytest.mark.parametrize("role", list(Role))
def test_work_order_is_there_for_everybody_of_the_farm(
    role: Role, farm: Farm, client_of: ClientOf
) -> None:
    response = client_of(role).get(url("work-order", farm.orders[0].pk))

    assert response.status_code == 200
    assert "Groom" in words(response)


@pytest.mark.parametrize("page", [*PAGES, "day-sheet", "site-news"])
def test_stranger_finds_nothing(page: str, stranger: Client) -> None:
    assert stranger.get(url(page)).status_code == 404


def test_stranger_finds_no_work_order(farm: Farm, stranger: Client) -> None:
    order_id = farm.orders[0].pk

    assert stranger.get(url("work-order", order_id)).status_code == 404
    assert stranger.get(url("work-order", order_id, slug="theirs")).status_code == 404


@pytest.mark.parametrize("page", PAGES)
def test_page_asks_who_is_there_first(page: str, farm: Farm) -> None:
    response = Client().get(url(page))

    assert response.status_code == 302
    assert response["Location"] == f"/sign-in/?next={url(page)}"


@pytest.mark.parametrize("page", PAGES)
def test_page_of_an_empty_farm_says_what_is_missing(page: str, farm: Farm) -> None:
    """A farm with no pen, person, machine or sand shows its pages and no error."""
    client = Client()
    client.force_login(make_user(Role.MANAGER, make_site("bare")))

    response = client.get(url(page, slug="bare"))

    assert response.status_code == 200
    assert WITHOUT[page] in words(response)


def _more_of_everything(farm: Farm) -> None:
    """Three times as much work, people, machines, pens, locks, problems, holds and phones."""
    who: dict[str, Any] = {**farm.who(), "at": NOW}
    for n in range(20):
        worker = make_worker(farm.site, f"more-{n}", crew=farm.crew)
        make_shift(worker, NOW - HOUR)
        pen = make_pen(farm.site, f"more-{n}")
        beds = make_bed_group(pen)
        visit = make_visit(farm.milkings[0], pen, first_out_at=NOW + HOUR)
        order = make_work_order(
            farm.site,
            f"more/{n}",
            place=beds.place,
            visit=visit,
            starts_after=NOW,
            local_date=NOW.date(),
        )
        _give(farm, order, worker, n)
        make_work_order(farm.site, f"free/{n}", place=beds.place, starts_after=NOW)
        machine = make_machine(farm.site, f"more-{n}")
        put_hold(subject_kind=HoldSubject.MACHINE, subject_id=machine.pk, reason="x", **who)
        put_lock(place_id=make_place(farm.site, f"p-{n}", PlaceKind.TANK).pk, what="", **who)
        report_problem(place_id=pen.pk, text="bent", **who)
        make_standing_order(farm.site, f"rule-{n}")


def _give(farm: Farm, order: WorkOrder, worker: Worker, n: int) -> None:
    span = (NOW + n * timedelta(minutes=3), NOW + (n + 3) * timedelta(minutes=3))
    given = Assignment.objects.create(
        site=farm.site, work_order=order, starts_at=span[0], ends_at=span[1]
    )
    Claim.objects.create(site=farm.site, assignment=given, worker=worker, span=span)


def _n_queries(client: Client, address: str, counter: Any) -> int:
    client.get(address)
    with counter as found:
        assert client.get(address).status_code == 200
    return len(found)


@pytest.mark.parametrize("page", PAGES)
def test_page_takes_as_many_queries_for_much_as_for_little(
    page: str, farm: Farm, manager: Client, django_assert_max_num_queries: Any
) -> None:
    few = _n_queries(manager, url(page), django_assert_max_num_queries(MOST_QUERIES))
    _more_of_everything(farm)

    many = _n_queries(manager, url(page), django_assert_max_num_queries(MOST_QUERIES))

    assert many == few


def test_work_order_page_takes_a_fixed_number_of_queries(
    farm: Farm, manager: Client, django_assert_max_num_queries: Any
) -> None:
    address = url("work-order", farm.orders[0].pk)
    few = _n_queries(manager, address, django_assert_max_num_queries(MOST_QUERIES))
    _more_of_everything(farm)

    assert _n_queries(manager, address, django_assert_max_num_queries(MOST_QUERIES)) == few


def test_sand_page_says_what_a_steady_day_takes(client_of: ClientOf) -> None:
    """300 stalls lose 22 kg a day (± 5 %) and 78 % (± 10) come back, in short tons of 907.185 kg.

    Eight chances in ten: 1.2816 standard deviations of the normal; 1.6 tons to buy is 0.67 to 2.54
    by a million draws of numpy. The ton: NIST SP 811, appendix B.8.
    """
    said = words(client_of(Role.WORKER).get(url("sand")))

    tons = r"(\S+) tons \((\S+) – (\S+)\)"
    found = re.search(f"lanes give back {tons}, {tons} are bought\\.", said)
    assert "A steady day: beds take 7.3 tons (6.8 – 7.7), lanes give back" in said
    assert found
    assert float(found[1]) == pytest.approx(5.67, abs=0.13)
    assert [float(ton) for ton in found.groups()[3:]] == pytest.approx([1.6, 0.67, 2.54], abs=0.13)
