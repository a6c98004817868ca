"""The phone's screens in a real browser: reachable with gloves, accessible, true without signal."""

from __future__ import annotations

import gzip
import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine
from playwright.sync_api import Browser, Page

from config.rooms import BASE_DIR
from crews.devices.services import make_pairing_code
from equipment.flushing.models import Lock
from equipment.site.models import Event
from schedules.dayplan.models import Assignment, Claim
from schedules.sand.models import Stage
from schedules.work.models import Outcome, Report, Status, WorkOrder
from tests.factories import make_standing_order, make_work_order, utc
from tests.farm import Farm
from tests.looks import faults

NOW = utc("2026-03-04 16:00")  # 9:00 am in Denver
REFRESH_MS = 15_000  # as main.js has it
MINUTE = timedelta(minutes=1)
FILES = BASE_DIR / "schedules" / "phone" / "static" / "phone"

# Name, width and height of every target on the screen; a tick counts with its label.
TARGETS = """() => [...document.querySelectorAll(
        'button, select, summary, .tick, input:not([type=checkbox])')]
    .filter((e) => e.checkVisibility())
    .map((e) => { const r = e.getBoundingClientRect(); return {
        name: e.id || e.textContent.slice(0, 30), is_main: e.classList.contains('main'),
        x: r.x, y: r.y + scrollY, w: r.width, h: r.height }; })"""


# Without a browser ------------------------------------------------------------------------------


def _size_gzip(pattern: str) -> int:
    return sum(len(gzip.compress(file.read_bytes())) for file in FILES.glob(pattern))


def test_program_is_at_most_60_kb_and_style_20_kb_compressed() -> None:
    assert 0 < _size_gzip("*.js") <= 60_000
    assert 0 < _size_gzip("*.css") <= 20_000


def _keys() -> dict[str, list[str]]:
    """Keys of the words by language, read from the source."""
    source = (FILES / "words.js").read_text()
    found = {}
    for language in ("en", "es"):
        block = source[source.index(f"  {language}: {{") :]
        block = block[: block.index("\n  },")]
        found[language] = re.findall(r'(?:^|[ ,{])([a-z_]+): "', block)
    return found


def test_both_languages_have_the_same_words_once() -> None:
    keys = _keys()

    assert sorted(keys["en"]) == sorted(keys["es"])
    assert len(set(keys["en"])) == len(keys["en"]) > 80


def test_every_word_the_screens_ask_for_is_there_and_none_is_left_over() -> None:
    source = "".join(f.read_text() for f in FILES.glob("*.js") if f.name != "words.js")
    source += (FILES / "words.js").read_text().split("const farm")[1]
    quoted = set(re.findall(r'"([a-z_]+)"', source)) | set(re.findall(r"(\w+): \"", source))
    asked = set(re.findall(r'(?<![A-Za-z])t\("([a-z_]+)"\)', source))
    moments = {f"pen_{name}" for name in ("called", "last_out", "first_back", "last_back")}
    keys = set(_keys()["en"])

    assert asked <= keys
    assert keys - quoted - moments == set()


def test_phone_asks_no_other_host() -> None:
    """Everything comes from our own server."""
    texts = [file.read_text() for file in FILES.iterdir()]

    allowed = {"http://www.w3.org/2000/svg"}
    assert {u for text in texts for u in re.findall(r"https?://[^\"' )]+", text)} <= allowed


# In a browser -----------------------------------------------------------------------------------


@pytest.fixture
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def farm(db: None, clock: time_machine.Traveller) -> Farm:
    return Farm("ours", NOW)


@pytest.fixture
def phone(browser: Browser, farm: Farm, live_server: Any) -> Iterator[Page]:
    """A phone whose own clock is set to Tokyo: the farm's times must not follow it."""
    context = browser.new_context(
        base_url=str(live_server),
        viewport={"width": 360, "height": 740},
        has_touch=True,
        timezone_id="Asia/Tokyo",
    )
    page = context.new_page()
    page.clock.install(time=NOW)
    yield page
    context.close()


def _give(farm: Farm, order: WorkOrder, minutes: int) -> WorkOrder:
    """Give the order to Ana, so many minutes from now."""
    span = (NOW + minutes * MINUTE, NOW + (minutes + 9) * MINUTE)
    given = Assignment.objects.create(
        site=farm.site, work_order=order, starts_at=span[0], ends_at=span[1]
    )
    Claim.objects.create(site=farm.site, assignment=given, worker=farm.worker, span=span)
    return order


def _raking(farm: Farm, minutes: int = 5) -> WorkOrder:
    order = make_work_order(
        farm.site,
        f"rake/{minutes}",
        title={"en": f"Rake beds {minutes}", "es": f"Rastrillar camas {minutes}"},
        place=farm.pens[0].bed_groups.get().place,
        starts_after=NOW - 10 * MINUTE,
        due_at=NOW + 60 * MINUTE,
    )
    return _give(farm, order, minutes)


