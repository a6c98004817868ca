"""Standing orders at the desk: what a change makes anew, and that it says so."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client

from equipment.site.models import Actor, PlaceKind
from schedules.work.models import StandingOrder, Status, Trigger, WorkOrder
from schedules.work.produce import materialise
from tests.factories import make_standing_order
from tests.farm import Farm

from .conftest import NOW
from .reading import rows, url, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def rule(farm: Farm) -> StandingOrder:
    """Scrape every pen each day at six: it makes work for 14 days and today."""
    made = make_standing_order(
        farm.site,
        "daily",
        trigger=Trigger.CALENDAR,
        title={"en": "Scrape", "es": "Raspar"},
        target={"kind": PlaceKind.PEN, "keys": ["pen-1"]},
        duration={"base_min": 10, "per_cow_min": 0.05},
    )
    materialise(site_id=farm.site.pk, now=NOW, standing_order_ids=[made.pk])
    return made


def _open(rule: StandingOrder) -> list[WorkOrder]:
    return list(
        WorkOrder.objects.filter(standing_order=rule, status=Status.NEEDS_ACTION).order_by("pk")
    )


def _edit(client: Client, rule: StandingOrder, **fields: str) -> str:
    data = {"version": str(rule.version), "priority": "3", "n_people": "1", **fields}
    response = client.post(url("edit-standing-order", rule.pk), data, follow=True)
    assert response.status_code == 200
    return words(response)


def test_list_says_work_place_trigger_priority_people_and_minutes(
    rule: StandingOrder, manager: Client
) -> None:
    table = rows(manager.get(url("standing-orders")).content.decode())

    row = next(row for row in table if row[0] == "Scrape")
    assert row[1:7] == [
        "Pen pen-1", "Calendar rule", "3", "1", "10 min + 0.05 min a cow", f"{len(_open(rule))}",
    ]  # fmt: skip


def test_change_of_minutes_makes_the_coming_work_anew_and_says_how_much(
    rule: StandingOrder, manager: Client
) -> None:
    before = _open(rule)

    said = _edit(manager, rule, base_min="20", per_cow_min="0.05")

    after = _open(rule)
    assert len(after) == len(before) > 10
    # 300 cows: 10 + 0.05 x 300 = 25 min before, 20 + 15 = 35 min after
    assert {o.duration_min for o in before} == {25.0}
    assert {o.duration_min for o in after} == {35.0}
    n = len(after)
    assert f"Saved. {n} coming jobs were made anew: 0 new, {n} changed, 0 taken out." in said


def test_change_of_priority_and_people_is_kept(rule: StandingOrder, manager: Client) -> None:
    _edit(manager, rule, priority="1", n_people="2", base_min="10", per_cow_min="0.05")

    rule.refresh_from_db()
    assert (rule.priority, rule.n_people, rule.version) == (1, 2, 2)
    assert {o.priority for o in _open(rule)} == {1}


def test_same_again_changes_nothing(rule: StandingOrder, manager: Client) -> None:
    said = _edit(manager, rule, base_min="10", per_cow_min="0.05")

    rule.refresh_from_db()
    assert "Saved. No coming job had to change." in said
    assert rule.version == 1


def test_work_under_way_keeps_what_it_was_made_with(rule: StandingOrder, manager: Client) -> None:
    begun = _open(rule)[0]
    WorkOrder.objects.filter(pk=begun.pk).update(
        status=Status.IN_PROCESS, started_at=NOW, started_by_id=_an_actor(rule)
    )

    _edit(manager, rule, base_min="20", per_cow_min="0.05")

    assert WorkOrder.objects.get(pk=begun.pk).duration_min == 25.0


def _an_actor(rule: StandingOrder) -> int:
    return Actor.objects.filter(site=rule.site).earliest("pk").pk


def test_minutes_left_empty_leave_the_formula(rule: StandingOrder, manager: Client) -> None:
    _edit(manager, rule, base_min="10", per_cow_min="")

    rule.refresh_from_db()
    assert rule.duration == {"base_min": 10}


def test_retired_one_makes_no_more_work_and_can_be_used_again(
    rule: StandingOrder, manager: Client
) -> None:
    n = len(_open(rule))
    address = url("retire-standing-order", rule.pk)

    response = manager.post(address, {"version": "1"}, follow=True)

    assert f"Saved. {n} coming jobs were made anew: 0 new, 0 changed, {n} taken out." in words(
        response
    )
    assert _open(rule) == []
    assert "Use it again" in words(response)

    manager.post(address, {"version": "2", "use": "again"})

    assert len(_open(rule)) == n


def test_worker_reads_the_rules_and_sees_no_form(rule: StandingOrder, worker: Client) -> None:
    html = worker.get(url("standing-orders")).content.decode()

    assert "Scrape" in html
    assert 'name="priority"' not in html


def test_many_places_are_named_by_two_and_a_count(farm: Farm, manager: Client) -> None:
    keys = [f"pen-{n}" for n in (1, 2, 3)]
    few = {"kind": PlaceKind.PEN, "keys": keys}
    make_standing_order(farm.site, "few", title={"en": "Few"}, target=few)
    beds = [g.place.key for pen in farm.pens for g in pen.bed_groups.all()]
    four = {"kind": PlaceKind.BED_GROUP, "keys": [*beds, beds[0]]}
    make_standing_order(farm.site, "four", title={"en": "Four"}, target=four)
    make_standing_order(farm.site, "all", title={"en": "All"}, target={"kind": PlaceKind.PEN})

    where = {row[0]: row[1] for row in rows(manager.get(url("standing-orders")).content.decode())}

    assert where["Few"] == "Pen pen-1, Pen pen-2, Pen pen-3"
    assert where["Four"].endswith(" and 2 more")
    assert where["All"] == "every one: Pen"


def test_edit_of_one_that_changed_meanwhile_says_read_it_again(
    rule: StandingOrder, manager: Client
) -> None:
    _edit(manager, rule, priority="2", base_min="10", per_cow_min="0.05")

    response = manager.post(
        url("edit-standing-order", rule.pk),
        {"version": "1", "priority": "5", "n_people": "1", "base_min": "10"},
    )

    assert response.status_code == 412
    rule.refresh_from_db()
    assert rule.priority == 2


def test_times_move_with_the_farm_not_with_the_page(rule: StandingOrder, manager: Client) -> None:
    """A job of tomorrow is named with its day on its own page."""
    order = next(o for o in _open(rule) if o.starts_after > NOW + timedelta(hours=24))

    assert "between Fri 6 Mar 6:00 am" in words(manager.get(url("work-order", order.pk)))
