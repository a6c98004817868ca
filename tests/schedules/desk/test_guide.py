"""The guide to a first day's plan on Set up, on its parts, and on a Today without work."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from crews.people.models import Skill, WorkerSkill
from equipment.site.models import Role, Site
from schedules.dayplan.models import PlanRun
from schedules.desk.set_up_guide import LACKS, STATES, STYLES, WHAT
from schedules.desk.set_up_usual import SAMPLES, USUAL_ORDERS
from schedules.farmfile.edits import Asked, edit_farm
from schedules.farmfile.guide import SECTIONS, Lack, State, Step
from schedules.farmfile.registry import all_sections
from tests.factories import make_site, make_user
from tests.farm import Farm

from .conftest import NOW, ClientOf, sign_in
from .reading import section, url, words

pytestmark = pytest.mark.django_db
MOST_QUERIES = 25


@pytest.fixture
def bare(db: None) -> Site:
    site = make_site("bare")
    make_user(Role.MANAGER, site)
    make_user(Role.WORKER, site)
    return site


@pytest.fixture
def boss(bare: Site) -> Client:
    return sign_in("manager-bare")


def at(name: str, *args: object) -> str:
    return url(name, *args, slug="bare")


def test_every_step_and_lack_has_its_words() -> None:
    assert set(WHAT) == set(Step)
    assert set(STATES) == set(STYLES) == set(State)
    assert set(SECTIONS) == set(Step) - {Step.PLAN}
    assert set(SECTIONS.values()) <= set(all_sections())
    assert set(Lack) == {*LACKS, Lack.NONE_YET, Lack.NOBODY_HAS_IT}


def test_empty_farm_is_told_what_is_next_on_today_and_on_set_up(boss: Client) -> None:
    today = boss.get(at("today"))
    guide = section(boss.get(at("set-up")), "guide-h")

    assert "Next: Parlor . How many stalls, how fast" in words(today)
    assert f'href="{at("set-up-section", "parlors")}"' in today.content.decode()
    assert guide == "To a first day's plan"
    assert "9 things are missing before a first plan." in words(boss.get(at("set-up")))


def test_part_that_is_next_says_so_and_others_lead_there(boss: Client) -> None:
    assert "Next, here: How many stalls" in words(boss.get(at("set-up-section", "parlors")))
    assert "Next: Parlor ." in words(boss.get(at("set-up-section", "pens")))


def test_who_may_not_change_it_reads_what_is_next_without_a_link(bare: Site) -> None:
    page = sign_in("worker-bare").get(at("today"))

    assert "Next: Parlor. How many stalls" in words(page)
    assert at("set-up-section", "parlors") not in page.content.decode()


def test_done_steps_say_so_and_how_many(bare: Site, boss: Client) -> None:
    actor = make_user(Role.MANAGER, bare, username="second").pk
    assert actor
    posted = {"rows": "label\tkind\tn_cows\twalk_m\tmilking_rank\n1\tfresh\t90\t140\t1"}
    look = boss.post(at("set-up-paste", "pens"), posted)
    seen = look.content.decode().partition('name="seen" value="')[2].partition('"')[0]
    boss.post(at("set-up-paste", "pens"), {**posted, "seen": seen})

    page = words(boss.get(at("set-up")))
    assert "Next Parlor" in page
    assert "Done Pens · 1" in page
    assert "8 things are missing before a first plan." in page


def test_farm_with_a_plan_has_no_guide(farm: Farm, client_of: ClientOf) -> None:
    PlanRun.objects.create(
        site=farm.site,
        local_date=NOW.date(),
        number=900,
        made_at=NOW,
        site_version=1,
        seed=1,
        n_assigned=1,
        n_unassigned=0,
    )
    manager = client_of(Role.MANAGER)

    assert "What to do next" not in words(manager.get(url("today")))
    assert "Next" not in words(manager.get(url("set-up-section", "pens")))


def test_skill_that_ran_out_is_nobodys(farm: Farm, client_of: ClientOf) -> None:
    PlanRun.objects.filter(site=farm.site).delete()
    skill = Skill.objects.create(site=farm.site, key="rakes", name="Rakes")
    held = {"site": farm.site, "worker": farm.worker, "skill": skill}
    WorkerSkill.objects.create(**held, from_on="2020-01-01")
    given = {**USUAL_ORDERS["by-hand"].values, "skill": "rakes"}
    asked = Asked("standing_orders", "rake", given, is_new=True)
    edit_farm(site_id=farm.site.pk, asked=[asked], by=farm.manager.actor, at=NOW)
    before = words(client_of(Role.MANAGER).get(url("set-up")))
    WorkerSkill.objects.filter(skill=skill).update(until_on=NOW.date())

    after = words(client_of(Role.MANAGER).get(url("set-up")))
    assert "Nobody is qualified for" not in before
    assert "Nobody is qualified for" in after


@pytest.mark.parametrize("name", ["today", "set-up"])
def test_guide_keeps_within_the_page_s_queries(
    name: str, boss: Client, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(MOST_QUERIES):
        assert "Next:" in words(boss.get(at(name)))


# What a new farm can begin from ------------------------------------------------------------------


@pytest.mark.parametrize("name", USUAL_ORDERS)
def test_usual_standing_order_fills_the_form_and_can_be_saved(
    name: str, farm: Farm, client_of: ClientOf
) -> None:
    address = f"{url('set-up-new', 'standing_orders')}?from={name}"
    page = client_of(Role.MANAGER).get(address).content.decode()
    usual = USUAL_ORDERS[name].values

    assert usual["title"]["en"] in page
    asked = Asked("standing_orders", name, dict(usual), is_new=True)
    edited = edit_farm(site_id=farm.site.pk, asked=[asked], by=farm.manager.actor, at=NOW)
    assert [moved.key for moved in edited.moved] == [name]


def test_form_of_something_unknown_is_empty(farm: Farm, client_of: ClientOf) -> None:
    empty = client_of(Role.MANAGER).get(url("set-up-new", "standing_orders"))
    other = client_of(Role.MANAGER).get(f"{url('set-up-new', 'standing_orders')}?from=x")

    assert words(empty) == words(other)


def test_rows_to_begin_from_can_be_pasted_as_they_are(bare: Site, boss: Client) -> None:
    """One after the other, with what they name: two skills, a shift and a yard."""
    named = {
        "skills": "name\nBeds by hand\nCattle\nDrives loaders",
        "shift_patterns": "name\tstarts_local\tduration_min\nDay\t05:30\t480",
        "places": "key\tkind\nyard\tyard",
    }
    pasted = {**named, **{name: "\n".join(rows) for name, rows in SAMPLES.items()}}
    for name, rows in pasted.items():
        page = boss.post(at("set-up-paste", name), {"rows": rows})
        assert page.status_code == 200, words(page)
        seen = page.content.decode().partition('name="seen" value="')[2].partition('"')[0]
        done = boss.post(at("set-up-paste", name), {"rows": rows, "seen": seen})
        assert done.status_code == 302, words(done)


def test_first_place_of_its_kind_needs_no_label(boss: Client) -> None:
    """Its key is what it is; a second one must be told from it."""
    posted = {"capacity_m3": "20", "deed": "save"}

    assert boss.post(at("set-up-new", "lanes"), posted).status_code == 302
    assert boss.post(at("set-up-new", "lanes"), posted).status_code == 422
    assert boss.get(at("set-up-entry", "lanes", "lane")).status_code == 200