def _bedding(farm: Farm) -> WorkOrder:
    order = make_work_order(
        farm.site,
        "bed/1",
        title={"en": "Bed pens", "es": "Llenar camas"},
        batch=farm.batches[Stage.RELEASED][0],
        batch_step="bedded",
        starts_after=NOW - 10 * MINUTE,
        due_at=NOW + 60 * MINUTE,
        status=Status.IN_PROCESS,
        started_at=NOW,
        started_by=farm.worker.actor,
    )
    return _give(farm, order, 20)


def pair(farm: Farm, phone: Page) -> None:
    code = make_pairing_code(
        site_id=farm.site.pk, worker_id=farm.worker.pk, by=farm.manager.actor, at=NOW
    )
    phone.goto("/phone/")
    phone.fill("#code", code)
    phone.click("button.main")
    phone.wait_for_selector("nav")


def _too_small(phone: Page) -> list[str]:
    """Targets below 64 px, main actions below 96 px or not the full width, gaps below 12 px."""
    phone.set_viewport_size({"width": 360, "height": 740})
    found = []
    for t in phone.evaluate(TARGETS):
        least = 96 if t["is_main"] else 64
        if t["w"] < 64 or t["h"] < least or (t["is_main"] and t["w"] < 320):
            found.append(f"{t['name']}: {t['w']:.0f} x {t['h']:.0f}")
    return found


def _look(phone: Page, *, at: str) -> list[str]:
    return [f"{at}: {fault}" for fault in [*_too_small(phone), *faults(phone)]]


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("language", ["en", "es"])
def test_every_screen_is_accessible_fits_and_is_reached_with_gloves(
    language: str, phone: Page, farm: Farm
) -> None:
    """axe at 320 and 1280 px, by day and by night, and the sizes at 360 x 740: no fault."""
    console: list[str] = []
    phone.on("console", lambda m: console.append(f"{m.type}: {m.text}"))
    phone.on("pageerror", lambda error: console.append(str(error)))
    raking, bedding = _needs_lock(_raking(farm)), _bedding(farm)
    farm.worker.language = language
    farm.worker.save()
    phone.goto("/phone/")
    phone.wait_for_selector("#code")
    found = _look(phone, at="pairing")
    pair(farm, phone)
    assert phone.locator("html").get_attribute("lang") == language
    for tab in ("cows", "machines", "locks", "tell_us", "sent"):
        phone.click(f"#tab-{tab}")
        phone.wait_for_selector(f"#tab-{tab}[aria-current=page]")
        found += _look(phone, at=tab)
    phone.click("#theme")
    found += _look(phone, at="sent by night")
    phone.click("#tab-jobs")
    found += _look(phone, at="jobs")
    _open(phone, raking, language)
    found += _look(phone, at="job to do")
    phone.click("#start")
    phone.wait_for_selector("#lock-and-start")
    found += _look(phone, at="lock first")
    _open(phone, raking, language)
    phone.click("#part")
    found += _look(phone, at="part")
    _open(phone, raking, language)
    phone.click("#could-not")
    found += _look(phone, at="could not")
    _open(phone, bedding, language)
    found += _look(phone, at="job under way")
    phone.click("main button.wide")
    found += _look(phone, at="moisture")
    found += _look_at_machine(phone)
    assert found == []
    assert console == []


def _open(phone: Page, order: WorkOrder, language: str = "en") -> None:
    phone.click("#tab-jobs")
    phone.locator(".card", has_text=order.title[language]).first.click()
    phone.wait_for_selector("#part")


