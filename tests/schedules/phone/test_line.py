"""Phones that all come at once: some are served, some wait, the others are told when to come."""

import io
import json
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from threading import Barrier

import pytest
from django.test import RequestFactory
from django.test.client import ClientHandler
from rest_framework.test import APIClient

from equipment.site.models import Event
from schedules.phone import api
from schedules.phone import line as lines
from schedules.phone.line import BACK_A_S, MOST_WAIT_S, CrowdedError, Line
from tests.farm import Farm
from tests.schedules.phone.test_api import EVENTS, event


def sent_away(line: Line) -> int:
    """Give the seconds after which one more may come again; 0 where there is room."""
    try:
        with line.turn():
            return 0
    except CrowdedError as error:
        return error.wait_s


def test_as_many_as_there_is_room_for_are_at_work_at_once() -> None:
    line, barrier = Line(at_work=3, waiting=0, patience_s=60), Barrier(4)

    def work(_n: int) -> None:
        with line.turn():
            barrier.wait(60)
            barrier.wait(60)

    with ThreadPoolExecutor(3) as pool:
        done = pool.map(work, range(3))
        barrier.wait(60)
        away = sent_away(line)
        barrier.wait(60)
        assert len(list(done)) == 3
    assert away >= 1
    assert sent_away(line) == 0


def test_whoever_waits_too_long_is_sent_away_too_and_leaves_the_place() -> None:
    line = Line(at_work=1, waiting=1, patience_s=0.01)
    with line.turn():
        assert sent_away(line) >= 1
        assert sent_away(line) >= 1
    assert sent_away(line) == 0


def test_turn_ends_where_the_work_fails() -> None:
    line = Line(at_work=1, waiting=0, patience_s=0)
    with pytest.raises(ZeroDivisionError), line.turn():
        raise ZeroDivisionError
    assert sent_away(line) == 0


def test_a_herd_is_asked_to_come_back_in_parts() -> None:
    line = Line(at_work=1, waiting=0, patience_s=0)
    with line.turn():
        waits = [sent_away(line) for _phone in range(1000)]

    assert waits[0] == 1
    assert max(waits) <= 1 + 1.5 * 1000 / BACK_A_S + 1
    for until in (10, 50, 100):  # each second's share, within what the dice allow
        assert sum(w <= until for w in waits) <= 2.5 * BACK_A_S * until


def test_no_phone_is_sent_away_for_longer_than_two_minutes_however_many_ask() -> None:
    line = Line(at_work=1, waiting=0, patience_s=0)
    with line.turn():
        waits = [sent_away(line) for _call in range(3 * MOST_WAIT_S * BACK_A_S)]

    assert max(waits) == MOST_WAIT_S
    assert len(line.back_at) == MOST_WAIT_S * BACK_A_S


@pytest.mark.django_db
def test_body_is_received_before_the_turn_so_that_who_stalls_holds_up_nobody(
    farm: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    line = Line(at_work=1, waiting=0, patience_s=0)
    monkeypatch.setattr(api, "line", line)
    others: list[int] = []

    class Slow(io.BytesIO):
        """A body that comes by and by; meanwhile others ask for a turn."""

        def read(self, *size: int | None) -> bytes:
            others.append(sent_away(line))
            return super().read(*size)

    body = json.dumps({"events": [event(1)]}).encode()
    asked = RequestFactory().post(EVENTS, body, content_type="application/json").environ
    asked |= {"wsgi.input": Slow(body), "HTTP_AUTHORIZATION": f"Bearer {farm.worker_token}"}
    answer = ClientHandler()(asked)

    assert json.loads(answer.getvalue())["answers"][0]["state"] == "applied"
    assert others
    assert set(others) == {0}


@pytest.mark.django_db
def test_body_that_stops_half_way_is_given_up(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    class Gone(io.BytesIO):
        """A phone that drove out of reach."""

        def read(self, *_size: int | None) -> bytes:
            raise TimeoutError

    asked = RequestFactory().post(EVENTS, b"{", content_type="application/json").environ
    asked |= {"wsgi.input": Gone(), "HTTP_AUTHORIZATION": f"Bearer {farm.worker_token}"}

    assert ClientHandler()(asked).status_code == 400
    assert sent_away(lines.line) == 0


@pytest.mark.django_db
def test_phone_without_a_turn_comes_again_and_is_taken(
    as_worker: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    line = Line(at_work=1, waiting=0, patience_s=0)
    monkeypatch.setattr(api, "line", line)
    sent = {"events": [event(1)]}

    with ExitStack() as somebody_elses:
        somebody_elses.enter_context(line.turn())
        answer = as_worker.post(EVENTS, sent)

    assert (answer.status_code, answer.json()["code"]) == (503, "crowded")
    assert int(answer["Retry-After"]) >= 1
    assert not Event.objects.exists()
    assert as_worker.post(EVENTS, sent).json()["answers"][0]["state"] == "applied"


@pytest.mark.django_db
def test_without_a_turn_it_is_not_even_asked_who_calls(monkeypatch: pytest.MonkeyPatch) -> None:
    line = Line(at_work=1, waiting=0, patience_s=0)
    monkeypatch.setattr(api, "line", line)

    with line.turn():
        assert APIClient().post(EVENTS, {"events": []}).status_code == 503
    assert APIClient().post(EVENTS, {"events": []}).status_code == 401
