"""Records of much: paper, CSV and queries."""

from __future__ import annotations

from typing import Any

import pytest
from django.conf import settings
from django.test import Client

from equipment.basins.models import Basin, LevelReading
from equipment.site.models import Actor, PlaceKind
from schedules.sand.models import BatchStep, Stage
from schedules.sand.services import add_moisture_test
from schedules.work.models import Trigger
from tests.factories import (
    make_basin,
    make_batch,
    make_bay,
    make_place,
    make_standing_order,
    make_worker,
    utc,
)
from tests.farm import Farm
from tests.schedules.desk.conftest import NOW
from tests.schedules.desk.pdf import (
    FIGURES_ALONE,
    code_of,
    dark_modules,
    read_pdf,
    size_pt,
    sizes_of_type,
    text_of,
)
from tests.schedules.desk.reading import section, url, words

from .told import DAY, HOUR, KEYS, MARCH, MINUTE, page, say_level, shown, table

pytestmark = pytest.mark.django_db

MOST_QUERIES = 25


def _many_levels(basin: Basin, by: Actor, n: int) -> list[LevelReading]:
    start = utc("2026-02-01 12:00")
    return LevelReading.objects.bulk_create(
        LevelReading(
            site=basin.site,
            basin=basin,
            read_at=start + (i // 2) * MINUTE,  # two at a time
            depth_m=i / 1000,
            by=by,
        )
        for i in range(n)
    )


def test_csv_has_every_row_once_in_order_and_reads_them_in_parts(
    basin: Basin, ana: Actor, lead: Client, django_assert_max_num_queries: Any
) -> None:
    made = _many_levels(basin, ana, 1201)
    lead.get(url("record-csv", "levels", slug="small"))  # the account is known

    with django_assert_max_num_queries(14) as found:
        rows_read = table(lead, "levels")

    assert [row["record_id"] for row in rows_read] == [str(one.pk) for one in made]
    limits = [q["sql"] for q in found if "equipment_levelreading" in q["sql"]]
    assert len(limits) == 3 + 1  # three parts, and none after them
    assert all("LIMIT 500" in sql for sql in limits)


def test_page_shows_the_first_twenty_and_says_of_how_many(
    basin: Basin, ana: Actor, lead: Client
) -> None:
    made = _many_levels(basin, ana, 1201)

    found = shown(lead, "levels")
    assert [row[-1] for row in found[1:]] == [str(one.pk) for one in made[:20]]
    assert "First 20 of 1,201 rows." in section(page(lead), "levels")


def test_pdf_ends_at_five_hundred_rows_and_says_so_with_heads_repeated(
    basin: Basin, ana: Actor, lead: Client
) -> None:
    _many_levels(basin, ana, 1201)

    pages = [text_of(one) for one in read_pdf(lead, "record-pdf", "levels", slug="small").pages]

    n_pages = len(pages)
    assert n_pages > 10
    for n, text in enumerate(pages, start=1):
        assert text.startswith("Basins: levels · Small · Sun 1 Feb 2026 to Sat 28 Feb 2026")
        assert "First 500 of 1,201 rows; the CSV has all." in text
        assert "When Basin Depth Line Below the line By Record no." in text
        assert text.endswith(f"printed 9:00 am Wed 4 Mar 2026, page {n} of {n_pages}")
    whole = " ".join(pages)
    assert whole.count("Basin west") == 500
    assert whole.count(" Ana ") == 500


@pytest.mark.parametrize("key", KEYS)
def test_report_prints_with_its_farm_period_and_way_back(
    key: str, farm: Farm, manager: Client
) -> None:
    pdf = read_pdf(manager, "record-pdf", key, **MARCH)

    for one in pdf.pages:
        assert "· Ours · Sun 1 Mar 2026 to Wed 4 Mar 2026" in text_of(one)
        assert min(sizes_of_type(one)) >= 12
        assert not FIGURES_ALONE.search(text_of(one))
        assert size_pt(one) == [792, 612]  # US Letter on its side
    last = pdf.pages[-1]
    assert "All times are the farm's: America/Denver." in text_of(last)
    back = f"{url('records')}?from=2026-03-01&to=2026-03-04#{key}"
    assert dark_modules(last) == code_of(back)


@pytest.mark.parametrize("key", KEYS)
def test_csv_names_units_and_traces_each_row(key: str, farm: Farm, manager: Client) -> None:
    response = manager.get(url("record-csv", key), {**MARCH, "form": "sheet"})
    text = b"".join(response.streaming_content).decode()  # type: ignore[attr-defined]
    head = text.splitlines()[0]

    assert text.startswith("\N{ZERO WIDTH NO-BREAK SPACE}")
    assert response["Content-Disposition"] == (
        f'attachment; filename="ours-{key}-2026-03-01-2026-03-04.csv"'
    )
    assert "record_id,event_id" in head


def _more_of_everything(farm: Farm) -> None:
    who: dict[str, Any] = {**farm.who()}
    for n in range(12):
        basin = make_basin(farm.site, f"basin-more-{n}")
        say_level(basin, farm.worker.actor, NOW - n * HOUR)
        bay = make_bay(farm.site, f"bay-more-{n}")
        batch = make_batch(farm.site, Stage.DRYING, at=NOW - DAY, place=bay.place)
        add_moisture_test(batch_id=batch.pk, moisture_frac=0.1, basis="wb", n_spots=3, **who)
        BatchStep.objects.create(
            site=farm.site, batch=batch, kind="picked_up", at=NOW - DAY, by=farm.worker.actor
        )
        make_worker(farm.site, f"more-{n}", skills=(f"skill-{n}",))
        farm._order(f"round/{n}", place=basin.place, standing_order=make_standing_order(
            farm.site, f"round-{n}", trigger=Trigger.CALENDAR
        ))  # fmt: skip
        make_standing_order(
            farm.site,
            f"heat-{n}",
            trigger=Trigger.WEATHER,
            rule={"measure": "tmax_degc", "at_least": 10 + n},
        )
        make_place(farm.site, f"yard-more-{n}", PlaceKind.YARD)


def test_page_and_paper_take_as_many_queries_for_much_as_for_little(
    farm: Farm, manager: Client, django_assert_max_num_queries: Any
) -> None:
    addresses = [url("records"), *(url("record-pdf", key) for key in KEYS)]

    def n_queries() -> list[int]:
        found = []
        for address in addresses:
            with django_assert_max_num_queries(MOST_QUERIES) as queries:
                assert manager.get(address, MARCH).status_code == 200
            found.append(len(queries))
        return found

    for address in addresses:
        manager.get(address, MARCH)
    few = n_queries()
    _more_of_everything(farm)

    assert n_queries() == few
    assert few[0] > 10  # the whole page was asked for
    assert max(few[1:]) <= 7


def test_page_speaks_spanish_too(farm: Farm, manager: Client) -> None:
    manager.cookies[settings.LANGUAGE_COOKIE_NAME] = "es"

    response = manager.get(url("records"), MARCH)

    assert response.status_code == 200
    assert '<html lang="es"' in response.content.decode()
    assert "Pila de sólidos basin-1" in words(response)