def _look_at_machine(phone: Page) -> list[str]:
    phone.click("#tab-machines")
    keys = phone.locator("main section").nth(0).locator("button")
    keys.nth(0).click()
    phone.click("summary")
    found = _look(phone, at="hours")
    phone.click("#tab-machines")
    phone.locator("main section").nth(0).locator("button").nth(1).click()
    phone.locator("[aria-pressed]").nth(1).click()
    found += _look(phone, at="look round")
    for section in phone.locator("main section").all():
        section.locator("button").first.click()
    phone.click("button.main")
    phone.wait_for_selector("#verdict")
    return found + _look(phone, at="verdict")


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_work_is_told_without_signal_and_goes_through_later(phone: Page, farm: Farm) -> None:
    """Start, done, undone, part: kept on the phone, sent in order, in the farm's clock."""
    farm.worker.language = "en"
    farm.worker.save()
    first, second = _raking(farm), _raking(farm, 30)
    pair(farm, phone)
    assert "9:05 am – 9:14 am" in phone.locator(".card").first.inner_text()
    assert "100 stalls" in phone.locator(".card").first.inner_text()
    phone.context.set_offline(True)

    _open(phone, first)
    start = phone.locator("#start").bounding_box()
    assert start is not None
    assert 740 / 6 <= start["y"] <= start["y"] + start["height"] <= 740 * 5 / 6
    phone.click("#start")
    phone.click("#done")
    phone.wait_for_selector("#tab-sent:has-text('Saved (2)')")
    phone.get_by_role("button", name="Undo").click()
    phone.wait_for_selector("#tab-sent:has-text('Saved (3)')")
    assert Report.objects.filter(work_order=first).count() == 0
    phone.context.set_offline(False)
    phone.wait_for_selector("#tab-sent:has-text('All sent')")

    first.refresh_from_db()
    assert first.status == Status.IN_PROCESS
    _open(phone, second)
    phone.click("#part")
    phone.click("button.main")
    assert "Write a number" in phone.locator("[role=alert]").inner_text()
    phone.fill("#field-n_left", "12")
    with phone.expect_response("**/events/"):
        phone.click("button.main")
    second.refresh_from_db()
    assert (second.outcome, second.n_left) == (Outcome.PART, 12)
    told = Event.objects.filter(device_key__isnull=False).order_by("device_seq")
    assert [e.kind for e in told] == ["start", "done", "undo", "part"]


def _needs_lock(order: WorkOrder) -> WorkOrder:
    """Let work need a lock, on a farm that has none on."""
    Lock.objects.all().delete()
    order.standing_order = make_standing_order(order.site, order.natural_key[:4], needs_lock=True)
    order.save()
    return order


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_lock_is_asked_for_before_the_start_once_for_a_place(phone: Page, farm: Farm) -> None:
    farm.worker.language = "en"
    farm.worker.save()
    first, second = _needs_lock(_raking(farm)), _raking(farm, 30)
    WorkOrder.objects.filter(pk=second.pk).update(standing_order=first.standing_order)
    pair(farm, phone)
    phone.context.set_offline(True)
    _open(phone, first)
    phone.click("#start")
    phone.wait_for_selector("#lock-and-start")
    assert "No lock of yours is on record here." in phone.locator("main").inner_text()
    phone.click("#lock-and-start")
    phone.click("#done")
    _open(phone, second)
    phone.click("#start")
    phone.wait_for_selector("#done")
    phone.context.set_offline(False)
    phone.wait_for_selector("#tab-sent:has-text('All sent')")

    told = Event.objects.filter(device_key__isnull=False).order_by("device_seq")
    assert [e.kind for e in told] == ["lock_on", "start", "done", "start"]
    assert not WorkOrder.objects.filter(pk__in=[first.pk, second.pk]).exclude(needs_decision="")


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_start_without_a_lock_goes_through_and_is_asked_about(phone: Page, farm: Farm) -> None:
    farm.worker.language = "en"
    farm.worker.save()
    order = _needs_lock(_raking(farm))
    pair(farm, phone)
    _open(phone, order)
    phone.click("#start")
    with phone.expect_response("**/events/"):
        phone.click("#start-unlocked")
    order.refresh_from_db()
    assert (order.status, order.needs_decision) == (Status.IN_PROCESS, "lock_missing")


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_refusal_stays_until_read_typing_is_kept_and_language_is_the_persons(
    phone: Page, farm: Farm
) -> None:
    farm.worker.language = "es"
    farm.worker.save()
    order = _raking(farm)
    pair(farm, phone)
    phone.click("#language")
    phone.wait_for_selector(".card:has-text('Rake beds 5')")
    farm.worker.refresh_from_db()
    assert farm.worker.language == "en"

    _open(phone, order)
    phone.click("#could-not")
    phone.fill("#field-reason", "ice")
    phone.evaluate("document.activeElement.blur()")
    with phone.expect_response("**/my-work/"):
        phone.clock.fast_forward(REFRESH_MS)
    assert phone.input_value("#field-reason") == "ice"

    phone.click("#tab-machines")
    phone.get_by_role("button", name="Hours").first.click()
    phone.fill("#field-meter_h", "1")  # the meter stood at 994 h
    phone.click("button.main")
    phone.wait_for_selector("#tab-sent:has-text('1 needs you')")
    phone.click("#tab-sent")
    phone.wait_for_selector("#tab-sent[aria-current=page]")
    assert "Not accepted" in phone.locator("main").inner_text()
    phone.get_by_role("button", name="I have read it").click()
    phone.wait_for_selector("#tab-sent:has-text('All sent')")


def test_phone_files_are_where_the_sizes_are_taken_from() -> None:
    names = {file.name for file in Path(FILES).iterdir()}

    assert {"main.js", "screens.js", "words.js", "phone.css"} <= names
