"""Nudges on the phone: off until a tap, one plain note, and refusals in words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import time_machine
from playwright.sync_api import Browser, BrowserContext, Page

from schedules.nudges.models import Subscription
from tests.farm import Farm
from tests.schedules.nudges.conftest import Browser as PushBrowser
from tests.schedules.nudges.conftest import PushService

from .test_screens import NOW, pair
from .test_without_signal import CONTROLLED

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# A subscription as a push service would make it; all else is the browser's own.
FAKE = """(made) => { let had = null;
    PushManager.prototype.subscribe = async ({ userVisibleOnly, applicationServerKey }) => {
        window.asked = { userVisibleOnly, applicationServerKey };
        return had = { toJSON: () => ({ ...made, expirationTime: null }),
            unsubscribe: async () => { had = null; window.nLeft = (window.nLeft ?? 0) + 1; } }; };
    PushManager.prototype.getSubscription = async () => had; }"""
NOTES = """async () => { const kept = await navigator.serviceWorker.getRegistration('/phone/');
    return (await kept.getNotifications()).map((n) => [n.title, n.body, n.tag, n.lang]); }"""

KEPT_LANGUAGE = "async () => (await (await caches.match('/phone/nudge')).json()).lang"


@pytest.fixture
def farm(db: None) -> Iterator[Farm]:
    with time_machine.travel(NOW, tick=False):
        yield Farm("ours", NOW)


@pytest.fixture
def context(browser: Browser, live_server: Any) -> Iterator[BrowserContext]:
    context = browser.new_context(base_url=str(live_server), has_touch=True)
    yield context
    context.close()


def me(context: BrowserContext, farm: Farm, init: str = "") -> Page:
    """Give a paired phone with its person's own screen before it."""
    page = context.new_page()
    if init:
        page.add_init_script(init)
    page.clock.install(time=NOW)
    pair(farm, page)
    page.evaluate(CONTROLLED)
    page.click("#tab-more")
    page.click("#more-me")
    page.wait_for_selector("#nudge")
    return page


def until(page: Page, script: str, wanted: Any) -> None:
    """Ask the page again and again until it answers what is wanted."""
    found = None
    for _ in range(200):
        found = page.evaluate(script)
        if found == wanted:
            return
        page.wait_for_timeout(25)
    raise AssertionError(found)


def push(page: Page, origin: str) -> None:
    """Deliver what a push service would bring (Chrome DevTools Protocol, ServiceWorker)."""
    devtools = page.context.new_cdp_session(page)
    versions: list[dict[str, Any]] = []
    devtools.on("ServiceWorker.workerRegistrationUpdated", lambda told: versions.extend([told]))
    devtools.send("ServiceWorker.enable")
    while not any(v["registrations"] for v in versions):
        page.wait_for_timeout(20)
    [known] = [r for v in versions for r in v["registrations"]][-1:]
    about = {"origin": origin, "registrationId": known["registrationId"]}
    devtools.send("ServiceWorker.deliverPushMessage", {**about, "data": '{"see": true}'})
    devtools.detach()


def test_nudges_are_asked_for_by_a_tap_and_one_note_stands_for_all(
    context: BrowserContext, farm: Farm, push_is_on: PushService, live_server: Any
) -> None:
    context.grant_permissions(["notifications"], origin=str(live_server))
    keys = PushBrowser().keys()
    made = f'({{endpoint: "{push_is_on.endpoint}", keys: {keys}}})'
    page = me(context, farm, f"({FAKE})({made})")
    assert not page.is_checked("#nudge")
    assert not Subscription.objects.exists()

    with page.expect_response(lambda r: r.request.method == "PUT") as put:
        page.check("#nudge")
    assert put.value.ok
    kept = Subscription.objects.get()
    assert (kept.endpoint, kept.p256dh, kept.auth) == (push_is_on.endpoint, *keys.values())
    known = page.request.get(
        "/api/v1/sites/ours/nudges/", headers={"Authorization": f"Bearer {farm.manager_token}"}
    ).json()
    asked = page.evaluate("window.asked")
    assert asked == {"userVisibleOnly": True, "applicationServerKey": known["public_key"]}

    for _ in range(2):
        with page.expect_response("**/pull/*"):
            push(page, str(live_server))
    until(page, NOTES, [["Something is new in your work", "", "see", "en"]])
    page.click("#language")
    until(page, KEPT_LANGUAGE, "es")
    push(page, str(live_server))
    until(page, NOTES, [["Hay algo nuevo en su trabajo", "", "see", "es"]])

    with page.expect_response(lambda r: r.request.method == "DELETE"):
        page.uncheck("#nudge")
    assert not Subscription.objects.exists()
    assert page.evaluate("window.nLeft") == 1


WITHOUT = "delete window.PushManager;"
IPHONE = f"{WITHOUT} Object.defineProperty(Navigator.prototype, 'standalone', {{ value: false }});"


@pytest.mark.parametrize(
    ("init", "said"),
    [
        ("", "This phone allows no notes."),
        (WITHOUT, "This browser takes no nudges."),
        (IPHONE, "On an iPhone, put this page on the home screen"),
    ],
)
def test_phone_that_may_not_be_nudged_says_why(
    context: BrowserContext, farm: Farm, init: str, said: str
) -> None:
    """A browser that nobody gave leave answers as after a refusal."""
    page = me(context, farm, init)
    page.click("#nudge")
    page.wait_for_selector(f"#fault:has-text('{said}')")
    assert not page.is_checked("#nudge")


def test_farm_that_sends_no_nudges_says_so(
    context: BrowserContext, farm: Farm, live_server: Any
) -> None:
    context.grant_permissions(["notifications"], origin=str(live_server))
    page = me(context, farm)
    page.click("#nudge")
    page.wait_for_selector("#fault:has-text('Your farm sends no nudges.')")
    assert not page.is_checked("#nudge")
