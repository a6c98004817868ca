"""What the plan weighs, in the farm file: read, written back, refused."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import yaml

from equipment.site.models import Site
from schedules.dayplan.queries import practice_of
from schedules.farmfile.document import read_text
from schedules.farmfile.faults import BrokenFileError
from schedules.farmfile.services import dump_site, load_site

pytestmark = pytest.mark.django_db

SMALL = (Path(__file__).parents[1] / "farmfile" / "small.yaml").read_text()
AT = datetime(2026, 11, 25, 15, tzinfo=UTC)


def load(rules: str) -> Site:
    load_site(document=read_text((SMALL + rules).encode(), "farm.yaml"), at=AT)
    return Site.objects.get()


def test_what_is_not_said_is_as_usual() -> None:
    site = load("plan_rules: {keep_chance_frac: 0.95}")

    found = practice_of(site.pk)

    assert (found.keep_chance_frac, found.slack_price, found.change_price) == (0.95, 0.5, 20)


def test_what_was_loaded_is_written_back() -> None:
    site = load("plan_rules: {slack_price: 2, off_crew_price: 0}")

    written: dict[str, Any] = yaml.safe_load(dump_site(site=site, at=AT))

    assert written["plan_rules"] == {"slack_price": 2, "off_crew_price": 0}


@pytest.mark.parametrize("said", ["keep_chance_frac: 1", "slack_price: -1", "change_price: much"])
def test_what_cannot_be_is_refused_by_name(said: str) -> None:
    with pytest.raises(BrokenFileError, match=said.partition(":")[0]):
        load(f"plan_rules: {{{said}}}")
