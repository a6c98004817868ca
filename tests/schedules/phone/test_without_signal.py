"""The phone's page without signal: kept whole, reloaded, and changed only when all is sent."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
import time_machine
from django.test import Client
from playwright.sync_api import Browser, Page

from crews.devices.services import make_pairing_code
from equipment.site.models import Event
from schedules.phone import pages, program
from schedules.work.models import Status
from tests.factories import utc
from tests.farm import Farm

NOW = utc("2026-03-04 16:00")
CONTROLLED = """() => navigator.serviceWorker.controller
    ?? new Promise((had) => { navigator.serviceWorker.oncontrollerchange = had; }).then(() => 0)"""
KEPT = "async () => (await caches.keys()).filter((name) => name.startsWith('program-'))"


def kept_files(worker: str) -> dict[str, str]:
    """The addresses that a service worker keeps, each with its digest."""
    listed = re.search(r"^const FILES = (.*);$", worker, re.MULTILINE)
    assert listed
    found: dict[str, str] = json.loads(listed[1])
    return found


def test_worker_keeps_every_file_that_the_page_and_its_modules_name(client: Client) -> None:
    reply = client.get("/phone/sw.js")
    kept = kept_files(reply.text)
    shell = client.get("/phone/").text

    named = set(re.findall(r'(?:href|src)="([^"]+)"', shell))
    for file in program.FILES.glob("*.js"):
        imports = re.findall(r'^(?:import|export) .*"\./([^"]+)"', file.read_text(), re.MULTILINE)
        named |= {f"{pages.ADDRESS}{name}" for name in imports}
    assert len(named) > 10
    assert named - set(kept) == set()
    assert f"{pages.ADDRESS}sw.js" not in kept
    for address, digest in kept.items():
        assert hashlib.sha256(client.get(address).content).hexdigest() == digest, address
    assert kept["/phone/"] == hashlib.sha256(shell.encode()).hexdigest()
    assert reply["Content-Type"] == "text/javascript"
    assert "no-cache" in reply["Cache-Control"]


# In a browser -----------------------------------------------------------------------------------


@pytest.fixture
def farm(db: None) -> Iterator[Farm]:
    with time_machine.travel(NOW, tick=False):
        yield Farm("ours", NOW)


@pytest.fixture
def phone(browser: Browser, farm: Farm, live_server: Any) -> Iterator[Page]:
    """A paired phone that has its program and its work."""
    context = browser.new_context(base_url=str(live_server))
    page = context.new_page()
    page.clock.install(time=NOW)
    page.goto("/phone/")
    code = make_pairing_code(
        site_id=farm.site.pk, worker_id=farm.worker.pk, by=farm.manager.actor, at=NOW
    )
    assert do(page, "return app.pair(given, 'en')", code) == {"ok": True, "detail": ""}
    page.evaluate(CONTROLLED)
    yield page
    context.close()


def do(page: Page, script: str, given: Any = None) -> Any:
    """Do something with the page's own app."""
    begun = "const { app } = await import('/phone/files/app.js'); await app.begin();"
    return page.evaluate(f"async (given) => {{ {begun} {script} }}", given)


def wait_until_sent(page: Page) -> None:
    do(
        page,
        "await new Promise((sent) => { const look = () => app.view.nWaiting === 0 && sent();"
        " app.on(look); look(); })",
    )


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_page_reloads_without_signal_and_what_was_said_goes_through_later(
    phone: Page, farm: Farm
) -> None:
    order = farm.orders[3]
    say = "return (await app.say(given[0], { work_order: given[1] })).event.seq"
    status = "return app.view.jobs.find((job) => job.id === given).status"
    assert do(phone, status, order.pk) == Status.NEEDS_ACTION

    phone.context.set_offline(True)
    phone.reload()
    assert do(phone, say, ["start", order.pk]) == 1
    phone.reload()
    assert do(phone, status, order.pk) == Status.IN_PROCESS
    assert do(phone, say, ["done", order.pk]) == 2
    phone.close(run_before_unload=False)
    again = phone.context.new_page()
    again.goto("/phone/")
    assert do(again, status, order.pk) == Status.COMPLETED
    assert do(again, "return app.view.nWaiting") == 2
    assert not Event.objects.exists()

    phone.context.set_offline(False)
    wait_until_sent(again)
    order.refresh_from_db()
    assert order.status == Status.COMPLETED
    assert [e.kind for e in Event.objects.order_by("device_seq")] == ["start", "done"]
    assert do(again, status, order.pk) == Status.COMPLETED


# A newer program --------------------------------------------------------------------------------


# Looks for another version and tells when it has settled: "installed" waits, "redundant" failed.
LOOK = """async () => {
    const kept = await navigator.serviceWorker.getRegistration('/phone/');
    const found = new Promise((tell) => kept.addEventListener('updatefound', () => {
        const next = kept.installing;
        next.addEventListener('statechange', () => tell(next.state), { once: true });
    }));
    await kept.update().catch(() => {});
    return found;
}"""


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_newer_program_waits_until_all_is_sent(
    phone: Page, farm: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    older = pages._service_worker()
    newer = older.replace('const VERSION = "', 'const VERSION = "newer-')
    monkeypatch.setattr(pages, "_service_worker", lambda: newer)
    [before] = phone.evaluate(KEPT)
    phone.route("**/events/", lambda route: route.abort())
    do(phone, "await app.say('problem', { text: 'bent' })")

    assert phone.evaluate(LOOK) == "installed"
    do(phone, "await app.say('problem', { text: 'torn' })")
    assert do(phone, "return [app.update(), app.facts().has_update]") == [False, True]
    phone.reload()
    assert do(phone, "return [app.update(), app.view.nWaiting]") == [False, 2]
    assert sorted(phone.evaluate(KEPT)) == sorted(
        [before, before.replace("program-", "program-newer-")]
    )

    phone.unroute("**/events/")
    do(phone, "await app.sendNow()")
    wait_until_sent(phone)
    with phone.expect_navigation():
        assert do(phone, "return app.update()") is True
    phone.evaluate(CONTROLLED)
    assert phone.evaluate(KEPT) == [before.replace("program-", "program-newer-")]
    assert Event.objects.count() == 2


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_program_of_mixed_versions_is_not_taken(
    phone: Page, farm: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the midst of an upgrade some files are old and some new: neither is kept."""
    older = pages._service_worker()
    css = kept_files(older)[f"{pages.ADDRESS}phone.css"]
    mixed = older.replace(css, "0" * 64).replace('const VERSION = "', 'const VERSION = "mixed-')
    monkeypatch.setattr(pages, "_service_worker", lambda: mixed)
    [before] = phone.evaluate(KEPT)

    assert phone.evaluate(LOOK) == "redundant"

    assert phone.evaluate(KEPT) == [before]
    assert do(phone, "return app.facts().has_update") is False
