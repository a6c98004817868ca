"""Rules and needs of the roster in the farm file: read, kept, written back, changed, taken out."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import yaml

from crews.roster.build import build_week, read_facts
from crews.roster.calc.problem import Problem
from crews.roster.dates import today_of
from crews.roster.models import ShiftDemand
from equipment.site.models import Site
from schedules.farmfile.document import read_text
from schedules.farmfile.faults import BrokenFileError
from schedules.farmfile.services import dump_site, load_site

pytestmark = pytest.mark.django_db

SMALL = (Path(__file__).parents[2] / "schedules" / "farmfile" / "small.yaml").read_text()
AT = datetime(2026, 11, 25, 15, tzinfo=UTC)
RULES = """
roster_rules: {week_most_h: 48, lead_price: 7}
worker_rules:
  - {worker: bo, week_most_h: 20}
shift_demand:
  - {pattern: day, least: 1, target: 2, skills: [{skill: loader, target: 1}]}
"""


def load(text: str, at: datetime = AT) -> None:
    load_site(document=read_text(text.encode(), "farm.yaml"), at=at)


def problem() -> Problem:
    site = Site.objects.get()
    first = today_of(site, AT) + timedelta(days=1)
    return build_week(read_facts(site, first, first + timedelta(days=1)), at=AT)


def test_rules_and_needs_reach_the_roster() -> None:
    load(SMALL + RULES)

    found = problem()

    limits = {
        person.id: [r.most for r in c.rules if r.id == "week_most"]
        for person in found.people
        for c in found.contracts
        if c.id == person.contract
    }
    assert limits == {"ada": [48 * 60], "bo": [20 * 60]}
    assert {(d.skill, d.least, d.target) for d in found.demand} >= {(None, 1, 2), ("loader", 0, 1)}
    assert {crew.lead_price for crew in found.crews} == {7}


def test_what_was_loaded_is_written_back() -> None:
    load(SMALL + RULES)
    written: dict[str, Any] = yaml.safe_load(dump_site(site=Site.objects.get(), at=AT))
    assert written["roster_rules"]["week_most_h"] == 48
    assert [entry["worker"] for entry in written["worker_rules"]] == ["bo"]
    [need] = written["shift_demand"]
    assert (need["pattern"], need["least"], need["target"]) == ("day", 1, 2)
    assert [(n["skill"], n["target"]) for n in need["skills"]] == [("loader", 1)]


def test_needs_change_and_go_with_the_file() -> None:
    load(SMALL + RULES)
    load(SMALL + RULES.replace("target: 2", "target: 3"), AT + timedelta(days=1))
    assert ShiftDemand.objects.get(skill=None).target == 3
    load(SMALL, AT + timedelta(days=2))
    assert not ShiftDemand.objects.exists()


@pytest.mark.parametrize(
    ("good", "bad", "words"),
    [
        ("least: 1", "least: 5", "asks for more at least than it needs"),
        ("week_most_h: 48", "week_most_h: 48, week_least_h: 50", "more hours a week than"),
        ("target: 1}]", "target: 1}, {skill: loader, target: 2}]", "names loader twice"),
        ("week_most_h: 48", "week_most_h: -1", "week_most_h"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(good: str, bad: str, words: str) -> None:
    with pytest.raises(BrokenFileError, match=words):
        load(SMALL + RULES.replace(good, bad))
