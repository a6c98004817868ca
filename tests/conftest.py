"""What all tests share: compiled translations, the browser of the system."""

import os
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any
from unittest.mock import patch

import pytest
from hypothesis import HealthCheck, settings

from config.messages import compile_stale
from config.rooms import BASE_DIR
from tests.nodes import INSTALL_NODE, has_node

if TYPE_CHECKING:
    from rest_framework.test import APIClient

    from tests.farm import Farm

CHROMIUM = Path("/usr/bin/chromium")
INSTALL_CHROMIUM = f"needs {CHROMIUM}: apt-get install --no-install-recommends chromium"

# Playwright's loop runs in the main thread, where Django would refuse every later query.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

# A shared machine may be slow at any moment: a slow example is no fault of the code.
settings.register_profile("penround", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("penround")


def pytest_configure() -> None:
    compile_stale(BASE_DIR / "config" / "locale")


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip tests of what the system lacks, Chromium or node; in CI that is a failure."""
    needs = (("browser", CHROMIUM.exists, INSTALL_CHROMIUM), ("node", has_node, INSTALL_NODE))
    for mark, is_there, words in needs:
        if item.get_closest_marker(mark) is None or is_there():
            continue
        if os.environ.get("CI") == "true":
            pytest.fail(words, pytrace=False)
        pytest.skip(words)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, object]) -> dict[str, object]:
    """Use the system's browser; the flags only stop its calls to its maker."""
    quiet = (
        "--disable-quic",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--no-first-run",
    )
    return {**browser_type_launch_args, "executable_path": str(CHROMIUM), "args": list(quiet)}


@pytest.fixture(scope="session", autouse=True)
def media_folder(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Keep photos and voice notes of tests in a folder of theirs."""
    from django.conf import settings

    settings.MEDIA_ROOT = tmp_path_factory.mktemp("media")


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """End what a live server's thread still holds, or the database could not be dropped."""
    yield
    from django.db import connection

    from equipment.site.bell import bell

    bell.close()
    with django_db_blocker.unblock(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )


@pytest.fixture(autouse=True)
def server_at_rest(request: pytest.FixtureRequest) -> Iterator[None]:
    """Let a live server end what it does before its database is emptied for the next test."""
    if "live_server" not in request.fixturenames:
        yield
        return
    request.getfixturevalue("transactional_db")
    yield
    from equipment.site.bell import bell

    bell.close()  # whoever waits for news goes home; the browser is closed, so nobody asks anew
    at_work = [t for t in threading.enumerate() if "process_request_thread" in t.name]
    for thread in at_work:
        thread.join(timeout=60)
    assert not any(thread.is_alive() for thread in at_work), at_work


@pytest.fixture(autouse=True)
def language_of_the_house() -> None:
    """Begin in English: a page asked for in Spanish leaves its thread in Spanish."""
    from django.utils import translation

    translation.activate("en")


# One small farm for a module's tests of the doors -------------------------------------------------


@pytest.fixture(scope="module")
def module_farm(django_db_setup: None, django_db_blocker: Any) -> "Iterator[Farm]":
    """Build the farm once, in a transaction that is undone when the module is done."""
    from django.db import connections, transaction

    from tests.farm import Farm

    stays_open = patch.object(connections["default"], "close")  # which each test's end would call
    with django_db_blocker.unblock(), transaction.atomic(), stays_open:
        yield Farm("ours")
        transaction.set_rollback(True)


@pytest.fixture
def farm(module_farm: "Farm", db: None) -> "Farm":
    """The module's farm as it was built; what a test does to its rows is undone.

    For modules marked `django_db`, without transactions of their own.
    """
    return module_farm


def _client(token: str) -> "APIClient":
    from rest_framework.test import APIClient

    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return client


@pytest.fixture
def as_manager(farm: "Farm") -> "APIClient":
    """The manager's phone."""
    return _client(farm.manager_token)


@pytest.fixture
def as_worker(farm: "Farm") -> "APIClient":
    """The worker's phone."""
    return _client(farm.worker_token)


# The numbered outside checks, listed in the output ----------------------------------------------


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Note each test's `trade_check` numbers on it, so that its report carries them."""
    for item in items:
        for mark in item.iter_markers("trade_check"):
            item.user_properties += [("trade_check", str(number)) for number in mark.args]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """List the numbered checks that ran, each with how it went, and what tests counted."""
    counts = [
        str(words)
        for report in terminalreporter.getreports("passed")
        for name, words in getattr(report, "user_properties", ())
        if name == "count"
    ]
    if counts:
        terminalreporter.section("counted")
    for words in sorted(counts):
        terminalreporter.write_line(words)
    outcomes: dict[str, set[str]] = {}
    for outcome in ("passed", "failed", "error", "skipped"):
        for report in terminalreporter.getreports(outcome):
            for name, number in getattr(report, "user_properties", ()):
                if name == "trade_check":
                    outcomes.setdefault(number, set()).add(outcome)
    if outcomes:
        terminalreporter.section("outside checks by number")
    for number in sorted(outcomes, key=lambda n: (n[0] == "T", int(n.lstrip("T")))):
        terminalreporter.write_line(f"{number:>4}  {', '.join(sorted(outcomes[number]))}")
