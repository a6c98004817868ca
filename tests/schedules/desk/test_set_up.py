"""Set up: every section of the demo's farm file can be opened, saved, changed and put back."""

from __future__ import annotations

from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any
from unittest.mock import patch

import pytest
import time_machine
from django.db import connections, transaction
from django.test import Client
from django.utils import translation

from equipment.site.farmfields import Field, Kind
from equipment.site.farmrows import Farm
from equipment.site.models import Role, Site
from schedules.desk.set_up_words import GROUPS, NEEDED, NOUNS, TITLES, choices_of, unit_of
from schedules.farmfile.demo.services import FIXTURES
from schedules.farmfile.document import read_document
from schedules.farmfile.models import FarmEdit
from schedules.farmfile.registry import all_sections
from schedules.farmfile.services import dump_site, load_site
from schedules.farmfile.typed import NUMBERS
from tests.factories import make_user

from .conftest import NOW, sign_in
from .reading import rows, url, words

pytestmark = pytest.mark.django_db
MOST_QUERIES = 25
SECTIONS = all_sections()
SLUG = "three-cairns"


@pytest.fixture(scope="module")
def module_site(django_db_setup: None, django_db_blocker: Any) -> Iterator[Site]:
    """The demo's farm file, loaded once; what a test does is undone."""
    stays_open = patch.object(connections["default"], "close")
    held = time_machine.travel(NOW, tick=False)
    with django_db_blocker.unblock(), transaction.atomic(), stays_open, held:
        load_site(document=read_document(FIXTURES / "three_cairns.yaml"), at=NOW)
        site = Site.objects.get()
        for role in Role:
            make_user(role, site)
        yield site
        transaction.set_rollback(True)


@pytest.fixture
def site(module_site: Site, db: None) -> Site:
    return module_site


@pytest.fixture
def boss(site: Site) -> Client:
    return sign_in(f"{Role.MANAGER}-{site.slug}")


def at(name: str, *args: object) -> str:
    return url(name, *args, slug=SLUG)


def dump(site: Site) -> str:
    return dump_site(site=Site.objects.get(pk=site.pk), at=NOW)


def keys(site: Site, name: str) -> list[str]:
    section = SECTIONS[name]
    return list(section.rows.read(Farm(site, SECTIONS, NOW), section))


