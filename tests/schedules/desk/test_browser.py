"""Every page of the desk in a real browser: accessible, never wider than the screen, quiet."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from equipment.site.models import Membership, Role, RunState, TaskRun, User
from schedules.desk.status import EVERY_S
from schedules.work.decisions import answer_problem
from schedules.work.models import Problem
from tests.factories import make_site, make_user
from tests.farm import Farm
from tests.looks import PASSWORD, faults, sign_in

from .conftest import NOW
from .reading import PAGES, url

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PATIENCE_MS = 4_000  # as live.js has it


@pytest.fixture
def farm(db: None) -> Farm:
    """The farm in rows that the server's own connection sees, and an account."""
    built = Farm("ours", NOW)
    user = make_user(Role.MANAGER, built.site)
    user.set_password(PASSWORD)
    user.save()
    return built


@pytest.fixture
def page(browser: Browser, farm: Farm, live_server: Any) -> Iterator[Page]:
    context = browser.new_context(base_url=str(live_server))
    yield context.new_page()
    context.close()


def open_all(page: Page) -> None:
    """Open what is folded, so that its forms are looked at too."""
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")


def shown_pages(farm: Farm) -> Iterator[str]:
    yield from (url(name) for name in PAGES)
    yield url("work-order", farm.orders[0].pk)
    yield url("work-order", farm.orders[-1].pk)
    yield from (url("set-up-section", name) for name in ("pens", "workers", "site"))
    yield from (url("set-up-new", name) for name in ("workers", "standing_orders", "crew_pens"))
    yield url("set-up-load")


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_page_is_accessible_fits_and_says_nothing_to_the_console(
    language: str, page: Page, farm: Farm
) -> None:
    """Violations of WCAG 2.2 AA by axe-core and overflow, at 320 and 1280 px: none."""
    console: list[str] = []
    page.on("console", lambda m: console.append(f"{m.type}: {m.text}"))
    page.on("pageerror", lambda error: console.append(str(error)))
    User.objects.update(language=language)
    page.goto("/sign-in/")
    found = faults(page)
    sign_in(page, "manager-ours")
    assert page.locator("html").get_attribute("lang") == language
    for address in shown_pages(farm):
        page.goto(address)
        open_all(page)
        found += faults(page)
    found += _pairing(page, farm) + _choice(page)
    assert console == []
    found += _refusal(page, farm)
    assert found == []


def _pairing(page: Page, farm: Farm) -> list[str]:
    page.goto(url("crew"))
    open_all(page)
    page.locator(f"form[action='{url('pairing-code', farm.worker.pk)}'] button").first.click()
    page.wait_for_selector("#pairing-code")
    return faults(page)


def _choice(page: Page) -> list[str]:
    """The choice among two farms, then the page of somebody who has none."""
    manager = User.objects.get(username="manager-ours")
    second = Membership.objects.create(site=make_site("second"), user=manager, role=Role.MANAGER)
    page.goto("/")
    found = faults(page)
    second.delete()
    first = Membership.objects.get(user=manager)
    first.delete()
    page.goto("/")
    found += faults(page)
    first.save()
    return found


def _refusal(page: Page, farm: Farm) -> list[str]:
    """A form sent with nothing in it; the browser itself tells its console of the 400."""
    page.goto(url("work-order", farm.orders[0].pk))
    page.evaluate("document.querySelector('#ca').value = ' '")
    page.locator(f"form[action='{url('cancel-order', farm.orders[0].pk)}'] button").click()
    page.wait_for_selector("[role=alert]")
    return faults(page)


def test_open_page_lives(page: Page, farm: Farm) -> None:
    """The skip link, the switch of language, what another did, and a service that is gone."""
    page.clock.install()
    sign_in(page, "manager-ours")
    page.goto(url("today"))
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"

    problem = Problem.objects.filter(site=farm.site).earliest("pk")
    page.wait_for_selector(f"#problem-{problem.pk}")
    who: dict[str, Any] = {"site_id": farm.site.pk, "by": farm.manager.actor, "at": NOW}
    answer_problem(problem_id=problem.pk, answer="mended", **who)
    page.wait_for_selector(f"#problem-{problem.pk}", state="detached")

    page.get_by_role("button", name="Español").click()
    page.wait_for_selector("html[lang=es]")
    assert page.url.endswith(url("today"))
    page.get_by_role("button", name="English").click()
    page.wait_for_selector("html[lang=en]")

    stale = page.locator("#stale")
    page.route("**/news/", lambda route: route.abort())
    page.reload()  # the stream that was open would go on
    assert stale.is_hidden()
    page.clock.fast_forward(PATIENCE_MS)
    stale.wait_for(state="visible")
    assert stale.inner_text() == "The service does not answer. What you see is from 9:00 am."


def test_page_shows_what_the_clock_alone_changes(page: Page, farm: Farm) -> None:
    """Work that nobody takes up: no change of the farm tells of it, and none of its end."""
    page.clock.install()
    TaskRun.objects.all().delete()
    sign_in(page, "manager-ours")
    page.goto(url("status"))
    told = page.get_by_text("1 piece of the service's own work stands still")
    assert told.count() == 0
    late = TaskRun.objects.create(
        kind="work.consume", dedupe_key="late", created_at=NOW, due_at=NOW - timedelta(minutes=6)
    )

    page.clock.fast_forward(1000 * EVERY_S)
    told.wait_for()

    TaskRun.objects.filter(pk=late.pk).update(state=RunState.DONE)
    page.clock.fast_forward(1000 * EVERY_S)
    told.wait_for(state="detached")


def test_mark_of_the_chart_leads_to_its_job(page: Page, farm: Farm) -> None:
    sign_in(page, "manager-ours")
    page.goto(url("today"))

    page.locator(f"[data-url='{url('work-order', farm.assigned.pk)}']").click(force=True)

    page.wait_for_url(lambda at: at.endswith(url("work-order", farm.assigned.pk)))
