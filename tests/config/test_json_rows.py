"""Rows that the database writes say what the serializer says of them."""

from typing import Any

import pytest
from rest_framework import serializers
from rest_framework.test import APIClient

from crews.people.models import Crew
from equipment.site import json_rows, rest
from tests.config.calls import path_of
from tests.config.test_conditional import LISTS
from tests.farm import Farm

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("language", "who"), [("en", "manager"), ("es", "worker")])
def test_both_ways_of_a_list_say_the_same(
    farm: Farm,
    request: pytest.FixtureRequest,
    monkeypatch: pytest.MonkeyPatch,
    language: str,
    who: str,
) -> None:
    client: APIClient = request.getfixturevalue(f"as_{who}")
    spoken = {"Accept-Language": language}
    written = {
        route: client.get(path_of(route, farm, farm.slug), headers=spoken) for route in LISTS
    }
    monkeypatch.setattr(rest, "with_json", lambda *_args: None)

    for route, answer in written.items():
        other = client.get(path_of(route, farm, farm.slug), headers=spoken)
        assert answer.json() == other.json(), route
        for name in ("Content-Type", "Vary", "ETag", "Link"):
            assert answer.headers.get(name) == other.headers.get(name), (route, name)


def test_most_lists_are_written_by_the_database() -> None:
    forms: list[Any] = [view.serializer_class for view in LISTS.values() if view.serializer_class]
    written = [form for form in forms if json_rows._written(form)]
    assert len(written) > len(forms) / 2


class Plain(serializers.ModelSerializer[Crew]):
    class Meta:
        model = Crew
        fields = ["id", "name"]


class ByWhoAsks(Plain):
    def get_fields(self) -> dict[str, Any]:
        return {name: field for name, field in super().get_fields().items() if name == "id"}


class Otherwise(Plain):
    def to_representation(self, instance: Crew) -> Any:
        return {"id": instance.pk}


class Below(Otherwise):
    pass


class InItsOwnForm(Plain):
    created_at = serializers.DateTimeField(format="%Y")

    class Meta(Plain.Meta):
        fields = ["id", "created_at"]


def test_serializer_that_says_more_than_columns_is_not_written() -> None:
    assert json_rows._written(Plain)
    others: tuple[Any, ...] = (ByWhoAsks, Otherwise, Below, InItsOwnForm)
    assert [json_rows._written(form) for form in others] == [None] * 4
