"""Phones of an invented farm, for the tests of screens."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser

from tests.schedules.nudges.conftest import push_is_on, push_service  # noqa: F401  fixtures

from .phone_farm import ANA, Body
from .phone_taps import Made, Taps
from .phone_world import World, open_phone


@pytest.fixture
def made(browser: Browser) -> Iterator[Made]:
    contexts = []

    def make(who: int | None = ANA, documents: list[Body] | None = None, **more: Any) -> Taps:
        context = browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True)
        contexts.append(context)
        world = World(documents, worker=who)
        for name, value in more.items():
            setattr(world, name, value)
        world.serve(context)
        return Taps(open_phone(context.new_page()), world)

    yield make
    for context in contexts:
        context.close()
