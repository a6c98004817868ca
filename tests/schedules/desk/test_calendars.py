"""Links of calendars and handovers, as the desk shows them."""

from __future__ import annotations

import html
import re

import pytest
from django.test import Client

from tests.farm import Farm

from .reading import url, words

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("page", "kind"),
    [("crew", "crew"), ("crew", "worker"), ("machines", "machine"), ("sand", "pad")],
)
def test_lead_makes_a_link_that_opens_and_ends_it(
    farm: Farm, manager: Client, page: str, kind: str
) -> None:
    offered = manager.get(url(page)).content.decode()
    [choice] = re.findall(rf'<option value="({kind}-\d+)">', offered)[-1:]

    shown = manager.post(url("calendar-link"), {"subject": choice}).content.decode()
    [address] = re.findall(r'id="calendar-address" readonly value="([^"]+)"', shown)
    path = html.unescape(address).removeprefix("http://localhost:8000")

    assert Client().get(path).status_code == 200
    assert address not in manager.get(url(page)).content.decode()
    [pk] = re.findall(r"/calendars/(\d+)\.ics", path)
    assert url("end-calendar", pk) in manager.get(url(page)).content.decode()

    manager.post(url("end-calendar", pk))

    assert Client().get(path).status_code == 404


@pytest.mark.parametrize("subject", ["", "worker", "cow-1", "worker-x", "worker-" + "9" * 30])
def test_link_of_nobody_is_refused(farm: Farm, manager: Client, subject: str) -> None:
    assert manager.post(url("calendar-link"), {"subject": subject}).status_code == 400


def test_worker_sees_no_links(farm: Farm, worker: Client) -> None:
    for page in ("crew", "machines", "sand"):
        assert 'id="cal-of"' not in worker.get(url(page)).content.decode()


def test_handover_stands_on_the_page_of_crews(farm: Farm, worker: Client) -> None:
    said = words(worker.get(url("crew")))

    assert "One" in said
    assert "Max" in said
    assert "Not taken yet" in said
    assert "Left undone: Pen 3" in said
    assert "Loose rail (Max, " in said
