"""`manage.py day`: the same day in the language asked for, or as codes and numbers."""

from __future__ import annotations

import json
import re
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from equipment.site.models import Site
from tests.farm import Farm

pytestmark = pytest.mark.django_db


def _said(**options: Any) -> str:
    out = StringIO()
    call_command("day", site="ours", stdout=out, **options)
    return out.getvalue()


def test_the_day_is_said_in_the_sites_own_language_or_the_one_asked_for(farm: Farm) -> None:
    Site.objects.filter(pk=farm.site.pk).update(language="es")

    assert "Nadie lo tiene" in _said()
    assert _said(language="es") == _said()
    assert "Nobody has it" in _said(language="en")


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", "nobody is qualified for it: groomer"),
        ("es", "nadie está capacitado para eso: groomer"),
    ],
)
def test_the_day_says_why_nobody_has_work(farm: Farm, language: str, said: str) -> None:
    assert said in _said(language=language)


def test_the_day_is_told_by_the_clock_of_the_site(farm: Farm) -> None:
    twelve = _said(language="en")
    Site.objects.filter(pk=farm.site.pk).update(clock_h=24)

    assert "11:00 – 11:10 am  Groom" in twelve
    assert "11:00 – 11:10  Groom" in _said(language="en")


def test_json_is_the_same_in_each_language_and_has_no_sentence(farm: Farm) -> None:
    english, spanish = (_said(json=True, language=language) for language in ("en", "es"))
    document = json.loads(english)

    assert english == spanish
    assert document["schema"] == "penround/day-report/2"
    assert {row["reasons"][0]["code"] for row in document["unassigned"] if row["reasons"]} == {
        "no_skilled_person"
    }
    assert document["assigned"][0]["starts_at"] == "2026-03-04T11:00:00-07:00"
    assert document["n_orders"] == len(farm.orders)
    values = [v for row in document["unassigned"] for v in row.values() if isinstance(v, str)]
    assert [v for v in values if re.search(r"[a-z] [a-z]", v)] == []


def test_a_day_or_a_site_that_is_not_there_is_refused(farm: Farm) -> None:
    with pytest.raises(CommandError, match="2026-03-04"):
        _said(date="4/3/2026")
    with pytest.raises(CommandError, match="Known: ours"):
        call_command("day", site="nowhere", stdout=StringIO())