class Form(HTMLParser):
    """What the first form of the page's main part would post, as a browser fills it."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.posts: dict[str, list[str]] = {}
        self.where = ""
        self.area = ""
        self.select = ""
        self.options: list[tuple[str, bool]] = []
        self.feed(html[html.index('class="panel">') :].partition("</form>")[0])

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        name, value = given.get("name", ""), given.get("value", "")
        if tag == "input" and given.get("type") in ("checkbox", "radio"):
            if "checked" in given:
                self.posts.setdefault(name, []).append(value)
        elif tag == "input":
            self.posts.setdefault(name, []).append(value)
        elif tag == "textarea":
            self.area = name
            self.posts[name] = [""]
        elif tag == "select":
            self.select, self.options = name, []
        elif tag == "option":
            self.options.append((value, "selected" in given))

    def handle_data(self, data: str) -> None:
        if self.area:
            self.posts[self.area][0] += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            text = self.posts[self.area][0].removeprefix("\n")  # the first break is not its
            self.posts[self.area][0] = text.replace("\n", "\r\n")
            self.area = ""
        if tag == "select":
            chosen = [value for value, is_chosen in self.options if is_chosen]
            self.posts[self.select] = chosen or [self.options[0][0]]


def form_of(client: Client, address: str) -> dict[str, list[str]]:
    response = client.get(address)
    assert response.status_code == 200
    return Form(response.content.decode()).posts


def entry_at(name: str, key: str) -> str:
    single = SECTIONS[name].is_single
    return at("set-up-section", name) if single else at("set-up-entry", name, key)


# Words ------------------------------------------------------------------------------------------


def test_every_section_has_its_group_and_its_words() -> None:
    grouped = [name for _title, names in GROUPS for name in names]
    assert sorted(grouped) == sorted(SECTIONS)
    assert set(NOUNS) | set(TITLES) == set(SECTIONS)
    assert set(NEEDED) <= set(SECTIONS)


@pytest.mark.parametrize("name", sorted(SECTIONS))
def test_every_field_has_words_of_its_own_and_every_choice(name: str) -> None:
    section = SECTIONS[name]
    labels = [str(f.help).casefold() for f in section.fields]
    assert len(set(labels)) == len(labels)
    for f in section.fields:
        assert str(f.help)
        if f.choices:
            said = choices_of(section, f)
            assert set(said) == set(f.choices)
            assert all(words[:1].isupper() or words[:1].isdigit() for words in said.values()), said


def numbers() -> list[tuple[str, Field]]:
    every = [(s.name, f) for s in SECTIONS.values() for g in s.fields for f in (g, *g.parts)]
    return [(name, f) for name, f in every if f.kind in NUMBERS]


def test_every_quantity_says_its_unit() -> None:
    """Without one are counts, ranks, weights, factors and money alone."""
    without = {f.name for _name, f in numbers() if not unit_of(f)}
    plain = {
        *("n_cows", "n_dry_cows", "n_loaders", "n_people", "n_sides", "n_stalls", "n_trucks"),
        *("least", "target", "days_on", "days_off", "days_in_row_most", "nights_in_row_most"),
        *("weekends_most", "clean_months", "contagion_class", "milking_rank", "position"),
        *("priority", "seed", "depth_volume", "side_slope", "ramp_slope", "pad_kc", "log_rate_sd"),
        *("rain_factor", "rain_days_factor", "rain_amount_factor"),
        *("price", "list_price", "salvage", "worth_now", "visit_cost"),
    }
    assert {name for name in without if not name.endswith("_price")} <= plain


# Every section ----------------------------------------------------------------------------------


@pytest.mark.parametrize("language", ["en", "es"])
def test_list_names_every_section_with_how_many(language: str, boss: Client) -> None:
    boss.cookies["django_language"] = language
    response = boss.get(at("set-up"))

    said = words(response)
    with translation.override(language):
        for title in TITLES.values():
            assert str(title) in said
    assert "state could-not" not in response.content.decode()
    for name in SECTIONS:
        assert at("set-up-section", name) in response.content.decode()


@pytest.mark.parametrize("name", sorted(SECTIONS))
def test_section_and_entry_saved_unchanged_change_nothing(
    name: str, site: Site, boss: Client, django_assert_max_num_queries: Any
) -> None:
    before = dump(site)
    with django_assert_max_num_queries(MOST_QUERIES):
        assert boss.get(at("set-up-section", name)).status_code == 200
    for key in [name] if SECTIONS[name].is_single else keys(site, name)[:1]:
        with django_assert_max_num_queries(MOST_QUERIES):
            boss.get(entry_at(name, key))
        address = entry_at(name, key)

        response = boss.post(address, {**form_of(boss, address), "deed": "save"}, follow=True)

        assert response.status_code == 200, words(response)
        assert "Nothing was different." in words(response)
    assert dump(site) == before
    assert not FarmEdit.objects.exists()


@pytest.mark.parametrize("name", ["workers", "standing_orders", "lanes", "shift_patterns"])
def test_each_entry_of_the_nested_sections_says_what_it_was(
    name: str, site: Site, boss: Client
) -> None:
    before = dump(site)
    for key in keys(site, name)[:6]:
        address = entry_at(name, key)
        response = boss.post(address, {**form_of(boss, address), "deed": "save"})
        assert response.status_code == 302, words(response)
    assert dump(site) == before


@pytest.mark.parametrize("name", sorted(n for n, s in SECTIONS.items() if not s.is_single))
def test_form_of_a_new_entry_asks_for_what_is_needed(name: str, boss: Client, site: Site) -> None:
    before = dump(site)
    address = at("set-up-new", name)

    response = boss.post(address, {**form_of(boss, address), "deed": "save"})

    assert response.status_code == 422
    assert "Nothing was saved." in words(response)
    assert dump(site) == before


CHANGES: dict[Kind, tuple[str, str, dict[str, list[str]]]] = {
    Kind.TEXT: ("workers", "", {"name": ["Somebody Else"]}),
    Kind.WHOLE: ("pens", "", {"n_cows": ["1,001"]}),
    Kind.NUMBER: ("pens", "", {"walk_m": ["820 ft"]}),
    Kind.BOOL: ("pens", "", {"is_milk_withheld": ["yes"]}),
    Kind.DATE: ("workers", "", {"started_on": ["2020-02-29"]}),
    Kind.TIME: ("shift_patterns", "", {"starts_local": ["05:05"]}),
    Kind.CHOICE: ("site", "site", {"language": ["es"]}),
    Kind.ROW: ("machines", "", {"home": ["parlor"]}),
    Kind.ROW_KEY: ("machines", "", {"driver_skill": [""]}),
    Kind.WORDS: ("walk_lines", "", {"text.en": ["All is well"]}),
    Kind.DOCUMENT: ("site", "site", {"words": ["en: {pen: Lot}"]}),
    Kind.PART: (
        "shift_patterns",
        "",
        {"breaks.0.after_min": ["60"], "breaks.0.length_min": ["15"]},
    ),
}


def test_changes_below_have_one_of_each_kind() -> None:
    assert set(CHANGES) == set(Kind) - {Kind.KEY}


@pytest.mark.parametrize("kind", sorted(CHANGES))
def test_a_field_of_each_kind_is_changed_and_undone(kind: Kind, site: Site, boss: Client) -> None:
    name, key, typed = CHANGES[kind]
    key = key or keys(site, name)[0]
    address, before = entry_at(name, key), dump(site)

    answer = boss.post(address, {**form_of(boss, address), **typed, "deed": "save"})

    assert answer.status_code == 302, words(answer)
    assert dump(site) != before
    edit = FarmEdit.objects.get()
    assert [(e["section"], e["key"]) for e in edit.entries] == [(name, key)]
    page = boss.get(at("set-up"))
    assert at("undo-edit", edit.pk) in page.content.decode()
    boss.post(at("undo-edit", edit.pk))
    assert dump(site) == before


def test_a_number_with_a_unit_is_stored_in_si(site: Site, boss: Client) -> None:
    """820 ft of 0.3048 m (NIST SP 811, appendix B.8)."""
    key = keys(site, "pens")[0]
    address = entry_at("pens", key)

    boss.post(address, {**form_of(boss, address), "walk_m": "820 ft", "deed": "save"})

    [entry] = FarmEdit.objects.get().entries
    assert entry["after"]["walk_m"] == pytest.approx(249.936)
    assert "= 820 ft." in words(boss.get(address))


# What goes wrong --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("1.250", "1.250 could be meant in two ways. Write 1250.5 or 1,250."),
        ("12,5", "12,5 could be meant in two ways. Write 1250.5 or 1,250."),
        ("many", "many is no number. Write it as 1250.5."),
        ("5001", "5001 must be at most 5000."),
        ("12.5", "12.5 must be a whole number."),
        ("12 kg", "12 kg is no number."),
        ("", "is missing."),
    ],
)
def test_bad_input_is_told_at_its_field_and_kept(
    typed: str, why: str, site: Site, boss: Client
) -> None:
    address, before = entry_at("pens", keys(site, "pens")[0]), dump(site)
    form = {**form_of(boss, address), "n_cows": typed, "label": "kept"}

    response = boss.post(address, {**form, "deed": "save"})

    assert response.status_code == 422
    assert why in words(response)
    assert "1 thing is in the way. Nothing was saved." in words(response)
    again = Form(response.content.decode()).posts
    assert (again["n_cows"], again["label"]) == ([typed], ["kept"])
    assert dump(site) == before


def test_who_opened_an_earlier_state_is_told_who_changed_it_and_overwrites_nothing(
    site: Site, boss: Client
) -> None:
    address = entry_at("pens", keys(site, "pens")[0])
    early = form_of(boss, address)
    boss.post(address, {**early, "n_cows": "101", "deed": "save"})
    before = dump(site)

    response = boss.post(address, {**early, "n_cows": "99", "deed": "save"})

    assert response.status_code == 409
    said = words(response)
    assert "Cows in milk: now 101, you typed 99" in said
    assert "Last changed here by manager-three-cairns, Wed 4 Mar 9:00 am." in said
    assert dump(site) == before
    again = Form(response.content.decode()).posts
    assert boss.post(address, {**again, "deed": "save"}).status_code == 302
    assert "n_cows: 99" in dump(site)


def test_what_others_rest_on_is_not_taken_out_and_says_which(site: Site, boss: Client) -> None:
    address, before = entry_at("skills", keys(site, "skills")[0]), dump(site)
    mark = form_of(boss, address)["mark"]

    response = boss.post(address, {"deed": "retire", "mark": mark})

    assert response.status_code == 422
    assert "People · " in words(response)
    assert dump(site) == before


def test_an_entry_is_made_retired_and_brought_back(site: Site, boss: Client) -> None:
    before = dump(site)
    form = form_of(boss, at("set-up-new", "skills")) | {"name": ["Hoof care"]}

    boss.post(at("set-up-new", "skills"), {**form, "deed": "save"})

    address = entry_at("skills", "hoof-care")
    made = dump(site)
    assert "Hoof care" in made
    boss.post(address, {"deed": "retire", "mark": form_of(boss, address)["mark"]})
    assert dump(site) == before
    page = boss.get(at("set-up-section", "skills"))
    assert "Out of use · 1 Hoof care" in words(page)
    boss.post(address, {"deed": "again", "mark": form_of(boss, address)["mark"]})
    assert dump(site) == made


def test_an_undo_says_what_has_changed_since(site: Site, boss: Client) -> None:
    key = keys(site, "pens")[0]
    address = entry_at("pens", key)
    for n in ("101", "102"):
        boss.post(address, {**form_of(boss, address), "n_cows": n, "deed": "save"})
    before = dump(site)

    response = boss.post(at("undo-edit", FarmEdit.objects.order_by("pk").first().pk))  # type: ignore[union-attr]

    assert response.status_code == 409
    assert f"Pens {key}: changed since." in words(response)
    assert dump(site) == before


def test_a_unit_of_something_else_is_told(site: Site, boss: Client) -> None:
    address = entry_at("pens", keys(site, "pens")[0])

    response = boss.post(address, {**form_of(boss, address), "walk_m": "12 kg", "deed": "save"})

    assert "12 kg has a unit that does not fit." in words(response)


# Who may ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", [Role.LEAD, Role.WORKER, Role.MECHANIC])
def test_only_a_manager_changes(role: Role, site: Site) -> None:
    client, before = sign_in(f"{role}-{SLUG}"), dump(site)
    key = keys(site, "pens")[0]

    for address in (
        entry_at("pens", key),
        at("set-up-new", "pens"),
        at("set-up-load"),
        at("set-up-paste", "pens"),
        at("undo-edit", 1),
    ):
        assert client.post(address, {"deed": "retire"}).status_code == 403, address
    assert dump(site) == before


@pytest.mark.parametrize("role", list(Role))
def test_sections_and_the_file_are_for_those_who_decide(role: Role, site: Site) -> None:
    client = sign_in(f"{role}-{SLUG}")
    status = 200 if role in (Role.MANAGER, Role.LEAD) else 403

    assert client.get(at("set-up")).status_code == 200
    assert client.get(at("set-up-section", "pens")).status_code == status
    assert client.get(at("set-up-file")).status_code == status


@pytest.mark.parametrize("address", ["nothing", "pens/entry/nothing", "pens/entry/a/b", "site/new"])
def test_what_is_not_there_is_not_found(address: str, boss: Client) -> None:
    assert boss.get(f"{at('set-up')}{address}/").status_code == 404


def test_farms_own_nouns_stand_in_titles_and_labels(site: Site, boss: Client) -> None:
    Site.objects.filter(pk=site.pk).update(words={"en": {"pen": "Zzlot"}})

    page = boss.get(at("set-up-section", "alleys"))

    assert "Zzlot it lies in" in [cell for row in rows(page.content.decode()) for cell in row]
