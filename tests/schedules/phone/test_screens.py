"""The phone's screens on a real farm: true without signal, told once, in the farm's own clock."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine
from playwright.sync_api import Browser, FilePayload, Page

from crews.devices.services import make_pairing_code
from crews.people.models import Worker
from equipment.attachments.models import Attachment
from equipment.flushing.models import Lock
from equipment.site.models import Event, Place, PlaceKind
from schedules.dayplan.models import Assignment, Claim
from schedules.work.models import Outcome, Problem, Report, Status, WorkOrder
from tests.equipment.attachments.samples import photo
from tests.factories import make_standing_order, make_work_order, utc
from tests.farm import Farm

from .phone_taps import HELD_MS

NOW = utc("2026-03-04 16:00")  # 9:00 am in Denver
MINUTE = timedelta(minutes=1)
pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


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


def pair(farm: Farm, phone: Page, worker: Worker | None = None, language: str = "en") -> None:
    """Pair the phone of a worker, Ana's where none is named."""
    worker = worker or farm.worker
    Worker.objects.filter(pk=worker.pk).update(language=language)
    code = make_pairing_code(
        site_id=farm.site.pk, worker_id=worker.pk, by=farm.manager.actor, at=NOW
    )
    phone.goto("/phone/")
    phone.fill("#code", code)
    phone.click("#pair")
    phone.wait_for_selector("nav button")


def _open(phone: Page, order: WorkOrder) -> None:
    phone.click("#tab-jobs")
    phone.click(f"#job-{order.pk}")
    phone.wait_for_selector("#read-aloud, #part")


def _sent(phone: Page) -> None:
    phone.wait_for_selector("#tab-sent:has-text('All sent')")


def _wait_out(phone: Page) -> None:
    """Wait until what was said is kept, and then until it can be taken back no more."""
    phone.wait_for_selector("#undo")
    phone.clock.fast_forward(HELD_MS)


def _told() -> list[str]:
    said = Event.objects.filter(device_key__isnull=False).order_by("device_seq")
    return [e.kind for e in said]


def test_work_is_told_without_signal_and_goes_through_later(phone: Page, farm: Farm) -> None:
    """Start, done, undone, part: kept on the phone, sent in order, in the farm's clock."""
    first, second = _raking(farm), _raking(farm, 30)
    pair(farm, phone)
    card = phone.locator(f"#job-{first.pk}")
    assert "9:05 am – 9:14 am" in card.inner_text()
    assert "100 stalls" in card.inner_text()
    phone.context.set_offline(True)

    _open(phone, first)
    phone.click("#start")
    phone.click("#done")
    phone.wait_for_selector("#tab-sent:has-text('Saved (2)')")
    phone.click("#undo")
    phone.wait_for_selector("#tab-sent:has-text('Saved (3)')")
    assert Report.objects.filter(work_order=first).count() == 0
    phone.context.set_offline(False)
    _sent(phone)

    first.refresh_from_db()
    assert first.status == Status.IN_PROCESS
    _open(phone, second)
    phone.click("#part")
    phone.click("#send")
    assert "Write a number" in phone.locator("#fault").inner_text()
    phone.fill("#field-n_left", "12")
    with phone.expect_response("**/events/"):
        phone.click("#send")
    second.refresh_from_db()
    assert (second.outcome, second.n_left) == (Outcome.PART, 12)
    assert _told() == ["start", "done", "undo", "part"]


def _needs_lock(order: WorkOrder) -> WorkOrder:
    """Let work need a lock, on a farm that has none on."""
    Lock.objects.all().delete()
    order.standing_order = make_standing_order(order.site, order.natural_key[:4], needs_lock=True)
    order.save()
    return order


def test_lock_is_asked_for_before_the_start_once_for_a_place(phone: Page, farm: Farm) -> None:
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
    _sent(phone)

    assert _told() == ["lock_on", "start", "done", "start"]
    assert not WorkOrder.objects.filter(pk__in=[first.pk, second.pk]).exclude(needs_decision="")


def test_start_without_a_lock_goes_through_and_a_lead_settles_it(phone: Page, farm: Farm) -> None:
    order = _needs_lock(_raking(farm))
    pair(farm, phone)
    _open(phone, order)
    phone.click("#start")
    with phone.expect_response("**/events/"):
        phone.click("#start-unlocked")
    order.refresh_from_db()
    assert (order.status, order.needs_decision) == (Status.IN_PROCESS, "lock_missing")


