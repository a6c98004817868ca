"""What every list and every single object of the API has: pages, few queries, ETags."""

import re
from base64 import b64encode
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from schedules.work.models import WorkOrder
from tests.config.calls import path_of
from tests.farm import Farm

pytestmark = pytest.mark.django_db

# Queries of each list, the one that finds the caller and the site's version included: for one row
# and for many.
QUERIES = """
alerts/ 2
alleys/ 2
assignments/ 4
basins/ 13
batches/ 8
batches/<key:batch_id>/moisture-tests/ 3
calendars/ 2
crew-pens/ 2
crews/ 2
crop-fields/ 2
defects/ 2
field-applications/ 2
flush-runs/ 2
holds/ 2
locks/ 2
machines/ 10
machines/<key:machine_id>/check-items/ 3
machines/<key:machine_id>/checks/ 3
machines/<key:machine_id>/defects/ 3
machines/<key:machine_id>/readings/ 3
machines/<key:machine_id>/repairs/ 3
machines/<key:machine_id>/services/ 3
manure-analyses/ 2
milkings/ 2
pen-visits/ 3
pens/ 5
pens/<key:pen_id>/beddings/ 3
places/ 2
plans/ 2
problems/ 2
repairs/ 2
rosters/ 2
sand-accounts/ 4
shift-patterns/ 2
shift-wishes/ 2
shifts/ 2
sites/ 2
standing-orders/ 2
swaps/ 2
unassigned/ 3
weather-days/ 2
weather-forecasts/ 2
week-forecasts/ 3
work-orders/ 2
work-orders/<key:order_id>/needs/ 3
work-orders/<key:order_id>/reports/ 3
workers/ 3
year-ahead/ 2
"""
LISTS = {route: int(n) for route, n in map(str.split, QUERIES.strip().splitlines())}


# Pages ------------------------------------------------------------------------------------------


def test_every_list_takes_as_many_queries_for_many_rows_as_for_one(
    farm: Farm, as_manager: APIClient
) -> None:
    for route, n_queries in LISTS.items():
        path = path_of(route, farm, farm.slug)
        as_manager.get(path)  # meter histories are kept in the process
        for page_size in (1, 50):
            with CaptureQueriesContext(connection) as queries:
                body = as_manager.get(path, {"page_size": page_size}).json()
            assert len(queries) == n_queries, (route, page_size)
        assert len(body["results"]) >= (1 if route == "sites/" else 2), route


def next_of(response: Any) -> str | None:
    """Follow `Link` as RFC 8288 has it, not the body."""
    found = re.search('<([^>]*)>; rel="next"', response.headers.get("Link", ""))
    assert (found and found[1]) == response.json()["next"]
    return found[1] if found else None


def test_pages_give_every_row_once_though_rows_come_meanwhile(
    farm: Farm, as_manager: APIClient
) -> None:
    there = set(WorkOrder.objects.values_list("pk", flat=True))
    url: str | None = "/api/v1/sites/ours/work-orders/?page_size=7"
    seen: list[int] = []
    while url:
        response = as_manager.get(url)
        seen += [row["id"] for row in response.json()["results"]]
        url = next_of(response)
        if len(seen) == 7:
            WorkOrder.objects.filter(pk=seen[0]).delete()
            farm._order("late/1")
    assert len(seen) == len(set(seen))
    assert there < set(seen)


@pytest.mark.parametrize(
    "cursor",
    ["p=abc", "p=1%00", "p=%F0%9F%90%84", "p=" + "9" * 40, "p=1.5", "o=x", "r=x", "o=-1"],
)
def test_cursor_of_somebodys_own_making_is_no_page(as_manager: APIClient, cursor: str) -> None:
    encoded = b64encode(cursor.encode()).decode()

    response = as_manager.get("/api/v1/sites/ours/work-orders/", {"cursor": encoded})

    assert response.status_code == 404
    assert response["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize("cursor", ["x", "é", "%%%", "\0", ""])
def test_cursor_that_is_no_base64_is_no_page_or_the_first(
    as_manager: APIClient, cursor: str
) -> None:
    response = as_manager.get("/api/v1/sites/ours/work-orders/", {"cursor": cursor})

    assert response.status_code in (200, 404)


def test_page_has_two_hundred_rows_at_most(as_manager: APIClient, farm: Farm) -> None:
    for number in range(200):
        farm._order(f"more/{number}")

    body = as_manager.get("/api/v1/sites/ours/work-orders/", {"page_size": 10**9}).json()

    assert len(body["results"]) == 200


# Filters ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("route", "query"),
    [
        ("work-orders/", {"status": "DONE"}),
        ("work-orders/", {"local_date": "2026-02-30"}),
        ("work-orders/", {"place": "x"}),
        ("work-orders/", {"place": str(2**63)}),
        ("work-orders/", {"worker": "0"}),
        ("work-orders/", {"updated_since": "2026-03-04T05:10:00"}),
        ("work-orders/", {"updated_since": "0001-01-01T00:00:00+14:00"}),
        ("work-orders/", {"status": "\0"}),
        ("work-orders/", {"page_size": "seven"}),
        ("places/", {"page_size": "1e3"}),
        ("assignments/", {"from_at": "now"}),
        ("batches/", {"stage": "wet"}),
        ("batches/", {"is_live": "maybe"}),
        ("shifts/", {"worker": "1e3"}),
        ("weather-days/", {"from_on": "yesterday"}),
        ("pen-visits/", {"milking": "9" * 2000}),
    ],
)
def test_filter_that_cannot_be_is_refused_by_name(
    as_manager: APIClient, route: str, query: dict[str, str]
) -> None:
    response = as_manager.get(f"/api/v1/sites/ours/{route}", query)

    assert response.status_code == 400
    assert [fault["pointer"] for fault in response.json()["errors"]] == [f"/{next(iter(query))}"]


def test_filters_of_work_orders_narrow_the_list(farm: Farm, as_manager: APIClient) -> None:
    day = farm.orders[0].local_date
    queries: list[tuple[dict[str, Any], int]] = [
        ({"status": "IN-PROCESS"}, 4),
        ({"local_date": day}, 36),
        ({"local_date": day + timedelta(days=1)}, 0),
        ({"place": farm.pens[0].bed_groups.get().pk}, 10),
        ({"place": farm.pens[0].bed_groups.get().pk, "status": "IN-PROCESS"}, 1),
        ({"worker": farm.worker.pk}, 2),
        ({"worker": farm.manager.pk}, 0),
        ({"standing_order": farm.rule.pk}, 36),
        ({"standing_order": 2**63 - 1}, 0),
    ]
    for query, n_found in queries:
        body = as_manager.get("/api/v1/sites/ours/work-orders/", query).json()
        assert len(body["results"]) == n_found, query


# ETags ------------------------------------------------------------------------------------------


def test_etag_moves_with_what_is_shown(farm: Farm, as_manager: APIClient) -> None:
    path = f"/api/v1/sites/ours/machines/{farm.machines[0].pk}/"
    before = as_manager.get(path)["ETag"]

    as_manager.post(f"{path}hold/", {"reason": "brakes"}, headers={"Idempotency-Key": "k-1"})

    after = as_manager.get(path, headers={"If-None-Match": before})
    assert after.json()["is_usable"] is False
    assert after["ETag"] != before
