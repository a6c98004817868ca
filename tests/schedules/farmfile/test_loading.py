"""A farm file loaded, loaded again, changed, taken back: only what it names moves."""

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command

from crews.people.models import Worker
from crews.roster.models import CrewPens, Rotation
from equipment.barns.models import Pen
from equipment.parlor.models import MilkingStart
from equipment.site.models import Actor, Change, Place, Site
from equipment.site.queries import site_version
from schedules.farmfile.document import read_document, read_text
from schedules.farmfile.faults import BrokenFileError
from schedules.farmfile.loading import LoadReport
from schedules.farmfile.services import dump_site, load_site
from schedules.work.models import StandingOrder

HERE = Path(__file__).parent
SMALL = (HERE / "small.yaml").read_text()
AT = datetime(2026, 11, 25, 15, tzinfo=UTC)
LATER = AT + timedelta(days=1)

pytestmark = pytest.mark.django_db


def load(text: str = SMALL, *overlays: str, take_file: bool = False) -> LoadReport:
    return load_site(
        document=read_text(text.encode(), "farm.yaml"),
        overlays=[read_text(overlay.encode(), "overlay.yaml") for overlay in overlays],
        at=LATER if Site.objects.exists() else AT,
        take_file=take_file,
    )


def all_rows() -> dict[str, list[object]]:
    """Every row of the database but the framework's own, column by column."""
    models = [model for model in apps.get_models() if model._meta.app_label in APPS]
    return {m.__name__: list(m._default_manager.order_by("pk").values()) for m in models}


APPS = {"equipment", "crews", "schedules"}


def edited(before: str, after: str) -> str:
    assert SMALL.count(before) == 1
    return SMALL.replace(before, after)


def test_the_file_becomes_rows_in_every_room() -> None:
    report = load()

    pen = Pen.objects.get(place__key="pen-2")
    assert (pen.n_cows, pen.walk_m, pen.place.x_m, pen.clear_min) == (90, 120.5, 60, 4)
    ada = Worker.objects.get(key="ada")
    assert (ada.actor.name, ada.crew and ada.crew.key) == ("Ada Testwell", "early")
    assert {held.skill.key for held in ada.skills.all()} == {"beds", "loader"}
    assert Place.objects.get(key="alley-back").drains_to == Place.objects.get(key="alley-1")
    assert list(MilkingStart.objects.values_list("slot", flat=True)) == [1, 2]
    assert StandingOrder.objects.get(key="groom").name == "Groom beds"
    assert report.created["pens"] == 2
    assert not report.kept_by_hand


def test_loading_twice_changes_no_row_and_no_version() -> None:
    load()
    before = all_rows()

    assert load().is_empty
    assert all_rows() == before


def test_dump_is_a_fixed_point() -> None:
    load()
    site = Site.objects.get()
    text = dump_site(site=site, at=AT)
    before = all_rows()

    report = load(text)

    assert report.is_empty
    assert not report.kept_by_hand
    assert all_rows() == before
    assert dump_site(site=site, at=AT) == text


def test_a_dump_makes_the_same_farm_elsewhere() -> None:
    load()
    text = dump_site(site=Site.objects.get(), at=AT)

    load(text.replace("slug: small", "slug: twin"))

    twin = dump_site(site=Site.objects.get(slug="twin"), at=AT)
    assert twin == text.replace("slug: small", "slug: twin")


def test_a_changed_file_moves_only_what_it_names() -> None:
    load()
    before = all_rows()

    report = load(edited("n_cows: 90", "n_cows: 95"))

    after = all_rows()
    moved = {name for name, rows in after.items() if rows != before[name]}
    assert report.changed == {"pens": 1}
    assert Pen.objects.get(place__key="pen-2").n_cows == 95
    assert moved == {"Pen", "LoadedEntry", "SiteVersion", "Change", "TaskRun"}


def test_what_the_file_no_longer_names_is_retired_and_kept() -> None:
    load()

    report = load(edited("  - {key: bo, name: Bo Trialson, crew: late}\n", ""))

    bo = Worker.objects.get(key="bo")
    assert report.retired == {"workers": 1}
    assert bo.retired_at == LATER
    assert Actor.objects.filter(id=bo.actor_id).exists()


def test_what_comes_back_into_the_file_is_in_use_again() -> None:
    load()
    load(edited("  - {key: bo, name: Bo Trialson, crew: late}\n", ""))

    report = load(edited("Bo Trialson", "Bo Trialson-Again"))

    bo = Worker.objects.get(key="bo")
    assert report.changed == {"workers": 1}
    assert (bo.retired_at, bo.name, bo.actor.name) == (None, *["Bo Trialson-Again"] * 2)


