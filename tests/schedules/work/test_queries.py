"""Reads of work: what is open, what waits on what, how a day stands; queries are counted."""

from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest
from django.utils import translation

from equipment.site.models import Actor, Hold, HoldSubject, PlaceKind, Site
from equipment.site.services import put_hold
from schedules.sand.models import Batch, Stage
from schedules.work.models import Dependency, Outcome, Relation, Status, WorkOrder
from schedules.work.progress import report_problem
from schedules.work.queries import (
    board_counts,
    open_problems,
    order_detail,
    say_amount,
    say_reason,
    say_title,
    waiting_reasons,
)
from tests.factories import make_place, make_site, make_standing_order, make_work_order, utc

from .verbs import T0, VERBS

DAY = utc("2026-03-04 00:00"), utc("2026-03-05 00:00")

pytestmark = pytest.mark.django_db


def _many(site: Site, n: int) -> list[WorkOrder]:
    rule = make_standing_order(site, f"rule-{n}")
    orders = [make_work_order(site, f"{rule.key}/{i}", standing_order=rule) for i in range(n)]
    for first, second in pairwise(orders):
        Dependency.objects.create(site=site, work_order=second, on=first)
    return orders


@pytest.mark.parametrize("n", [1, 12])
def test_what_work_waits_on_is_read_in_two_queries_and_five_under_holds(
    site: Site, ana: Actor, n: int, django_assert_num_queries: Any
) -> None:
    orders = _many(site, n)
    with django_assert_num_queries(2):
        waiting_reasons(site.pk, [order.pk for order in orders])
    held = {"subject_kind": HoldSubject.PEN, "subject_id": 10**6, "reason": "calves"}
    Hold.objects.create(site=site, put_by=ana, put_at=T0, **held)
    with django_assert_num_queries(5):
        waiting_reasons(site.pk, [order.pk for order in orders])


@pytest.mark.parametrize(
    ("relation", "first_is", "waits"),
    [
        (Relation.FINISH_TO_START, "to_do", True),
        (Relation.FINISH_TO_START, "under_way", True),
        (Relation.FINISH_TO_START, "done", False),
        (Relation.FINISH_TO_START, "could_not", False),
        (Relation.START_TO_START, "to_do", True),
        (Relation.START_TO_START, "under_way", False),
        (Relation.START_TO_START, "done", False),
        (Relation.FINISH_TO_FINISH, "to_do", False),
        (Relation.START_TO_FINISH, "to_do", False),
    ],
)
def test_work_waits_as_the_relation_says(
    site: Site, ana: Actor, relation: Relation, first_is: str, waits: bool
) -> None:
    """RFC 9253 section 5: which end of the first bounds which end of the second."""
    first, second = make_work_order(site, "a/1"), make_work_order(site, "b/1")
    Dependency.objects.create(site=site, work_order=second, on=first, relation=relation)
    verb = {"to_do": None, "under_way": "start"}.get(first_is, first_is)
    if verb:
        VERBS[verb](first, ana, 0)
    found = waiting_reasons(site.pk, [second.pk])
    assert bool(found) == waits
    if waits:
        [reason] = found[second.pk]
        assert (reason.code, reason.name, reason.subject_id) == ("dependency", "Groom", first.pk)


def test_a_held_batch_is_named_in_the_readers_language(site: Site, ana: Actor) -> None:
    place = make_place(site, "bay-1", PlaceKind.BAY)
    batch = Batch.objects.create(
        site=site,
        number=12,
        stage=Stage.DRYING,
        place=place,
        opened_at=T0,
        stage_since=T0,
        moisture_wb_frac=0.1,
        cure_d=60,
    )
    order = make_work_order(site, place=place, batch=batch)
    put_hold(
        site_id=site.pk,
        subject_kind=HoldSubject.BATCH,
        subject_id=batch.pk,
        reason="smells",
        by=ana,
        at=T0,
    )
    with translation.override("es"):
        [reason] = waiting_reasons(site.pk, [order.pk])[order.pk]
        assert (reason.code, reason.name) == ("hold", "Lote 12")
    assert reason.name == "Batch 12"


@pytest.mark.parametrize("n_reports", [0, 6])
def test_all_of_one_work_order_is_read_in_three_queries(
    order: WorkOrder, ana: Actor, n_reports: int, django_assert_num_queries: Any
) -> None:
    for minute in range(n_reports):
        VERBS["load"](order, ana, minute)
    with django_assert_num_queries(3):
        found = order_detail(order.site_id, order.pk)
        assert found is not None
        assert [report.by.name for report in found.reports.all()] == ["Ana"] * n_reports
        assert list(found.needs.all()) == []


def test_another_sites_work_order_has_no_detail(order: WorkOrder) -> None:
    assert order_detail(make_site("other").pk, order.pk) is None


def test_a_days_work_is_counted_in_one_query(
    site: Site, ana: Actor, django_assert_num_queries: Any
) -> None:
    states = ["start", "done", "done", "part", "could_not"]
    for number, verb in enumerate([None, *states]):
        order = make_work_order(site, f"x/{number}", amount="stalls:100")
        if verb:
            VERBS[verb](order, ana, number)
    missed = {"outcome": Outcome.MISSED, "status": Status.CANCELLED, "n_left": 40}
    make_work_order(site, "x/9", needs_decision="late_report", **missed)
    with django_assert_num_queries(1):
        counts = board_counts(site.pk, *DAY, now=DAY[1])
    assert (counts.n_to_do, counts.n_under_way, counts.n_late) == (1, 1, 2)
    assert (counts.n_done, counts.n_part, counts.n_could_not, counts.n_missed) == (2, 1, 1, 1)
    assert (counts.n_decisions, counts.n_stalls_missed) == (1, 47)


def test_problems_are_read_oldest_first_in_one_query(
    site: Site, ana: Actor, django_assert_num_queries: Any
) -> None:
    for minute in (5, 1):
        at = T0 + timedelta(minutes=minute)
        report_problem(site_id=site.pk, place_id=None, text=f"at {minute}", by=ana, at=at)
    with django_assert_num_queries(1):
        said = [(p.text, p.reported_by.name) for p in open_problems(site.pk)]
    assert said == [("at 1", "Ana"), ("at 5", "Ana")]


def test_words_come_in_the_readers_language(site: Site) -> None:
    order = make_work_order(
        site, title={"en": "Groom", "es": "Rastrillar"}, amount="stalls:96", reason="visit_gone"
    )
    assert (say_title(order), say_amount(order)) == ("Groom", "96 stalls")
    assert say_reason(order) == "the pen is not milked then"
    with translation.override("es"):
        assert say_title(order) == "Rastrillar"
    order.title, order.amount, order.reason = {}, "6 t", "ice on the ramp"
    assert (say_title(order), say_amount(order)) == ("by-hand/1", "6 t")
    assert say_reason(order) == "ice on the ramp"
