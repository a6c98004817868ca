"""Set up, many at once: rows from a spreadsheet and whole files, looked at and then taken in."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from crews.people.models import Worker
from equipment.barns.models import Pen
from equipment.site.models import Role, Site
from schedules.farmfile.document import read_text
from schedules.farmfile.models import FarmEdit, HowEdited
from schedules.farmfile.services import dump_site, load_site
from tests.factories import make_user

from .conftest import NOW, sign_in
from .reading import rows, url, words

pytestmark = pytest.mark.django_db
SMALL = (Path(__file__).parents[1] / "farmfile" / "small.yaml").read_text()


@pytest.fixture
def site() -> Site:
    load_site(document=read_text(SMALL.encode(), "farm.yaml"), at=NOW)
    site = Site.objects.get()
    make_user(Role.MANAGER, site)
    return site


@pytest.fixture
def boss(site: Site) -> Client:
    return sign_in(f"{Role.MANAGER}-small")


def at(name: str, *args: object) -> str:
    return url(name, *args, slug="small")


def dump(site: Site) -> str:
    return dump_site(site=Site.objects.get(pk=site.pk), at=NOW)


def seen_in(response: Any) -> str:
    found = re.search(r'name="seen" value="(\w+)"', response.content.decode())
    assert found, words(response)
    return found[1]


def look(boss: Client, section: str, text: str, **more: str) -> Any:
    return boss.post(at("set-up-paste", section), {"rows": text, **more})


def take(boss: Client, section: str, text: str) -> Any:
    looked = look(boss, section, text)
    assert looked.status_code == 200, words(looked)
    return look(boss, section, text.replace("\n", "\r\n"), seen=seen_in(looked))


NEW_PEN = "key\tlabel\tkind\tn_cows\twalk_m\tmilking_rank\npen-3\t3\tmilking\t1,250\t90.5\t3\n"


# Rows -------------------------------------------------------------------------------------------


def test_rows_are_looked_at_then_taken_in_and_undone_as_one(site: Site, boss: Client) -> None:
    before = dump(site)
    text = f"{NEW_PEN}pen-2\tTwo\t\t95\t\t\n"

    looked = look(boss, "pens", text)

    assert "1 new, 1 changed, 0 out of use." in words(looked)
    assert "Cows in milk: 90 → 95" in words(looked)
    assert ["2", "pen-3", "pen-3", "3", "milking", "1,250", "90.5", "3"] in rows(
        looked.content.decode()
    )
    assert dump(site) == before
    taken = look(boss, "pens", text, seen=seen_in(looked))
    assert taken.status_code == 302
    assert {p.place.key: (p.n_cows, p.walk_m, p.place.label) for p in Pen.objects.all()} == {
        "pen-1": (40, 80, "1"),
        "pen-2": (95, 120.5, "Two"),
        "pen-3": (1250, 90.5, "3"),
    }
    edit = FarmEdit.objects.get()
    assert edit.how == HowEdited.ROWS
    boss.post(at("undo-edit", edit.pk))
    assert dump(site) == before


@pytest.mark.parametrize(
    "head",
    [
        "key\tn_cows",
        "Key\tCows in milk",
        "KEY\tcows  in milk",
        "Clave\tVacas en leche",
        "key,n_cows",
    ],
)
def test_headings_are_keys_or_words_of_either_language(head: str, site: Site, boss: Client) -> None:
    sign = "\t" if "\t" in head else ","

    response = take(boss, "pens", f"{head}\npen-2{sign}95\n")

    assert response.status_code == 302
    assert Pen.objects.get(place__key="pen-2").n_cows == 95


@pytest.mark.parametrize(
    ("head", "cell"), [("walk_m", "820 ft"), ("Way to the parlor (ft)", "820")]
)
def test_a_unit_stands_in_the_heading_or_the_cell(
    head: str, cell: str, site: Site, boss: Client
) -> None:
    """820 ft of 0.3048 m (NIST SP 811, appendix B.8)."""
    take(boss, "pens", f"key\t{head}\npen-2\t{cell}\n")

    assert Pen.objects.get(place__key="pen-2").walk_m == pytest.approx(249.936)


def test_faults_are_told_by_row_and_column_and_nothing_is_taken(site: Site, boss: Client) -> None:
    before = dump(site)
    text = "key\tn_cows\twalk_m\npen-1\t1.250\t80\npen-2\t90\t12,5\n"

    response = look(boss, "pens", text)

    assert response.status_code == 422
    table = rows(response.content.decode())
    assert ["2", "pen-1", "pen-1", f"1.250 {TWO_WAYS}", "80"] in table
    assert ["3", "pen-2", "pen-2", "90", f"12,5 {TWO_WAYS}"] in table
    assert "pen-1\t1.250\t80" in response.content.decode()
    assert dump(site) == before


TWO_WAYS = "could be meant in two ways. Write 1250.5 or 1,250."


def test_what_the_file_would_refuse_is_told_at_its_cell(site: Site, boss: Client) -> None:
    response = look(boss, "pens", "key\tlabel\tn_cows\npen-2\tx\t5001\npen-9\t9\t10\n")

    assert response.status_code == 422
    table = rows(response.content.decode())
    assert "must be at most 5000" in next(row for row in table if "pen-2" in row)[4]
    said = next(" ".join(row) for row in table if "pen-9" in row)
    assert "What cows live here is missing" in said


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "Paste a line of headings"),
        ("key\tn_cows", "Paste a line of headings"),
        ("key\tcolour\npen-1\tred", "No such column: “colour”."),
        ("key\tn_cows\tCows in milk\npen-1\t1\t2", "Two columns say the same"),
        ("key (ft)\npen-1", "No such column"),
    ],
)
def test_what_is_no_table_says_so(text: str, why: str, site: Site, boss: Client) -> None:
    response = look(boss, "pens", text)

    assert response.status_code == 422
    assert why in words(response)


def test_what_moved_since_the_look_is_looked_at_again(site: Site, boss: Client) -> None:
    text = "key\tn_cows\npen-2\t95\n"
    seen = seen_in(look(boss, "pens", text))
    take(boss, "pens", "key\tn_cows\npen-2\t91\n")

    response = look(boss, "pens", text, seen=seen)

    assert response.status_code == 409
    assert "Look again" in words(response)
    assert "Cows in milk: 91 → 95" in words(response)
    assert Pen.objects.get(place__key="pen-2").n_cows == 91


def test_people_and_machines_and_lists_come_by_rows_too(site: Site, boss: Client) -> None:
    before = dump(site)
    take(boss, "workers", "name\tcrew\trole\nEve Sample\tearly\tlead\n")
    take(boss, "machines", "key,name,kind,home\nloader-2,Loader 2,loader,yard\n")
    take(boss, "lanes", "key\tscoops_local\nlane\t05:00; 13:00\n")
    take(boss, "walk_lines", "key\ttext.en\tstand\tposition\nyard-lights\tAll lights\t\t\n")

    said = dump(site)
    assert "{key: eve-sample, name: Eve Sample, crew: early, role: lead}" in said
    assert "loader-2" in said
    assert "scoops_local: ['05:00', '13:00']" in said
    assert "{en: All lights, es: Luces encendidas}" in said
    for edit in FarmEdit.objects.order_by("-pk"):
        boss.post(at("undo-edit", edit.pk))
    assert dump(site) == before


def test_a_row_twice_is_refused(site: Site, boss: Client) -> None:
    response = look(boss, "pens", "key\tn_cows\npen-2\t95\npen-2\t96\n")

    assert response.status_code == 422
    assert "stands twice" in words(response)


# Files ------------------------------------------------------------------------------------------


def upload(boss: Client, content: bytes, **more: str) -> Any:
    file = SimpleUploadedFile("mine.yaml", content)
    return boss.post(at("set-up-load"), {"file": file, "by_hand": "keep", **more})


def posted_text(response: Any) -> dict[str, str]:
    """What the button below a look posts, as a browser does."""
    html = response.content.decode()
    found = re.search(
        r'<textarea name="text" hidden aria-hidden="true">\n(.*?)</textarea>', html, re.S
    )
    assert found
    text = found[1].replace("&quot;", '"').replace("&#x27;", "'").replace("&amp;", "&")
    kept = re.search(r'type="hidden" name="by_hand" value="(\w+)"', html)
    assert kept
    return {
        "text": text.replace("\n", "\r\n"),
        "seen": seen_in(response),
        "by_hand": kept[1],
        "name": "mine.yaml",
    }


def test_the_downloaded_file_loaded_changes_nothing(site: Site, boss: Client) -> None:
    take(boss, "pens", NEW_PEN)
    answer = boss.get(at("set-up-file"))
    assert answer["Content-Disposition"] == 'attachment; filename="small.yaml"'
    assert answer.content.decode() == dump(site)

    looked = upload(boss, answer.content, by_hand="overwrite")
    loaded = boss.post(at("set-up-load"), posted_text(looked), follow=True)

    assert "It would change nothing." in words(looked)
    assert "Nothing was different." in words(loaded)
    assert dump(site) == answer.content.decode()


def test_a_file_is_looked_at_then_loaded_as_it_was_and_undone(site: Site, boss: Client) -> None:
    before = dump(site)
    changed = SMALL.replace("n_cows: 90", "n_cows: 95").replace(
        "  - {key: bo, name: Bo Trialson, crew: late}\n", ""
    )

    looked = upload(boss, changed.encode())

    assert "mine.yaml: 0 new, 1 changed, 1 out of use." in words(looked)
    assert dump(site) == before
    loaded = boss.post(at("set-up-load"), posted_text(looked), follow=True)
    assert "2 entries were taken in." in words(loaded)
    assert Pen.objects.get(place__key="pen-2").n_cows == 95
    edit = FarmEdit.objects.get()
    assert edit.how == HowEdited.FILE
    boss.post(at("undo-edit", edit.pk))
    assert dump(site) == before


def test_what_was_set_by_hand_is_kept_or_overwritten_as_chosen(site: Site, boss: Client) -> None:
    take(boss, "pens", "key\tn_cows\npen-2\t95\n")

    kept = upload(boss, SMALL.encode())
    other = upload(boss, SMALL.encode(), by_hand="overwrite")

    assert "Lot · pen-2 · Cows in milk: 95 (file: 90)" in words(kept)
    assert "Cows in milk: 95 → 90" in words(other)
    boss.post(at("set-up-load"), posted_text(other))
    assert Pen.objects.get(place__key="pen-2").n_cows == 90


@pytest.mark.parametrize(
    ("content", "status", "why"),
    [
        (b"", 400, "Choose a file that is not empty."),
        (b"\xff\xfe\x00", 400, "mine.yaml is no text"),
        (b"a\x00b", 422, "is no YAML"),
        (b"- just\n- a list", 422, "holds no sections"),
        (b"site: {slug: [", 422, "is no YAML"),
        (b"x" * 1_000_001, 400, "The file is larger than 1 MB."),
        (SMALL.replace("slug: small", "slug: other").encode(), 422, "is not this farm"),
        (b"pens: []", 422, "is not this farm"),
        (SMALL.replace("n_cows: 90", "n_cows: 5001").encode(), 422, "must be at most 5000"),
        (SMALL.replace("n_cows: 90", "n_cow: 90").encode(), 422, "Did you mean n_cows?"),
    ],
)
def test_a_file_that_cannot_be_loaded_says_why_and_changes_nothing(
    content: bytes, status: int, why: str, site: Site, boss: Client
) -> None:
    before = dump(site)

    response = upload(boss, content)

    assert response.status_code == status
    assert why in words(response)
    assert "Nothing was changed." in words(response)
    assert dump(site) == before
    assert Site.objects.count() == 1


def test_a_fault_of_a_file_names_its_line(site: Site, boss: Client) -> None:
    line = next(n for n, text in enumerate(SMALL.splitlines(), 1) if "n_cows: 90" in text)

    response = upload(boss, SMALL.replace("n_cows: 90", "n_cows: 5001").encode())

    assert f"Line {line}: pens[1].n_cows = 5001 must be at most 5000." in words(response)


def test_a_farm_that_moved_since_the_look_is_looked_at_again(site: Site, boss: Client) -> None:
    looked = upload(boss, SMALL.replace("n_cows: 90", "n_cows: 95").encode())
    take(boss, "pens", "key\tlabel\npen-2\tTwo\n")

    response = boss.post(at("set-up-load"), posted_text(looked))

    assert response.status_code == 409
    assert "Look again" in words(response)
    assert Pen.objects.get(place__key="pen-2").n_cows == 90


# As people write them ----------------------------------------------------------------------------

PERSON = "Name\tcrew\tskills\n"


def skills_of(site: Site, key: str) -> list[tuple[str, str, str]]:
    held = Worker.objects.get(site=site, key=key).skills.order_by("pk")
    return [(s.skill.key, str(s.from_on), str(s.until_on)) for s in held.select_related("skill")]


def test_cells_may_say_what_people_call_a_choice_or_another_entry(site: Site, boss: Client) -> None:
    take(boss, "skills", "name\nBeds by hand\nCattle")
    take(boss, "crews", "name\nDay crew")

    take(
        boss,
        "workers",
        f"{PERSON}Mara Quell\tDAY  crew\tBeds by hand 2024-01-01; cattle 2024-03-01 2027-03-01",
    )

    assert skills_of(site, "mara-quell") == [
        ("beds-by-hand", "2024-01-01", "None"),
        ("cattle", "2024-03-01", "2027-03-01"),
    ]
    assert Worker.objects.get(site=site, key="mara-quell").crew.key == "day-crew"  # type: ignore[union-attr]


@pytest.mark.parametrize("said", ["Hospital", "hospital", "Hospital "])
def test_headings_and_choices_are_read_whatever_their_case(
    said: str, site: Site, boss: Client
) -> None:
    take(boss, "pens", f"Label\tKind\tN cows\tWALK_M\tMilking rank\n44\t{said}\t20\t90\t9")

    pen = Pen.objects.get(site=site, place__key="pen-44")
    assert (pen.kind, pen.n_cows) == ("hospital", 20)


def test_what_two_are_called_only_its_key_tells(site: Site, boss: Client) -> None:
    take(boss, "crews", "key\tname\nwest\tDay crew\neast\tDay crew")

    unclear = look(boss, "workers", "name\tcrew\nMara Quell\tDay crew")
    assert unclear.status_code == 422
    take(boss, "workers", "name\tcrew\nMara Quell\teast")


@pytest.mark.parametrize(
    ("skills", "said"),
    [
        ("cattle", "has no first day. Write each with its first day: cattle 2024-01-01"),
        ("cattle 2024-01-01 2025-01-01 2026-01-01", "Write each with its first day"),
    ],
)
def test_skill_without_its_first_day_says_how_to_write_it(
    skills: str, said: str, site: Site, boss: Client
) -> None:
    take(boss, "skills", "name\nCattle")
    page = look(boss, "workers", f"{PERSON}Mara Quell\t\t{skills}")

    assert page.status_code == 422
    assert said in words(page)