def test_a_turn_no_longer_named_ends_while_its_worker_stays() -> None:
    load()
    start = SMALL.index("rotations:")
    end = SMALL.index("crew_pens:")

    load(SMALL[:start] + SMALL[end:])

    assert not Rotation.objects.exists()
    assert Worker.objects.get(key="ada").retired_at is None


def test_what_was_changed_by_hand_is_listed_and_kept() -> None:
    load()
    Pen.objects.filter(place__key="pen-2").update(n_cows=93)

    report = load(edited("n_cows: 90, walk_m: 120.5", "n_cows: 88, walk_m: 121"))

    pen = Pen.objects.get(place__key="pen-2")
    [kept] = report.kept_by_hand
    assert (kept.section, kept.key, kept.field) == ("pens", "pen-2", "n_cows")
    assert (kept.in_file, kept.now) == (88, 93)
    assert (pen.n_cows, pen.walk_m) == (93, 121)  # the other field follows the file


def test_it_is_listed_again_at_the_next_load_until_the_file_agrees() -> None:
    load()
    Pen.objects.filter(place__key="pen-2").update(n_cows=93)
    load()

    assert [kept.field for kept in load().kept_by_hand] == ["n_cows"]
    assert load(edited("n_cows: 90", "n_cows: 93")).kept_by_hand == []


def test_take_file_puts_the_file_above_the_hand() -> None:
    load()
    Pen.objects.filter(place__key="pen-2").update(n_cows=93)

    report = load(take_file=True)

    assert report.changed == {"pens": 1}
    assert Pen.objects.get(place__key="pen-2").n_cows == 90


def test_what_was_retired_by_hand_stays_retired_and_is_listed() -> None:
    load()
    Worker.objects.filter(key="bo").update(retired_at=AT)

    report = load()

    assert [(kept.key, kept.field) for kept in report.kept_by_hand] == [("bo", "retired")]
    assert Worker.objects.get(key="bo").retired_at == AT


def test_what_was_made_by_hand_is_left_alone_and_dumped() -> None:
    load()
    site = Site.objects.get()
    actor = Actor.objects.create(site=site, kind="person", key="cy", name="Cy Handmade")
    Worker.objects.create(site=site, key="cy", name="Cy Handmade", actor=actor)

    assert load().is_empty
    assert "Cy Handmade" in dump_site(site=site, at=AT)


def test_what_was_changed_by_hand_is_not_retired_either() -> None:
    load()
    Worker.objects.filter(key="bo").update(language="en")

    report = load(edited("  - {key: bo, name: Bo Trialson, crew: late}\n", ""))

    assert [(kept.key, kept.field) for kept in report.kept_by_hand] == [("bo", "retired")]
    assert Worker.objects.get(key="bo").retired_at is None


def test_a_pen_moves_from_one_crew_to_another_in_either_order() -> None:
    load()
    both = edited("pens: [pen-2, pen-1]}", "pens: [pen-1]}").replace(
        "crew_pens:\n", "crew_pens:\n  - {crew: late, pattern: day, pens: [pen-2]}\n"
    )

    load(both)

    crews = CrewPens.objects.order_by("pen__place__key").values_list("pen__place__key", "crew__key")
    assert list(crews) == [("pen-1", "early"), ("pen-2", "late")]


def test_fewer_milkings_leave_fewer_starts() -> None:
    load()

    load(edited('["05:00", "17:00"]', '["06:00"]'))

    assert [str(start.starts_local) for start in MilkingStart.objects.all()] == ["06:00:00"]


def test_an_edited_standing_order_counts_its_edit_and_tells_of_it() -> None:
    load()
    order = StandingOrder.objects.get(key="groom")

    load(edited("per_stall_min: 0.1", "per_stall_min: 0.2"))

    order.refresh_from_db()
    assert order.version == 2
    told = Change.objects.filter(topic="standing_order.edited")
    assert [change.subject_id for change in told] == [str(order.pk)]


def test_a_key_that_was_another_kind_of_place_is_refused() -> None:
    load()
    moved = edited("  - {key: office, kind: site, label: Office}\n", "").replace(
        "tanks:\n", "tanks:\n  - {key: office, volume_m3: 5, refill_m3_h: 1}\n"
    )
    before = all_rows()

    with pytest.raises(BrokenFileError, match="was the key of a site here") as caught:
        load(moved)
    assert caught.value.faults[0].path == "tanks[0].key"
    assert all_rows() == before


def test_a_dry_run_says_all_and_changes_nothing() -> None:
    load()
    before = all_rows()

    report = load_site(
        document=read_text(edited("n_cows: 90", "n_cows: 95").encode(), "farm.yaml"),
        at=LATER,
        dry_run=True,
    )

    assert report.changed == {"pens": 1}
    assert all_rows() == before


def test_a_dry_run_of_a_new_farm_leaves_no_site() -> None:
    load_site(document=read_text(SMALL.encode(), "farm.yaml"), at=AT, dry_run=True)

    assert not Site.objects.exists()


