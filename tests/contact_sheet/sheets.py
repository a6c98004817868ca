"""Pictures of every screen of the desk, and what is wrong with each; `__main__` says how."""

from __future__ import annotations

import io
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.core.management import call_command
from django.urls import reverse
from PIL import Image, ImageDraw, ImageFont
from playwright.sync_api import Browser, Page

from equipment.site import runs
from equipment.site.models import Actor, Place, Role, Site, User
from equipment.site.queries import words_of
from schedules.work.progress import report_problem
from tests.contact_sheet.__main__ import FOLDER_GIVEN, SIZES_GIVEN
from tests.contact_sheet.questions import QUESTIONS
from tests.eyes import Eyes, picture_seen
from tests.factories import make_site, make_user
from tests.looks import PASSWORD, faults_at, prepare, sign_in
from tests.schedules.desk.reading import PAGES

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MORNING = datetime(2026, 3, 4, 16, 30, tzinfo=UTC)  # 9:30 am in Denver
UNTOLD = timedelta(hours=14)  # so long nobody says anything, on the overloaded farm
N_PROBLEMS = 120
SHAPES = {360: (360, 740), 1280: (1280, 900)}
TILE_PX, CAPTION_PX = 420, 26
IN_OTHER_EYES = "usual-en-1280"  # this sheet is also shown in grey and to colour-blind eyes


@dataclass(frozen=True, slots=True)
class Shot:
    """One screen as it looks, and what is wrong with it."""

    name: str
    png: bytes
    over_px: int
    found: list[str]
    answer: tuple[float, float, float, float] | None

    @property
    def n_contrast(self) -> int:
        """How many of the faults are of contrast."""
        return sum("color-contrast" in fault for fault in self.found)


@pytest.fixture
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(MORNING) as traveller:
        yield traveller


def _empty(_clock: time_machine.Traveller) -> Site:
    site = make_site("bare")
    make_user(Role.MANAGER, site, username="manager")
    return site


def _usual(_clock: time_machine.Traveller) -> Site:
    call_command("load_demo", stdout=io.StringIO(), stderr=io.StringIO())
    runs.plan_periodic(now=datetime.now(UTC))
    while runs.poll(now=datetime.now(UTC)) or runs.poll_slow(now=datetime.now(UTC)):
        pass
    return Site.objects.get()


def _overloaded(clock: time_machine.Traveller) -> Site:
    """The same farm, much reported, nothing said for hours, and words of twice the length."""
    site = _usual(clock)
    words = {
        lang: {k: f"{w} {w}" for k, w in words_of(site, lang).items()} for lang in ("en", "es")
    }
    Site.objects.filter(pk=site.pk).update(words=words)
    by, places = Actor.objects.filter(site=site).earliest("pk"), list(Place.objects.all()[:40])
    for n in range(N_PROBLEMS):
        place = places[n % len(places)].pk
        text = f"The gate at the far end does not close any more ({n}). " * (1 + n % 3)
        report_problem(site_id=site.pk, place_id=place, text=text, by=by, at=datetime.now(UTC))
    clock.shift(UNTOLD)
    runs.plan_periodic(now=datetime.now(UTC))
    while runs.poll(now=datetime.now(UTC)) or runs.poll_slow(now=datetime.now(UTC)):
        pass
    return site


FARMS: dict[str, Callable[[time_machine.Traveller], Site]] = {
    "empty": _empty,
    "usual": _usual,
    "overloaded": _overloaded,
}


