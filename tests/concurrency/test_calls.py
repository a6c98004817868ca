"""The same call, and two editors of one thing, at one moment; and what the guards are for."""

from collections.abc import Callable
from threading import Barrier
from typing import Any

import pytest
from django.db import transaction
from rest_framework.response import Response
from rest_framework.test import APIClient

from equipment.site import preconditions, rest
from equipment.site.models import IdempotencyKey
from schedules.work.models import Problem, StandingOrder
from tests.concurrency.threads import WAIT_S, run_together
from tests.config.calls import BODIES, path_of
from tests.farm import Farm

pytestmark = pytest.mark.django_db(transaction=True)

N_SENDERS = 6
PROBLEM = {"text": "gate bent"}
ASSIGNMENT = ("PUT", "work-orders/<key:pk>/assignment/")


def client_of(farm: Farm) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {farm.manager_token}")
    return client


def send_one_call_at_once(farm: Farm) -> list[Any]:
    def send() -> Any:
        response = client_of(farm).post(
            path_of("problems/", farm, farm.slug), PROBLEM, headers={"Idempotency-Key": "k-1"}
        )
        return response.status_code, response.json()

    return run_together(*N_SENDERS * (send,))


def test_call_sent_by_many_at_once_has_one_effect_and_one_answer() -> None:
    farm = Farm("ours")
    before = Problem.objects.count()

    answers = send_one_call_at_once(farm)

    assert Problem.objects.count() == before + 1
    assert answers == N_SENDERS * [answers[0]]
    assert answers[0][0] == 201


def test_to_look_first_and_do_then_would_do_it_as_often_as_it_is_sent(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    all_have_looked = Barrier(N_SENDERS)

    def look_then_do(
        _request: Any, _caller: Any, _now: Any, do: Callable[[], Response]
    ) -> Response:
        if IdempotencyKey.objects.filter(key="k-1").exists():
            return Response({})
        all_have_looked.wait(WAIT_S)
        return do()

    monkeypatch.setattr(rest, "once", look_then_do)
    farm = Farm("ours")
    before = Problem.objects.count()

    send_one_call_at_once(farm)

    assert Problem.objects.count() == before + N_SENDERS


def test_call_still_at_work_elsewhere_is_to_be_sent_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(preconditions, "PATIENCE_MS", 50)
    farm = Farm("ours")
    path = path_of("problems/", farm, farm.slug)

    def send() -> Any:
        response = client_of(farm).post(path, PROBLEM, headers={"Idempotency-Key": "k-1"})
        return response.status_code, response.json()["code"], response["Retry-After"]

    with transaction.atomic():
        IdempotencyKey.objects.create(
            site=farm.site,
            principal=str(farm.manager.actor.pk),
            key="k-1",
            fingerprint="",
            created_at=farm.now,
        )
        answers = run_together(send)
        transaction.set_rollback(True)

    assert answers == [(409, "still_running", "1")]


def test_of_editors_who_read_the_same_version_one_wins() -> None:
    farm = Farm("ours")
    path = f"/api/v1/sites/ours/standing-orders/{farm.rule.pk}/"
    tag = client_of(farm).get(path)["ETag"]

    def edit(priority: int) -> int:
        body = {"priority": priority}
        response = client_of(farm).patch(path, body, headers={"If-Match": tag})
        return response.status_code

    statuses = run_together(*(lambda n=n: edit(n) for n in range(4, 8)))

    assert sorted(statuses, key=str) == [200, 412, 412, 412]
    assert StandingOrder.objects.get(pk=farm.rule.pk).version == 2


def test_of_leads_who_give_the_same_work_away_one_wins() -> None:
    farm = Farm("ours")
    path = path_of(ASSIGNMENT[1], farm, farm.slug)
    body, tag = BODIES[ASSIGNMENT](farm), client_of(farm).get(path)["ETag"]

    def give() -> int:
        return client_of(farm).put(path, body, headers={"If-Match": tag}).status_code

    assert sorted(run_together(give, give, give), key=str) == [200, 412, 412]
