"""The answer to each screen's question stands in its first screenful, at a desk and on a phone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from equipment.site.models import Role, User
from tests.contact_sheet.questions import QUESTIONS
from tests.factories import make_user
from tests.farm import Farm
from tests.looks import PASSWORD, sign_in

from .conftest import NOW
from .reading import PAGES, url

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SCREENS = {"desk": (1280, 900), "phone": (360, 740)}


def test_every_screen_has_its_question() -> None:
    assert set(QUESTIONS) == set(PAGES)


@pytest.fixture
def pages(browser: Browser, live_server: Any) -> Iterator[dict[str, Page]]:
    farm = Farm("ours", NOW)
    user = make_user(Role.MANAGER, farm.site)
    user.set_password(PASSWORD)
    user.save()
    opened = {}
    for name, (width, height) in SCREENS.items():
        context = browser.new_context(
            base_url=str(live_server), viewport={"width": width, "height": height}
        )
        opened[name] = context.new_page()
        sign_in(opened[name], user.username)
    yield opened
    for page in opened.values():
        page.context.close()


@pytest.mark.parametrize("language", ["en", "es"])
def test_answer_stands_in_the_first_screenful(language: str, pages: dict[str, Page]) -> None:
    User.objects.update(language=language)
    hidden = []
    for screen, page in pages.items():
        height = SCREENS[screen][1]
        for name, question in QUESTIONS.items():
            page.goto(url(name))
            found = page.locator(question.answer)
            box = found.first.bounding_box() if found.count() else None
            if box is None or box["y"] + box["height"] > height:
                hidden.append((screen, name, box))
    assert hidden == []
