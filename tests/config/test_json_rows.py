"""Rows that the database writes say what the serializer says of them."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from equipment.site import json_rows, rest
from tests.config.calls import path_of
from tests.config.test_conditional import LISTS
from tests.farm import Farm

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("language", ["en", "es"])
def test_both_ways_of_a_list_say_the_same(
    farm: Farm, as_manager: APIClient, monkeypatch: pytest.MonkeyPatch, language: str
) -> None:
    spoken = {"Accept-Language": language}
    written = {
        route: as_manager.get(path_of(route, farm, farm.slug), headers=spoken) for route in LISTS
    }
    monkeypatch.setattr(rest, "with_json", lambda *_args: None)

    for route, answer in written.items():
        other = as_manager.get(path_of(route, farm, farm.slug), headers=spoken)
        assert answer.json() == other.json(), route
        for name in ("Content-Type", "Vary", "ETag", "Link"):
            assert answer.headers.get(name) == other.headers.get(name), (route, name)


def test_most_lists_are_written_by_the_database() -> None:
    forms: list[Any] = [view.serializer_class for view in LISTS.values() if view.serializer_class]
    written = [form for form in forms if json_rows._written(form)]
    assert len(written) > len(forms) / 2