def test_language_is_the_persons_and_a_refusal_stays_until_it_is_read(
    phone: Page, farm: Farm
) -> None:
    _raking(farm)
    pair(farm, phone)
    with phone.expect_response("**/events/"):
        phone.click("#language")
    phone.wait_for_selector(".card:has-text('Rastrillar camas 5')")
    farm.worker.refresh_from_db()
    assert farm.worker.language == "es"
    with phone.expect_response("**/events/"):
        phone.click("#language")
    phone.click("#tab-machines")
    phone.locator("[id^=meter-]").first.click()
    phone.fill("#field-meter_h", "1")  # the meter stood at 994 h
    phone.click("#send")
    with phone.expect_response("**/events/"):
        phone.click("#meter-right")
        _wait_out(phone)
    _sent(phone)
    assert _told() == ["language", "language", "reading"]


def test_problem_with_a_photo_reaches_the_lead_with_its_place(
    phone: Page, farm: Farm, browser: Browser, live_server: Any
) -> None:
    order = _raking(farm)
    pair(farm, phone)
    phone.click("#tab-tell_us")
    picture: FilePayload = {"name": "curb.jpg", "mimeType": "image/jpeg", "buffer": photo()}
    phone.set_input_files("#photo-problem", picture)
    phone.click("#kind-leak")
    with phone.expect_response("**/attachments/*/") as kept:
        phone.click("#send")
        _wait_out(phone)
    assert kept.value.ok
    _sent(phone)
    problem = Problem.objects.latest("id")
    assert (problem.text, problem.place_id) == ("Leak", order.place_id)
    [key] = Event.objects.get(kind="problem", device_key__isnull=False).payload["attachments"]
    assert Attachment.objects.get(pk=key).kind == "photo"

    context = browser.new_context(base_url=str(live_server))
    lead = context.new_page()
    lead.clock.install(time=NOW)
    pair(farm, lead, farm.manager)
    lead.click("#to-problems")
    section = lead.locator("section", has_text="Leak").first
    section.locator("img").wait_for()
    with lead.expect_response("**/events/"):
        section.locator("[id^=answer-]").first.click()
        _wait_out(lead)
    context.close()
    problem.refresh_from_db()
    assert problem.answer == "We fix it today"


# The ten taps of a worker -----------------------------------------------------------------------

TAPS = (
    "job",
    "start",
    "load",
    "done",
    "undo",
    "done",
    "tab-jobs",
    "second",
    "could-not",
    "why-cows",
)
ALL_SENT = {"en": "All sent", "es": "Todo enviado"}


@pytest.mark.parametrize("language", ["en", "es"])
def test_ten_taps_without_signal_show_at_once_what_they_did_and_are_all_heard_later(
    phone: Page, farm: Farm, language: str, tmp_path: Path
) -> None:
    """One still a tap, at 360 x 740; the variable `STILLS` names a folder to keep them in."""
    stills = Path(os.environ.get("STILLS", tmp_path)) / language
    haul, second = _hauling(farm), _raking(farm, 30)
    pair(farm, phone, language=language)

    def still(n: int, words: str) -> None:
        phone.locator("[data-settling]").first.wait_for(state="detached")
        phone.screenshot(path=stills / f"{n:02}-{words}.png")

    still(0, "signal")
    phone.context.set_offline(True)
    named = {"job": f"job-{haul.pk}", "second": f"job-{second.pk}"}
    for n, tap in enumerate(TAPS, 1):
        phone.click(f"#{named.get(tap, tap)}")
        still(n, tap)
    phone.wait_for_selector("#tab-sent:has-text('(4)')")
    assert _told() == []
    phone.clock.fast_forward(HELD_MS)
    phone.context.set_offline(False)
    phone.wait_for_selector(f"#tab-sent:has-text('{ALL_SENT[language]}')")
    still(len(TAPS) + 1, "sent")
    assert _told() == ["start", "load", "done", "could_not"]  # what was taken back was held
    haul.refresh_from_db()
    second.refresh_from_db()
    assert (haul.status, haul.loads) == (Status.COMPLETED, 1)
    assert (second.status, second.outcome) == (Status.CANCELLED, Outcome.COULD_NOT)
    assert len(list(stills.iterdir())) == 12


def _hauling(farm: Farm) -> WorkOrder:
    """Work in the lane, whose loads are counted."""
    order = make_work_order(
        farm.site,
        "haul",
        title={"en": "Haul wet sand to the pad", "es": "Llevar arena mojada a la losa"},
        place=Place.objects.filter(site=farm.site, kind=PlaceKind.LANE)[0],
        starts_after=NOW - 10 * MINUTE,
        due_at=NOW + 60 * MINUTE,
    )
    return _give(farm, order, 1)