def test_an_overlay_changes_only_what_it_names() -> None:
    load()

    report = load(SMALL, "pens:\n  - {key: pen-2, n_cows: 70}\n")

    pen = Pen.objects.get(place__key="pen-2")
    assert (report.created, report.changed, report.retired) == ({}, {"pens": 1}, {})
    assert (pen.n_cows, pen.walk_m) == (70, 120.5)


def test_an_overlay_drops_and_adds() -> None:
    load()

    report = load(
        SMALL,
        "workers:\n  - {key: bo, drop: true}\n  - {key: di, name: Di Overlaid}\n"
        "sand_practice: {cure_d: 50}\n",
    )

    assert (report.created, report.retired) == ({"workers": 1}, {"workers": 1})
    assert report.changed == {"sand_practice": 1}


def test_without_the_overlay_the_farm_is_as_its_file_says() -> None:
    load()
    text = dump_site(site=Site.objects.get(), at=AT)
    load(SMALL, "pens:\n  - {key: pen-2, n_cows: 70}\nworkers:\n  - {key: bo, drop: true}\n")

    load()

    assert dump_site(site=Site.objects.get(), at=AT) == text


def test_an_overlay_may_only_drop_what_is_there() -> None:
    with pytest.raises(BrokenFileError, match="drops nobody, which is not there"):
        load(SMALL, "workers:\n  - {key: nobody, drop: true}\n")


def test_faults_of_an_overlay_name_its_own_lines() -> None:
    with pytest.raises(BrokenFileError) as caught:
        load(SMALL, "# a line\npens:\n  - {key: pen-2, n_cows: many}\n")

    assert str(caught.value).startswith("overlay.yaml:3: pens[0].n_cows = many must be")


def test_a_change_moves_the_version_once() -> None:
    load()
    site = Site.objects.get()
    before = site_version(site.pk)

    load(edited("n_cows: 90", "n_cows: 95").replace("cure_d: 45", "cure_d: 46"))

    assert site_version(site.pk) == before + 1
    told = Change.objects.filter(version=before + 1).values_list("topic", flat=True)
    assert list(told) == ["farm.loaded"]


def test_two_farms_do_not_touch_each_other() -> None:
    load()
    load(SMALL.replace("slug: small", "slug: twin").replace("n_cows: 90", "n_cows: 1"))

    assert load().is_empty
    assert Pen.objects.get(place__key="pen-2", site__slug="small").n_cows == 90


def test_dates_and_numbers_come_back_as_they_were_written() -> None:
    load()

    assert Worker.objects.get(key="ada").started_on == date(2020, 1, 1)
    assert "walk_m: 120.5" in dump_site(site=Site.objects.get(), at=AT)


@pytest.fixture
def farm_file(tmp_path: Path) -> Callable[[str], Path]:
    def write(text: str) -> Path:
        path = tmp_path / "farm.yaml"
        path.write_text(text)
        return path

    return write


def test_the_command_says_what_it_did(farm_file: Callable[[str], Path]) -> None:
    out = StringIO()
    call_command("load_site", farm_file(SMALL), stdout=out)
    call_command("load_site", farm_file(SMALL), stdout=out)

    assert "new: 2 alleys" in out.getvalue()
    assert out.getvalue().endswith("small:\nnothing to change\n")


def test_the_command_tells_faults_as_json(farm_file: Callable[[str], Path]) -> None:
    out = StringIO()
    with pytest.raises(CommandError, match="Nothing was changed: 1 faults"):
        call_command(
            "load_site", farm_file(edited("n_cows: 90", "n_cows: -1")), json=True, stdout=out
        )

    [fault] = json.loads(out.getvalue())["faults"]
    assert (fault["path"], fault["value"]) == ("pens[1].n_cows", -1)


def test_the_command_refuses_the_file_of_another_site(farm_file: Callable[[str], Path]) -> None:
    with pytest.raises(CommandError, match=r"site\.slug is not three-cairns"):
        call_command("load_site", farm_file(SMALL), site="three-cairns")
    assert not Site.objects.exists()


def test_the_command_tells_what_a_file_may_hold() -> None:
    out = StringIO()
    call_command("load_site", fields=True, stdout=out)

    assert "walk_m                     number > 0 <= 3000" in out.getvalue()


def test_dump_site_names_the_sites_there_are() -> None:
    load()
    with pytest.raises(CommandError, match=r"no site big\. Known: small"):
        call_command("dump_site", "big")


def test_dump_site_writes_a_file_that_loads(farm_file: Callable[[str], Path]) -> None:
    load()
    out = StringIO()
    call_command("dump_site", "small", stdout=out)

    document = read_document(farm_file(out.getvalue()))
    assert load_site(document=document, at=LATER).is_empty
