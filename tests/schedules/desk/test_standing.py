"""Standing orders at the desk: what a change makes anew, and that it says so."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client

from equipment.site.models import Actor, PlaceKind
from schedules.work.calc.content import learn
from schedules.work.models import Report, StandingOrder, Status, Trigger, WorkOrder
from schedules.work.produce import materialise
from tests.factories import make_standing_order, make_work_order
from tests.farm import Farm

from .conftest import NOW
from .reading import rows, section, url, words

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


# What done work takes -----------------------------------------------------------------------------


def _record(farm: Farm, order: StandingOrder, minutes: float, n: int = 10) -> None:
    """So many done jobs of 100 stalls that took so long."""
    for job in range(n):
        make_work_order(
            farm.site,
            f"{order.key}/{minutes}/{job}",
            standing_order=order,
            place=farm.pens[0].bed_groups.get().place,
            amount="stalls:100",
            status=Status.COMPLETED,
            outcome="done",
            started_at=NOW - timedelta(days=3),
            ended_at=NOW - timedelta(days=3) + timedelta(minutes=minutes),
        )


@pytest.fixture
def bedded(farm: Farm) -> StandingOrder:
    """Rake beds: the rule says 2 min and 0.2 a stall, ten jobs of 100 stalls took 52."""
    order = make_standing_order(
        farm.site,
        "rake",
        title={"en": "Rake", "es": "Rastrillar"},
        duration={"base_min": 2, "per_stall_min": 0.2},
    )
    _record(farm, order, 52)
    return order


def _table_row(client: Client, first: str) -> list[str]:
    table = rows(client.get(url("standing-orders")).content.decode())
    return next(row for row in table if row[0] == first and "±" in " ".join(row))


def test_page_says_what_done_work_takes_and_how_sure_that_is(
    bedded: StandingOrder, manager: Client
) -> None:
    """Ten jobs of 0.5 a stall beside 0.2: precisions 10 / (0.45 / 14) and 1 / 0.38², 98 %."""
    row = _table_row(manager, "Rake")

    learned = learn([0.5] * 10, 0.2)
    assert row[1:4] == ["0.2 min a stall", "0.49 min a stall", "10"]
    assert row[4] == f"{learned.low:.3g} – {learned.high:.3g}"
    assert row[5] == f"± {learned.value * learned.error_frac:.3g}"
    assert row[6:] == ["98 %", "Take it over"]


def test_taking_over_changes_the_rule_and_says_so(bedded: StandingOrder, manager: Client) -> None:
    response = manager.post(url("take-over-content", bedded.pk), {"version": "1"}, follow=True)

    bedded.refresh_from_db()
    assert bedded.duration == {"base_min": 2, "per_stall_min": 0.49}
    assert "Rake now takes 2 min + 0.49 min a stall. Saved." in words(response)


def test_drawing_says_in_words_what_it_shows(bedded: StandingOrder, manager: Client) -> None:
    html = manager.get(url("standing-orders")).content.decode()

    assert "2 of 2 kinds of work take longer than their standing orders say." in html
    learned = learn([0.5] * 10, 0.2)
    spread = f"{learned.low / 0.2:.2f} – {learned.high / 0.2:.2f}"
    desc = html.partition('<desc id="content-d">')[2].partition("</desc>")[0]
    assert f"Rake 2.45 ({spread})" in desc
    assert ["Rake", "2.45", spread] in rows(html)


def test_short_records_show_no_number_and_say_why(farm: Farm, manager: Client) -> None:
    few = make_standing_order(farm.site, "few", title={"en": "Sweep"})
    gate = make_standing_order(farm.site, "gate", title={"en": "Hold"}, rule={"within": "gate"})
    _record(farm, few, 9, n=4)
    _record(farm, gate, 9, n=9)

    said = section(manager.get(url("standing-orders")), "not-learned")

    assert "Too few jobs on record: Sweep, Groom." in said
    assert "It lasts as long as cows or water take: Hold." in said


def test_machines_and_loads_are_shown_by_machine(
    farm: Farm, bedded: StandingOrder, manager: Client
) -> None:
    loader = farm.machines[0]
    for job in WorkOrder.objects.filter(standing_order=bedded):
        WorkOrder.objects.filter(pk=job.pk).update(loads=3)
        for minutes in (1, 4, 7):
            Report.objects.create(
                site=farm.site,
                work_order=job,
                kind="load",
                at=NOW - timedelta(days=3) + timedelta(minutes=minutes),
                by=farm.worker.actor,
                machine=loader,
            )

    html = manager.get(url("standing-orders")).content.decode()

    [found] = [row for row in rows(html) if row[:2] == ["Rake", loader.name]]
    assert found[4] == "10"
    assert f"{loader.name}: " in _table_row(manager, "Rake")[2]


def test_nobody_is_named_beside_a_time(farm: Farm, bedded: StandingOrder, manager: Client) -> None:
    WorkOrder.objects.filter(standing_order=bedded).update(
        started_by=farm.worker.actor, ended_by=farm.worker.actor
    )

    said = words(manager.get(url("standing-orders")))

    assert farm.worker.name not in said


def test_worker_sees_the_times_and_no_button(bedded: StandingOrder, worker: Client) -> None:
    html = worker.get(url("standing-orders")).content.decode()

    assert "0.49 min a stall" in html
    assert "take-over" not in html


def test_what_is_within_its_error_has_no_button(
    farm: Farm, bedded: StandingOrder, manager: Client
) -> None:
    """Ten jobs of 0.5 a stall: the standard error is √(0.0321 / 10) = 6 %, and 0.48 is 4 % off."""
    bedded.duration = {"base_min": 2, "per_stall_min": 0.48}
    bedded.save()

    assert _table_row(manager, "Rake")[-1] == "within its error"


def test_after_taking_over_there_is_nothing_to_take_over(
    bedded: StandingOrder, manager: Client
) -> None:
    manager.post(url("take-over-content", bedded.pk), {"version": "1"})

    assert _table_row(manager, "Rake")[-1] == "within its error"
