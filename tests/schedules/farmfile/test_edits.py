"""Facts changed by hand: only they move, a later load keeps them, and each can be undone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import yaml

from crews.roster.models import Rotation
from equipment.barns.models import Pen
from equipment.site.models import Actor, ActorKind, Change, Place, Site
from schedules.farmfile.document import read_text
from schedules.farmfile.edits import (
    Asked,
    ChangedSinceError,
    Edited,
    LookedAtOtherError,
    UndoneBeforeError,
    edit_farm,
    load_file,
    mark_of,
    undo_edit,
)
from schedules.farmfile.faults import BrokenFileError
from schedules.farmfile.models import FarmEdit, HowEdited, LoadedEntry
from schedules.farmfile.registry import all_sections
from schedules.farmfile.services import dump_site, load_site

SMALL = (Path(__file__).parent / "small.yaml").read_text()
AT = datetime(2026, 11, 25, 15, tzinfo=UTC)
LATER = AT + timedelta(days=1)

pytestmark = pytest.mark.django_db


@pytest.fixture
def site() -> Site:
    load_site(document=read_text(SMALL.encode(), "farm.yaml"), at=AT)
    return Site.objects.get()


@pytest.fixture
def who(site: Site) -> dict[str, Any]:
    by = Actor.objects.create(site=site, kind=ActorKind.PERSON, key="mia", name="Mia")
    return {"site_id": site.pk, "by": by, "at": LATER}


def entry(site: Site, section: str, key: str) -> dict[str, Any]:
    entries = yaml.safe_load(dump_site(site=site, at=AT))[section]
    return next(each for each in entries if each.get("key") == key)


def change(who: dict[str, Any], section: str, key: str, **given: Any) -> Edited:
    return edit_farm(asked=[Asked(section, key, given, is_part=True)], **who)


def load(text: str = SMALL, **how: Any) -> Any:
    return load_site(document=read_text(text.encode(), "farm.yaml"), at=LATER, **how)


def test_a_change_moves_its_entry_alone_and_is_kept(site: Site, who: dict[str, Any]) -> None:
    before = dump_site(site=site, at=AT)

    edited = change(who, "pens", "pen-2", n_cows=95)

    assert Pen.objects.get(place__key="pen-2").n_cows == 95
    assert dump_site(site=site, at=AT) == before.replace("n_cows: 90", "n_cows: 95")
    edit = FarmEdit.objects.get()
    assert edit == edited.edit
    assert (edit.by.name, edit.made_at, edit.how) == ("Mia", LATER, HowEdited.FORM)
    [kept] = edit.entries
    assert (kept["section"], kept["key"]) == ("pens", "pen-2")
    assert (kept["before"]["n_cows"], kept["after"]["n_cows"]) == (90, 95)
    told = Change.objects.filter(at=LATER)
    assert [(c.topic, c.detail) for c in told] == [("farm.loaded", {"sections": ["pens"]})]


def test_what_changes_nothing_leaves_nothing_behind(site: Site, who: dict[str, Any]) -> None:
    assert change(who, "pens", "pen-2", n_cows=90).edit is None
    assert not FarmEdit.objects.exists()
    assert not Change.objects.filter(at=LATER).exists()


def test_a_later_load_of_the_same_file_keeps_and_lists_it(site: Site, who: dict[str, Any]) -> None:
    change(who, "pens", "pen-2", n_cows=95)
    edit_farm(asked=[Asked("workers", "bo", None)], **who)

    report = load()

    assert [(k.section, k.key, k.field, k.in_file, k.now) for k in report.kept_by_hand] == [
        ("pens", "pen-2", "n_cows", 90, 95),
        ("workers", "bo", "retired", False, True),
    ]
    assert Pen.objects.get(place__key="pen-2").n_cows == 95


def test_what_the_file_alone_holds_is_kept_by_a_later_load_too(
    site: Site, who: dict[str, Any]
) -> None:
    change(who, "invented_weather", "invented_weather", seed=8)

    report = load()

    assert [(k.section, k.field, k.now) for k in report.kept_by_hand] == [
        ("invented_weather", "seed", 8)
    ]
    assert yaml.safe_load(dump_site(site=site, at=AT))["invented_weather"] == {"seed": 8}
    assert load(take_file=True).changed == {"invented_weather": 1}


def test_what_the_last_file_said_stays(site: Site, who: dict[str, Any]) -> None:
    said = list(LoadedEntry.objects.order_by("pk").values("section", "key", "value"))

    change(who, "pens", "pen-2", n_cows=95)
    edit_farm(asked=[Asked("walk_lines", "yard-lights", None)], **who)
    change(who, "pens", "pen-3", **PEN)

    assert list(LoadedEntry.objects.order_by("pk").values("section", "key", "value")) == said


PEN = {"kind": "milking", "n_cows": 10, "walk_m": 90, "milking_rank": 3, "label": "3"}


def test_an_entry_is_made_taken_out_of_use_and_brought_back(
    site: Site, who: dict[str, Any]
) -> None:
    before = dump_site(site=site, at=AT)

    made = edit_farm(asked=[Asked("pens", "pen-3", PEN, is_new=True)], **who)
    assert entry(site, "pens", "pen-3")["n_cows"] == 10
    edit_farm(asked=[Asked("pens", "pen-3", None)], **who)
    assert dump_site(site=site, at=AT) == before
    assert Place.objects.get(key="pen-3").retired_at == LATER
    edit_farm(asked=[Asked("pens", "pen-3", {}, is_part=True)], **who)
    assert entry(site, "pens", "pen-3")["n_cows"] == 10

    assert [(m.before is None, m.after is None) for m in made.moved] == [(True, False)]


@pytest.mark.parametrize("state", ["in use", "retired"])
def test_a_new_entry_needs_a_key_of_its_own(state: str, site: Site, who: dict[str, Any]) -> None:
    edit_farm(asked=[Asked("pens", "pen-3", PEN, is_new=True)], **who)
    if state == "retired":
        edit_farm(asked=[Asked("pens", "pen-3", None)], **who)

    with pytest.raises(BrokenFileError) as refused:
        edit_farm(asked=[Asked("pens", "pen-3", PEN, is_new=True)], **who)

    assert [fault.path for fault in refused.value.faults] == ["asked[0].key"]


def test_faults_name_the_field_and_nothing_is_written(site: Site, who: dict[str, Any]) -> None:
    before = dump_site(site=site, at=AT)

    with pytest.raises(BrokenFileError) as refused:
        edit_farm(
            asked=[
                Asked("pens", "pen-2", {"n_cows": 95}, is_part=True),
                Asked("pens", "pen-1", {"walk_m": 0, "drains_to": "nowhere"}, is_part=True),
            ],
            **who,
        )

    assert {fault.path for fault in refused.value.faults} == {
        "asked[1].walk_m",
        "asked[1].drains_to",
    }
    assert dump_site(site=site, at=AT) == before


def test_what_others_rest_on_is_not_taken_out(site: Site, who: dict[str, Any]) -> None:
    with pytest.raises(BrokenFileError) as refused:
        edit_farm(asked=[Asked("crews", "late", None)], **who)

    assert [fault.path for fault in refused.value.faults] == ["workers.bo.crew"]


def test_a_fault_that_the_farm_had_before_stands_in_nobodys_way(
    site: Site, who: dict[str, Any]
) -> None:
    Pen.objects.filter(place__key="pen-1").update(return_hold_min=0)

    change(who, "pens", "pen-2", n_cows=95)

    with pytest.raises(BrokenFileError):
        change(who, "pens", "pen-1", n_cows=95)


def test_two_entries_may_take_each_others_place(site: Site, who: dict[str, Any]) -> None:
    ranks = {"pen-1": 2, "pen-2": 1}
    asked = [Asked("pens", key, {"milking_rank": n}, is_part=True) for key, n in ranks.items()]

    edit_farm(asked=asked, **who)

    assert {p.place.key: p.milking_rank for p in Pen.objects.all()} == ranks


def test_who_saw_another_state_overwrites_nothing(site: Site, who: dict[str, Any]) -> None:
    seen = mark_of(
        all_sections()["pens"].rows.read(_farm(site), all_sections()["pens"])["pen-2"].values
    )
    change(who, "pens", "pen-2", n_cows=95)

    with pytest.raises(ChangedSinceError):
        edit_farm(asked=[Asked("pens", "pen-2", {"n_cows": 80}, is_part=True, base=seen)], **who)

    assert Pen.objects.get(place__key="pen-2").n_cows == 95


def _farm(site: Site) -> Any:
    from equipment.site.farmrows import Farm

    return Farm(site, all_sections(), AT)


def test_a_look_writes_nothing_and_what_differs_from_it_is_refused(
    site: Site, who: dict[str, Any]
) -> None:
    asked = [Asked("pens", "pen-2", {"n_cows": 95}, is_part=True)]
    before = dump_site(site=site, at=AT)
    look = edit_farm(asked=asked, dry_run=True, **who)
    assert (dump_site(site=site, at=AT), FarmEdit.objects.count()) == (before, 0)
    change(who, "pens", "pen-2", label="two")

    with pytest.raises(LookedAtOtherError):
        edit_farm(asked=asked, seen=look.mark, **who)

    assert Pen.objects.get(place__key="pen-2").n_cows == 90


def test_an_undo_puts_all_back_and_is_a_change_itself(site: Site, who: dict[str, Any]) -> None:
    before = dump_site(site=site, at=AT)
    edited = edit_farm(
        asked=[
            Asked("pens", "pen-2", {"n_cows": 95}, is_part=True),
            Asked("pens", "pen-3", PEN),
            Asked("rotations", "ada", None),
            Asked("sand_practice", "sand_practice", {"cure_d": 50}),
        ],
        **who,
    )
    assert edited.edit is not None
    assert not Rotation.objects.exists()

    undone = undo_edit(edit_id=edited.edit.pk, **who)

    assert dump_site(site=site, at=AT) == before
    assert undone.edit is not None
    assert (undone.edit.how, undone.edit.undoes_id) == (HowEdited.UNDO, edited.edit.pk)
    undo_edit(edit_id=undone.edit.pk, **who)
    assert entry(site, "pens", "pen-2")["n_cows"] == 95


def test_an_undo_is_refused_where_something_changed_since(site: Site, who: dict[str, Any]) -> None:
    first = change(who, "pens", "pen-2", n_cows=95).edit
    change(who, "pens", "pen-2", label="two")
    assert first is not None

    with pytest.raises(ChangedSinceError) as refused:
        undo_edit(edit_id=first.pk, **who)

    assert refused.value.found == [("pens", "pen-2")]


def test_a_change_is_undone_once(site: Site, who: dict[str, Any]) -> None:
    first = change(who, "pens", "pen-2", n_cows=95).edit
    assert first is not None
    undo_edit(edit_id=first.pk, **who)
    change(who, "pens", "pen-2", n_cows=95)

    with pytest.raises(UndoneBeforeError):
        undo_edit(edit_id=first.pk, **who)


def file_of(text: str) -> Any:
    return read_text(text.encode(), "farm.yaml")


def test_a_whole_file_is_one_change_that_can_be_undone(site: Site, who: dict[str, Any]) -> None:
    before = dump_site(site=site, at=AT)
    text = SMALL.replace("n_cows: 90", "n_cows: 95").replace(
        "  - {key: bo, name: Bo Trialson, crew: late}\n", ""
    )

    edited = load_file(document=file_of(text), take_file=False, **who)

    assert [(m.section, m.key) for m in edited.moved] == [("pens", "pen-2"), ("workers", "bo")]
    assert edited.edit is not None
    undo_edit(edit_id=edited.edit.pk, **who)
    assert dump_site(site=site, at=AT) == before


def test_the_farms_own_dump_loaded_changes_nothing(site: Site, who: dict[str, Any]) -> None:
    change(who, "pens", "pen-2", n_cows=95)
    text = dump_site(site=site, at=AT)

    edited = load_file(document=file_of(text), take_file=True, **who)

    assert (edited.moved, edited.edit, edited.report.is_empty) == ([], None, True)


@pytest.mark.parametrize("take_file", [True, False])
def test_a_file_keeps_what_was_set_by_hand_unless_told(
    take_file: bool, site: Site, who: dict[str, Any]
) -> None:
    change(who, "pens", "pen-2", n_cows=95)

    edited = load_file(document=file_of(SMALL), take_file=take_file, **who)

    assert Pen.objects.get(place__key="pen-2").n_cows == (90 if take_file else 95)
    assert len(edited.report.kept_by_hand) == (0 if take_file else 1)


def test_a_file_of_another_farm_is_refused_and_makes_none(site: Site, who: dict[str, Any]) -> None:
    with pytest.raises(BrokenFileError) as refused:
        load_file(
            document=file_of(SMALL.replace("slug: small", "slug: other")), take_file=True, **who
        )

    assert [fault.path for fault in refused.value.faults] == ["site.slug"]
    assert Site.objects.count() == 1
