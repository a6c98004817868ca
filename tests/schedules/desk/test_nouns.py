"""Headings, labels and heads of tables use the farm's own nouns, in each language."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from django.conf import settings
from django.test import Client

from equipment.site.models import Place, Site
from equipment.site.queries import DEFAULT_WORDS, SINGULAR, word, words_of
from tests.farm import Farm

from .reading import url

NAMING = ("title", "h1", "h2", "h3", "h4", "th", "label", "legend", "figcaption", "nav")
OWN = {noun: f"Zz{n}" for n, noun in enumerate(DEFAULT_WORDS["en"])}
# Beds stand in other words too, and the site is the whole: neither is asked for here.
GENERAL = {"bed_group", "site"}
USUAL = {
    language: re.compile(
        rf"\b({'|'.join(re.escape(w) for n, w in nouns.items() if n not in GENERAL)})\b", re.I
    )
    for language, nouns in DEFAULT_WORDS.items()
}


class _Names(HTMLParser):
    """Collects the text of what names things on a page."""

    def __init__(self) -> None:
        super().__init__()
        self.inside: list[str] = []
        self.said: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in NAMING:
            self.inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self.inside and self.inside[-1] == tag:
            self.inside.pop()

    def handle_data(self, data: str) -> None:
        if self.inside and data.strip():
            self.said.append(data.strip())


def _names(client: Client, page: str, language: str) -> list[str]:
    client.cookies[settings.LANGUAGE_COOKIE_NAME] = language
    html = client.get(url(page)).content.decode()
    assert f'<html lang="{language}"' in html
    reader = _Names()
    reader.feed(html)
    return reader.said


@pytest.mark.django_db
@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize(
    "page",
    [
        *("today", "pens", "crew", "sand", "machines", "week", "look-back"),
        *("problems", "came-late", "status", "replan", "set-up", "alerts"),
    ],
)
def test_what_names_things_is_in_the_farms_own_words(
    farm: Farm, manager: Client, page: str, language: str
) -> None:
    Site.objects.filter(pk=farm.site.pk).update(words={"en": OWN, "es": OWN})
    Place.objects.filter(site=farm.site).update(label="7")

    said = _names(manager, page, language)

    assert [text for text in said if USUAL[language].search(text)] == []
    assert OWN["pens"] in said  # in the list of pages


def test_a_plural_not_given_is_the_farms_own_singular() -> None:
    site = Site(words={"en": {"pen": "Barn", "batch": "Lot", "batches": "Lots"}})

    assert [word(site, "en", noun) for noun in ("pens", "batches", "pads")] == [
        "Barn",
        "Lots",
        "Pads",
    ]
    assert words_of(site, "es")["pens"] == "Corrales"


def test_both_languages_have_the_same_nouns_and_each_plural_its_singular() -> None:
    assert DEFAULT_WORDS["en"].keys() == DEFAULT_WORDS["es"].keys()
    assert DEFAULT_WORDS["en"].keys() >= SINGULAR.keys() | set(SINGULAR.values())
