"""Every screen of the phone, as it looks: sizes for gloves, contrast, nothing clipped, axe.

Sizes are the project's own rules for phones at 360 x 740: targets of 64 px, main actions of 96 px
in the middle two thirds, 12 px between, 32 px between opposite outcomes.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.looks import ASK, faults

from .phone_farm import ANA, DINO, FITO, everything, job
from .phone_walks import WALKS, walk
from .phone_world import World, open_phone

pytestmark = pytest.mark.browser
TARGET, MAIN, GAP, APART = 64, 96, 12, 32
HEIGHT, WIDTH = 740, 360
NAMED = {"ana": ANA, "dino": DINO, "fito": FITO, "shared": None}

# Name and box of every target of a part of the screen; a tick counts with its label.
TARGETS = """(part) => [...document.querySelectorAll(part + ' :is(button, select, textarea,'
        + ' .tick, label.button, input:not([type=checkbox], [type=file]))')]
    .filter((e) => e.checkVisibility())
    .map((e) => { const r = e.getBoundingClientRect(); return {
        name: e.id || e.textContent.slice(0, 30), is_main: e.classList.contains('main'),
        pair: e.parentElement.classList.contains('pair') ? e.parentElement.textContent : null,
        x: r.x, y: r.y, w: r.width, h: r.height }; })"""
# What is wider or higher than the box that holds it, and what stands out at the side.
CLIPPED = """() => [...document.querySelectorAll('h1, h2, p, li, label, button, output, .state,'
        + ' .age, .card, .safety, .says, .soft, .fact, .details span, nav span, .said span')]
    .filter((e) => e.checkVisibility())
    .filter((e) => e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== 'inline'
        || e.scrollHeight > e.clientHeight + 2 && e.matches('button, .state, .card, nav button')
        || e.getBoundingClientRect().right > innerWidth + 1)
    .map((e) => `${e.tagName} ${e.id} ${e.textContent.slice(0, 40)}: ${e.scrollWidth} x `
        + `${e.scrollHeight} in ${e.clientWidth} x ${e.clientHeight}`)"""
# Where main actions stand when their screen is scrolled to them.
MAINS = """() => [...document.querySelectorAll('main .main')].map((e) => {
    e.scrollIntoView({ block: 'center' });
    const r = e.getBoundingClientRect();
    return [e.textContent, r.top, r.bottom]; })"""
FIGURES = re.compile(r"\d{1,2}/\d{1,2}|\b12:00 [ap]m|\b0:\d\d [ap]m|undefined|null|NaN|\[object")
# The screens that a person has before them all day need no scrolling for their main action.
AT_ONCE = {"my jobs", "job", "tell us", "hours", "part", "lock first", "sent", "handover", "give"}


@pytest.fixture
def phone(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(
        viewport={"width": WIDTH, "height": HEIGHT}, has_touch=True, timezone_id="Asia/Tokyo"
    )
    yield context.new_page()
    context.close()


def reached(
    phone: Page, who: int | None, language: str, *, is_doubled: bool = False
) -> Iterator[str]:
    """Come to one screen after the other; gives their names."""
    world = World(worker=who)
    world.is_doubled = is_doubled
    world.speak(language)
    world.serve(phone.context)
    open_phone(phone)
    for name, steps in WALKS[who].items():
        phone.set_viewport_size({"width": WIDTH, "height": HEIGHT})
        walk(phone, steps)
        yield name


def too_small(targets: list[dict[str, float]]) -> list[str]:
    found = []
    for t in targets:
        least = MAIN if t["is_main"] else TARGET
        if t["w"] < TARGET - 0.5 or t["h"] < least or (t["is_main"] and t["w"] < WIDTH - 32):
            found.append(f"{t['name']}: {t['w']:.0f} x {t['h']:.0f}")
    return found


def too_near(targets: list[dict[str, float]]) -> list[str]:
    """Targets less than 12 px apart, opposite outcomes less than 32 px."""
    found = []
    for a, b in itertools.combinations(targets, 2):
        across = max(a["x"], b["x"]) - min(a["x"] + a["w"], b["x"] + b["w"])
        down = max(a["y"], b["y"]) - min(a["y"] + a["h"], b["y"] + b["h"])
        least = APART if a["pair"] and a["pair"] == b["pair"] else GAP
        if max(across, down) < least - 0.5:
            found.append(f"{a['name']} and {b['name']}: {max(across, down):.0f} px")
    return found


def out_of_reach(phone: Page, *, at_once: bool) -> list[str]:
    """Main actions that do not stand in the middle two thirds of the screen."""
    first = phone.evaluate(MAINS.replace("e.scrollIntoView", "//")) if at_once else []
    scrolled = phone.evaluate(MAINS)
    phone.evaluate("document.querySelector('main').scrollTop = 0")
    places = [*first[:1], *scrolled]
    return [
        f"{words} at {top:.0f} to {bottom:.0f}"
        for words, top, bottom in places
        if not HEIGHT / 6 <= top <= bottom <= HEIGHT * 5 / 6
    ]


def unreachable(phone: Page, name: str) -> list[str]:
    """What of the screen that stands breaks the rules of sizes and places."""
    inside, bar = phone.evaluate(TARGETS, "main"), phone.evaluate(TARGETS, "header")
    nav = phone.evaluate(TARGETS, "nav")
    wrong = [*too_small([*inside, *bar, *nav]), *too_near(inside), *too_near(bar)]
    return wrong + out_of_reach(phone, at_once=name in AT_ONCE)


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("who", NAMED)
def test_every_screen_is_reached_with_gloves_and_axe_finds_nothing(
    phone: Page, who: str, language: str
) -> None:
    """Sizes at 360 x 740; axe (WCAG 2.2 AA, target-size) at 320 and 1280 px, by night at 320."""
    found = []
    for name in reached(phone, NAMED[who], language):
        wrong = unreachable(phone, name) + phone.evaluate(CLIPPED) + faults(phone)
        wrong += FIGURES.findall(phone.inner_text("body"))
        phone.set_viewport_size({"width": 320, "height": HEIGHT})
        phone.evaluate("document.documentElement.dataset.theme = 'night'")
        wrong += [f"by night: {fault}" for fault in phone.evaluate(ASK)]
        phone.evaluate("document.documentElement.dataset.theme = 'day'")
        found += [f"{name}: {fault}" for fault in wrong]
    assert found == []


@pytest.mark.parametrize("who", NAMED)
def test_nothing_is_clipped_where_short_words_are_twice_as_long(phone: Page, who: str) -> None:
    names = reached(phone, NAMED[who], "es", is_doubled=True)
    assert [f"{name}: {fault}" for name in names for fault in phone.evaluate(CLIPPED)] == []


@pytest.mark.parametrize("language", ["en", "es"])
def test_loads_are_counted_in_the_cab_without_typing_or_scrolling(
    phone: Page, language: str
) -> None:
    """All that is tapped is 96 px high and stands on the screen, under figures of 80 px."""
    others = [d for d in everything() if d["kind"] != "job"]
    world = World([*others, job(1, status="IN-PROCESS", counts_loads=True, loads=12)])
    world.speak(language)
    world.serve(phone.context)
    open_phone(phone)
    phone.wait_for_selector("#load")
    tapped = {t["name"]: t for t in phone.evaluate(TARGETS, "main")}
    for name in ("load", "done", "part", "could-not"):
        assert tapped[name]["h"] >= MAIN
        assert tapped[name]["y"] + tapped[name]["h"] <= HEIGHT - 72  # above the places
    assert phone.evaluate("getComputedStyle(document.querySelector('#n-loads')).fontSize") == "80px"


def test_what_is_measured_is_there(phone: Page) -> None:
    """The measures find what is too small, too near or clipped."""
    assert list(itertools.islice(reached(phone, ANA, "en"), 1)) == ["my jobs"]
    assert unreachable(phone, "my jobs") + phone.evaluate(CLIPPED) == []
    style = "#start, #part {{ {} }}".format
    for change, fault in (
        ("min-height:80px; height:80px", "start: 328 x 80"),
        ("margin-bottom:-4px", "start and part: 8 px"),
        ("margin-top:300px", "Start at"),
        ("white-space:nowrap; font-size:200px", "BUTTON start"),
    ):
        phone.evaluate("document.head.append(document.createElement('style'))")
        phone.evaluate("(css) => { document.head.lastChild.textContent = css; }", style(change))
        wrong = unreachable(phone, "my jobs") + phone.evaluate(CLIPPED)
        phone.evaluate("document.head.lastChild.remove()")
        assert any(fault in one for one in wrong), (change, wrong)
