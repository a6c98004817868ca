"""What was mistapped is taken back by one tap, for ten seconds."""

from __future__ import annotations

import pytest

from .phone_farm import DINO
from .phone_taps import Made

pytestmark = pytest.mark.browser

POCKET = """() => {
    Object.defineProperty(document, 'hidden', { configurable: true, value: true });
    document.dispatchEvent(new Event('visibilitychange')); }"""


def test_undo_stands_ten_seconds_and_takes_the_word_back(made: Made) -> None:
    phone = made().tap("#start")
    phone.page.wait_for_selector("#undo")
    assert "Saved on this phone" in phone.text("#said")
    phone.tap("#undo")
    assert phone.last("undo") == {"work_order": 1}
    phone.page.wait_for_selector("#start")
    phone.tap("#start").page.wait_for_selector("#undo")
    phone.page.clock.fast_forward(9_000)
    assert phone.page.locator("#undo").count() == 1
    phone.page.clock.fast_forward(1_500)
    assert phone.page.locator("#undo").count() == 0


def test_what_is_mistapped_is_taken_back_for_ten_seconds_and_never_told(made: Made) -> None:
    """One tap, and what was answered is still there to be put right."""
    phone = made(DINO).tap("#tab-more", "#more-machines", "#look-round-1")
    phone.tap(*[f"#ok-{n}" for n in range(1, 6)], "#send")
    assert phone.text("#verdict") == "Run it"
    phone.tap("#undo").page.wait_for_selector("#ok-5[aria-pressed=true]")
    assert phone.text("#said") == "Taken back"
    phone.tap("#not-ok-3", "#yes-3", "#send")
    assert phone.text("#verdict") == "Park it"
    told = phone.last("check", is_urgent=True)["answers"]
    assert [a["ok"] for a in told] == [True, True, False, True, True]
    assert [e["kind"] for e in phone.world.events] == ["check"]
    assert phone.page.locator("#undo").count() == 0


def test_undo_goes_away_once_what_was_said_is_on_its_way(made: Made) -> None:
    phone = made().tap("#tab-cows", "#pen-1-last_out")
    phone.page.wait_for_selector("#tab-sent:has-text('Saved (1)')")
    assert phone.page.locator("#undo").count() == 1
    phone.tap("#tab-sent", "#send-now").page.wait_for_selector("#sent-fact:has-text('All sent')")
    assert phone.page.locator("#undo").count() == 0
    assert [e["kind"] for e in phone.world.events] == ["pen_time"]


def test_what_keeps_people_safe_is_told_at_once_and_shows_no_undo(made: Made) -> None:
    phone = made().tap("#tab-cows", "#pen-1-last_out")
    phone.page.wait_for_selector("#undo")
    phone.tap("#tab-tell_us", "#kind-leak", "#danger", "#send")
    assert phone.last("problem", is_urgent=True)["is_safety"] is True
    assert [e["kind"] for e in phone.world.events] == ["pen_time", "problem"]
    assert "Saved on this phone" in phone.text("#said")
    assert phone.page.locator("#undo").count() == 0


def test_undo_goes_away_in_the_pocket(made: Made) -> None:
    """A browser stops the timers of a page that nobody sees."""
    phone = made().tap("#tab-cows", "#pen-1-last_out")
    phone.page.wait_for_selector("#undo")
    phone.page.evaluate(POCKET)
    phone.page.wait_for_selector("#undo", state="detached")
    assert phone.last("pen_time", is_urgent=True)["moment"] == "last_out"
