"""Every broken farm file gets its exact messages, and changes nothing."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
import yaml
from django.apps import apps

from schedules.farmfile.document import read_document
from schedules.farmfile.faults import BrokenFileError
from schedules.farmfile.services import load_site

HERE = Path(__file__).parent
AT = datetime(2026, 11, 25, 15, tzinfo=UTC)
MESSAGES: dict[str, list[str]] = yaml.safe_load((HERE / "broken" / "messages.yaml").read_text())


def messages_of(name: str) -> list[str]:
    with pytest.raises(BrokenFileError) as caught:
        load_site(document=read_document(HERE / "broken" / f"{name}.yaml"), at=AT)
    return [str(fault) for fault in caught.value.faults]


def row_counts() -> dict[str, int]:
    return {model.__name__: model._default_manager.count() for model in apps.get_models()}


def test_every_broken_file_has_its_messages() -> None:
    files = {path.stem for path in (HERE / "broken").glob("*.yaml")} - {"messages"}

    assert files == set(MESSAGES)
    assert len(files) >= 25


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(MESSAGES))
def test_a_broken_file_says_exactly_what_is_wrong_and_changes_nothing(name: str) -> None:
    load_site(document=read_document(HERE / "small.yaml"), at=AT)
    before = row_counts()

    assert messages_of(name) == MESSAGES[name]
    assert row_counts() == before
