"""A farm's first hour in a real browser: from `setup`'s six answers to who does what today.

Nothing but clicks, fields and pastes between the two. The clock is held at one March day, and
background work is done by the poller's own function, as in the morning on the demo farm; no
periodic run is made, so that what is given must itself bring the milkings, the work and the plan.
"""

from __future__ import annotations

import io
import os
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.core.management import call_command
from playwright.sync_api import Browser, Page

from equipment.site import runs

from .first_hour import FOLDER_GIVEN, PEOPLE, Walk, give_more, give_what_a_plan_needs

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

AFTERNOON = datetime(2026, 3, 4, 20, 40, tzinfo=UTC)  # 1:40 pm in Denver, 20 min before a milking
TITLE = {"en": "Rake beds by hand", "es": "Rastrillar camas a mano"}


@pytest.fixture(autouse=True)
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(AFTERNOON) as traveller:
        yield traveller


@pytest.fixture
def page(browser: Browser, clock: Any, live_server: Any) -> Iterator[Page]:
    context = browser.new_context(
        base_url=f"{live_server}", viewport={"width": 1280, "height": 900}
    )
    yield context.new_page()
    context.close()


def set_up(language: str) -> str:
    """Answer `setup`'s six questions; give the password that it tells."""
    said = io.StringIO()
    call_command(
        *("setup", "--name=Three Cairns", "--time-zone=America/Denver", "--place=38.6, -102.4"),
        *("--units=us", f"--language={language}", "--manager=boss"),
        stdout=said,
        stderr=said,
    )
    assert re.search(r"https?://\S+/farm/three-cairns/today/$", said.getvalue(), re.MULTILINE)
    [password] = [line for line in said.getvalue().splitlines() if "told once" in line]
    return password.rpartition(" ")[2]


def work_off() -> None:
    """Do all background runs that are due, also those that they make due."""
    while runs.poll(now=datetime.now(UTC)) or runs.poll_slow(now=datetime.now(UTC)):
        pass


@pytest.mark.parametrize("language", ["en", "es"])
def test_new_farm_has_its_first_days_plan_by_the_screens_alone(language: str, page: Page) -> None:
    folder = os.environ.get(FOLDER_GIVEN)
    walk = Walk(page, language, Path(folder) if folder else None)

    walk.sign_in("boss", set_up(language))
    assert page.locator("html").get_attribute("lang") == language
    first = page.locator("section[aria-labelledby=guide-h] a").first
    assert (first.get_attribute("href") or "").endswith("/set-up/parlors/"), "Today says what next"
    give_what_a_plan_needs(walk)
    give_more(walk)
    work_off()

    walk.go("today")
    walk.look("today")
    jobs = page.locator("section[aria-labelledby=now-h] tbody tr").all_inner_texts()
    grooming = [job for job in jobs if TITLE[language] in job]
    assert len(grooming) == 6, "each row of beds of the milking to come"
    assert all(sum(name in job for name in PEOPLE) == 2 for job in grooming), "and who does it"
    assert page.locator("section[aria-labelledby=guide-h]").count() == 0, "nobody needs the guide"
    walk.go("plan")
    walk.look("plan")
    walk.go("set-up")
    walk.look("set-up-done")
    assert page.locator("[aria-current=step]").count() == 0
