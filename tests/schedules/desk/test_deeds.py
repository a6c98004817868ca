"""Each screen's main deed in a real browser, with the page's script and without any."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page

from equipment.site.models import Role
from tests.factories import make_user
from tests.farm import Farm
from tests.looks import PASSWORD, sign_in

from .conftest import NOW
from .reading import PAGES, url
from .test_actions import FORMS

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# The form that a screen is there for, by the name of its address.
DEEDS = {
    "today": "answer-problem",
    "alerts": "decide-alert",
    "problems": "close-defect",
    "came-late": "settle-order",
    "plan": "ask-search",
    "pens": "put-lock",
    "standing-orders": "edit-standing-order",
    "crew": "call-in-sick",
    "roster": "make-roster",
    "machines": "add-reading",
    "sand": "moisture-test",
    "water": "put-lock",
    "basins": "basin-level",
    "weather": "foretell-day",
    "year": "ask-year",
}
# What is only looked at: another time, another period, a trial; what the address holds then.
LOOKS: dict[str, tuple[str, Mapping[str, str], str]] = {
    "map": ("form[method=get]", {"at": "10:30"}, "at=10"),
    "replan": ("form:has([name=what][value=pen])", {}, "what=pen"),
    "look-back": ("", {}, "weeks="),
    "records": ("form[method=get]", {"from": "2026-02-01", "to": "2026-02-28"}, "2026-02-01"),
}
# Their deed is told elsewhere: the lane's is the farm file's, Set up's are in its own tests, the
# others show alone.
SHOW_ALONE = {"day-list", "wall", "week", "status", "lane", "set-up"}


@pytest.fixture(params=[True, False], ids=["with script", "without script"])
def page(request: Any, browser: Browser, live_server: Any) -> Iterator[Page]:
    context = browser.new_context(base_url=str(live_server), java_script_enabled=request.param)
    page = context.new_page()
    page.set_default_timeout(15_000)
    yield page
    context.close()


@pytest.fixture
def farm(db: None) -> Farm:
    built = Farm("ours", NOW)
    user = make_user(Role.MANAGER, built.site)
    user.set_password(PASSWORD)
    user.save()
    return built


def test_every_screen_has_its_deed_or_shows_alone() -> None:
    assert {*DEEDS, *LOOKS, *SHOW_ALONE} == set(PAGES)
    assert len(DEEDS) + len(LOOKS) + len(SHOW_ALONE) == len(PAGES)


def unfold(form: Locator) -> None:
    """Open what is folded around a form, from the outside in."""
    for folded in form.locator("xpath=ancestor::details[not(@open)]").all():
        folded.locator("> summary").click()


def fill(form: Locator, data: Mapping[str, object]) -> Locator:
    """Type and choose as told; gives the button to press."""
    button = form.locator("button").last
    for name, value in data.items():
        for one in value if isinstance(value, list) else [value]:
            found = form.locator(f"[name='{name}']")
            kind = found.first.evaluate("e => e.tagName + ' ' + e.type")
            if kind.startswith("BUTTON"):
                button = form.locator(f"button[name='{name}'][value='{one}']")
            elif kind.startswith("SELECT"):
                found.select_option(str(one))
            elif kind.endswith(("checkbox", "radio")):
                form.locator(f"[name='{name}'][value='{one}']").check()
            elif not kind.endswith("hidden"):
                found.fill(str(one))
    return button


def test_main_deeds_are_done(page: Page, farm: Farm) -> None:
    sign_in(page, "manager-ours")
    done = []
    for screen, name in DEEDS.items():
        args, data, _roles = FORMS[name]
        page.goto(url(screen))
        form = page.locator(f"form[action='{url(name, *args(farm))}']").first
        unfold(form)
        fill(form, data(farm)).click()
        page.wait_for_selector(".panel.said")
        done.append(screen)
    assert done == list(DEEDS)


def test_looks_lead_where_they_say(page: Page, farm: Farm) -> None:
    sign_in(page, "manager-ours")
    for screen, (selector, data, told) in LOOKS.items():
        page.goto(url(screen))
        if not selector:
            page.locator("#page a[href*='?']").first.click()
        else:
            form = page.locator(selector).first
            unfold(form)
            fill(form, data).click()
        page.wait_for_url(f"**{told}**")
        assert page.locator("[role=alert]").count() == 0