@pytest.mark.parametrize("size", os.environ.get(SIZES_GIVEN, "").split())
def test_sheet(size: str, clock: Any, browser: Browser, live_server: Any) -> None:
    """Take every picture of one farm."""
    site = FARMS[size](clock)
    for user in User.objects.all():
        user.set_password(PASSWORD)
        user.save()
    folder = Path(os.environ[FOLDER_GIVEN])
    for language in ("en", "es"):
        User.objects.update(language=language)
        for width, (w, h) in SHAPES.items():
            context = browser.new_context(
                base_url=f"{live_server}", viewport={"width": w, "height": h}
            )
            page = context.new_page()
            sign_in(page, "manager")
            shots = [_shot(page, name, site.slug) for name in PAGES]
            context.close()
            sheet, name = _sheet(shots, w, h), f"{size}-{language}-{width}"
            sheet.save(folder / f"{name}.png")
            for eyes in Eyes if name == IN_OTHER_EYES else ():
                picture_seen(sheet, eyes).save(folder / f"{name}-{eyes}.png")
            _list(folder / f"questions-{size}-{language}-{width}.txt", shots, h)
            _count(folder / "counts.txt", f"{size} {language} {width}", shots)


def _shot(page: Page, name: str, slug: str) -> Shot:
    page.goto(reverse(name, args=[slug]))
    png = page.screenshot()
    answer = _answer_box(page, QUESTIONS[name].answer)
    prepare(page)
    over_px = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    return Shot(name, png, over_px, faults_at(page), answer)


def _answer_box(page: Page, selector: str) -> tuple[float, float, float, float] | None:
    """Where on the picture the screen's question is answered."""
    found = page.locator(selector)
    box = found.first.bounding_box() if found.count() else None
    return (box["x"], box["y"], box["x"] + box["width"], box["y"] + box["height"]) if box else None


def _sheet(shots: list[Shot], width: int, height: int) -> Image.Image:
    columns = 6 if width < TILE_PX else 4
    tile = min(width, TILE_PX), min(width, TILE_PX) * height // width
    rows = -(-len(shots) // columns)
    sheet = Image.new("RGB", (columns * (tile[0] + 8), rows * (tile[1] + CAPTION_PX + 8)), "white")
    draw, font = ImageDraw.Draw(sheet), ImageFont.load_default(16)
    for n, shot in enumerate(shots):
        x, y = n % columns * (tile[0] + 8), n // columns * (tile[1] + CAPTION_PX + 8)
        marks = f"{shot.over_px} px over, axe {len(shot.found)}"
        draw.text((x + 4, y + 4), f"{shot.name}: {marks}", "black", font)
        picture = _framed(shot).resize(tile)
        sheet.paste(picture, (x, y + CAPTION_PX))
    return sheet


def _framed(shot: Shot) -> Image.Image:
    """The picture with a frame around what answers its question."""
    picture = Image.open(io.BytesIO(shot.png)).convert("RGB")
    if shot.answer is not None:
        x, y, right, bottom = shot.answer
        ImageDraw.Draw(picture).rectangle((x - 6, y - 6, right + 6, bottom + 6), None, "#b3005e", 4)
    return picture


def _list(path: Path, shots: list[Shot], height: int) -> None:
    """The 5-second list: each screen's question, and where in its first screenful the answer is."""
    with path.open("w") as file:
        for shot in shots:
            asked = QUESTIONS[shot.name].asked
            where = "no answer"
            if shot.answer is not None:
                y, bottom = shot.answer[1], shot.answer[3]
                where = f"{y:.0f} to {bottom:.0f} of {height} px from the top"
            file.write(f"{shot.name}: {asked} {where}\n")


def _count(path: Path, name: str, shots: list[Shot]) -> None:
    with path.open("a") as file:
        for s in shots:
            n_other = len(s.found) - s.n_contrast
            told = f"{s.over_px} px over, contrast {s.n_contrast}, other {n_other}"
            file.write(f"{name} {s.name}: {told}\n")
            file.writelines(f"    {fault}\n" for fault in s.found)
        n_over = sum(s.over_px > 0 for s in shots)
        total = (
            f"{len(shots)} screens, {n_over} too wide, {sum(len(s.found) for s in shots)} faults"
        )
        file.write(f"{name}: {total}\n")
