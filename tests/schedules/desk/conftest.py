"""A small farm at nine in the morning, and an account of each role at its desk.

The farm is built once a module, in a transaction that is undone; what a test does is undone
after it. Browser tests build their own: their server is another connection.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any
from unittest.mock import patch

import pytest
import time_machine
from django.db import connections, transaction
from django.test import Client

from equipment.site.models import Role, User
from tests.factories import make_user, utc
from tests.farm import Farm

NOW = utc("2026-03-04 16:00")  # 9:00 am in Denver

ClientOf = Callable[[Role], Client]


@pytest.fixture(autouse=True)
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture(scope="module")
def module_farm(django_db_setup: None, django_db_blocker: Any) -> Iterator[Farm]:
    """As the one of all tests, with the clock held and with accounts."""
    stays_open = patch.object(connections["default"], "close")  # which each test's end would call
    held = time_machine.travel(NOW, tick=False)
    with django_db_blocker.unblock(), transaction.atomic(), stays_open, held:
        built = Farm("ours", NOW)
        for role in Role:
            make_user(role, built.site)
        make_user(Role.MANAGER, Farm("theirs", NOW).site)
        yield built
        transaction.set_rollback(True)


def sign_in(username: str) -> Client:
    client = Client()
    client.force_login(User.objects.get(username=username))
    return client


@pytest.fixture
def client_of(farm: Farm) -> ClientOf:
    """Sign in the account of a role."""
    return lambda role: sign_in(f"{role}-ours")


@pytest.fixture
def manager(client_of: ClientOf) -> Client:
    return client_of(Role.MANAGER)


@pytest.fixture
def worker(client_of: ClientOf) -> Client:
    return client_of(Role.WORKER)


@pytest.fixture
def stranger(farm: Farm) -> Client:
    """Somebody with an account who belongs to another farm."""
    return sign_in(f"{Role.MANAGER}-theirs")
