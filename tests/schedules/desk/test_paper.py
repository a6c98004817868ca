"""Sheets of the week, the pads and the machines, read back from their PDFs."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from pypdf import PageObject

from crews.people.models import Crew, Leave, LeaveKind, Worker
from crews.roster.models import Shift, ShiftPattern
from equipment.machines.models import ServiceItem
from equipment.machines.queries import machine_views
from equipment.site.calc.local_time import wall_span
from equipment.site.models import Role
from schedules.sand.models import DryForecast, Stage
from schedules.work.models import StandingOrder, WorkOrder
from tests.factories import (
    make_batch,
    make_bay,
    make_machine,
    make_site,
    make_standing_order,
    make_user,
    make_work_order,
    make_worker,
)
from tests.farm import Farm

from .conftest import NOW, ClientOf
from .pdf import (
    FIGURES_ALONE,
    PAPERS_PT,
    code_of,
    dark_modules,
    drawn,
    greys,
    n_boxes,
    pages_with,
    read_pdf,
    size_pt,
    sizes_of_type,
    text_of,
)
from .reading import url, words

pytestmark = pytest.mark.django_db

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
SHEETS = ("week-sheet", "pad-sheet", "service-sheet")
FOOT = re.compile(r"9:00 am Wed 4 Mar, plan 2, page / \w+ (\d+) of / \w+ (\d+)$")
TODAY = date(2026, 3, 4)


def _put_shift(worker: Worker, pattern: ShiftPattern, on: date) -> None:
    starts_local = datetime.combine(on, pattern.starts_local)
    wall = timedelta(minutes=pattern.duration_min)
    start, end = wall_span(starts_local, wall, worker.site.zone)
    Shift.objects.create(
        site=worker.site,
        worker=worker,
        pattern=pattern,
        local_date=on,
        starts_at=start,
        ends_at=end,
    )


@pytest.fixture
def rakers(farm: Farm) -> Crew:
    """A crew of two on days, one of whom may run a loader."""
    crew = Crew.objects.create(site=farm.site, key="rakers", name="Rakers")
    pattern = ShiftPattern.objects.get(site=farm.site, key="day")
    for key, skills, days in (("bea", ("loader",), (0, 1, 2)), ("cal", (), (1,))):
        worker = make_worker(farm.site, key, crew=crew, skills=skills)
        for n in days:
            _put_shift(worker, pattern, TODAY + n * DAY)
    return crew


def _due(farm: Farm, order: StandingOrder, n: int, **facts: Any) -> WorkOrder:
    usual = {"starts_after": NOW, "due_at": NOW + HOUR, "title": order.title}
    return make_work_order(
        farm.site, f"{order.key}/{n}", standing_order=order, **{**usual, **facts}
    )


def _order(farm: Farm, key: str, english: str, spanish: str) -> StandingOrder:
    return make_standing_order(farm.site, key, title={"en": english, "es": spanish})


# All sheets ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", PAPERS_PT)
@pytest.mark.parametrize("name", SHEETS)
def test_sheet_is_of_the_paper_asked_for_and_says_when_it_was_printed(
    name: str, paper: str, farm: Farm, manager: Client
) -> None:
    pages = read_pdf(manager, name, paper=paper).pages

    assert pages
    for page in pages:
        assert size_pt(page) == pytest.approx(PAPERS_PT[paper], abs=0.1)
        assert FOOT.search(text_of(page))


@pytest.mark.parametrize("name", ["day-sheet", *SHEETS])
def test_sheet_is_black_large_enough_and_without_dates_in_figures(
    name: str, farm: Farm, manager: Client
) -> None:
    for page in read_pdf(manager, name).pages:
        assert min(sizes_of_type(page)) >= 12
        assert list(greys(page)) == []
        assert not FIGURES_ALONE.search(text_of(page))


@pytest.mark.parametrize("name", SHEETS)
def test_sheet_is_for_everybody_of_the_farm_and_no_stranger(
    name: str, farm: Farm, client_of: ClientOf, stranger: Client
) -> None:
    for role in Role:
        assert client_of(role).get(url(name)).status_code == 200
    assert stranger.get(url(name)).status_code == 404


@pytest.mark.parametrize("name", SHEETS)
def test_unknown_paper_is_refused(name: str, farm: Farm, manager: Client) -> None:
    response = manager.get(url(name), {"paper": "a3"})

    assert response.status_code == 400
    assert "paper must be letter or a4." in words(response)


@pytest.mark.parametrize("name", SHEETS)
def test_empty_farm_prints_a_form_to_fill_by_hand(name: str, farm: Farm) -> None:
    client = Client()
    client.force_login(make_user(Role.MANAGER, make_site("bare")))

    [page] = read_pdf(client, name, slug="bare").pages

    assert n_boxes(page) >= 4


@pytest.mark.parametrize(
    ("page", "sheet"),
    [("week", "week-sheet"), ("roster", "week-sheet"), ("sand", "pad-sheet"),
     ("machines", "service-sheet")],
)  # fmt: skip
def test_page_leads_to_its_sheet(page: str, sheet: str, farm: Farm, manager: Client) -> None:
    html = manager.get(url(page)).content.decode()

    assert f'href="{url(sheet)}' in html


@pytest.mark.parametrize("name", SHEETS)
def test_sheet_takes_a_fixed_number_of_queries(
    name: str, farm: Farm, rakers: Crew, manager: Client, django_assert_max_num_queries: Any
) -> None:
    def n_queries() -> int:
        with django_assert_max_num_queries(25) as found:
            assert manager.get(url(name)).status_code == 200
        return len(found)

    n_queries()
    few = n_queries()
    for n in range(8):
        make_worker(farm.site, f"more-{n}", crew=rakers, skills=(f"skill-{n}",))
        _due(farm, _order(farm, f"more-{n}", f"Scrub {n}", f"Tallar {n}"), n)
        place = make_bay(farm.site, f"more-{n}").place
        batch = make_batch(farm.site, Stage.DRYING, at=NOW, place=place)
        make_machine(farm.site, f"more-{n}")
        _due(farm, farm.rule, 100 + n, batch=batch, batch_step="turned", local_date=TODAY)

    assert n_queries() == few


def _once_on_pages(pages: list[tuple[PageObject, str]], names: list[str]) -> list[str]:
    """Which of the names stand on exactly one page, once."""
    return [name for name in names if [text.count(name) for _page, text in pages].count(1) == 1
            and sum(text.count(name) for _page, text in pages) == 1]  # fmt: skip


# The week -----------------------------------------------------------------------------------------


def test_week_says_who_works_when(farm: Farm, rakers: Crew, manager: Client) -> None:
    [(_page, text)] = pages_with(read_pdf(manager, "week-sheet"), "Rakers")

    on, off = "5:00 am 1:00 pm", "–"
    assert f"Bea {on} {on} {on} {off} {off} {off} {off} Cal {off} {on} {off}" in text
    assert "Wed 4 mié 4 Thu 5 jue 5" in text
    assert "Wed 4 Mar to Tue 10 Mar" in text
    assert "mié 4 mar" in text


def test_week_says_who_is_away_in_both_languages(farm: Farm, rakers: Crew, manager: Client) -> None:
    bea = Worker.objects.get(site=farm.site, key="bea")
    Leave.objects.create(
        site=farm.site,
        worker=bea,
        kind=LeaveKind.VACATION,
        from_on=TODAY + 3 * DAY,
        until_on=TODAY + 4 * DAY,
    )

    [(_page, text)] = pages_with(read_pdf(manager, "week-sheet"), "Rakers")

    on, off = "5:00 am 1:00 pm", "–"
    assert f"Bea {on} {on} {on} Away Ausente {off} {off} {off} Cal" in text


@pytest.mark.parametrize(("from_on", "night"), [("2026-03-07", "Sat 7"), ("2026-10-31", "Sat 31")])
def test_shift_over_a_night_of_another_clock_has_its_local_hours(
    from_on: str, night: str, farm: Farm, rakers: Crew, client_of: ClientOf, clock: Any
) -> None:
    """Denver changes its clock on Sunday 8 March and 1 November 2026 at two at night."""
    if from_on > "2026-05":
        clock.move_to(NOW + 235 * DAY)
    pattern = ShiftPattern.objects.get(site=farm.site, key="night")
    _put_shift(Worker.objects.get(site=farm.site, key="cal"), pattern, date.fromisoformat(from_on))

    [(_page, text)] = pages_with(
        read_pdf(client_of(Role.MANAGER), "week-sheet", **{"from": from_on}), "Rakers"
    )

    assert night in text
    assert "Cal 9:00 pm 5:00 am – –" in text


def test_standing_work_is_added_up_by_day_in_amounts(
    farm: Farm, rakers: Crew, manager: Client
) -> None:
    rake = _order(farm, "rake", "Rake beds", "Rastrillar camas")
    scoop = _order(farm, "scoop", "Scoop the lane", "Sacar arena")
    for n, stalls in enumerate((700, 620)):
        _due(farm, rake, n, amount=f"stalls:{stalls}")
        _due(farm, scoop, n, skill="loader", starts_after=NOW + DAY, due_at=NOW + DAY + HOUR,
             local_date=TODAY + DAY)  # fmt: skip

    [(page, text)] = pages_with(read_pdf(manager, "week-sheet"), "Rakers")

    amounts = r"Rake beds Rastrillar camas stalls( / \w+)? 1,320 – – – – – –"
    assert re.search(amounts, text)
    assert re.search(r"Scoop the lane Sacar arena times( / \w+)? – 2 – – – – –", text)
    n_groomed = len(re.findall(r"Groom Groom", text))
    assert n_boxes(page) == 2 + n_groomed + 4 * 7  # one for each amount, and four lines of days


def test_work_that_the_crew_may_not_do_or_not_in_its_hours_is_on_no_sheet_of_it(
    farm: Farm, rakers: Crew, manager: Client
) -> None:
    _due(farm, _order(farm, "test", "Test sand", "Medir"), 1, skill="sampling")
    evening = {"starts_after": NOW + 8 * HOUR, "due_at": NOW + 9 * HOUR}
    _due(farm, _order(farm, "wash", "Wash the lane", "Lavar"), 1, **evening)

    [(_page, text)] = pages_with(read_pdf(manager, "week-sheet"), "Rakers")

    assert "Test sand" not in text
    assert "Wash the lane" not in text


def test_work_called_off_is_not_on_the_sheet(farm: Farm, rakers: Crew, manager: Client) -> None:
    off = {"status": "CANCELLED", "outcome": "not_needed"}
    _due(farm, _order(farm, "rake", "Rake beds", "Rastrillar"), 1, **off)

    [(_page, text)] = pages_with(read_pdf(manager, "week-sheet"), "Rakers")

    assert "Rake beds" not in text


def test_code_of_the_week_leads_to_its_roster(farm: Farm, rakers: Crew, manager: Client) -> None:
    [(page, _text)] = pages_with(read_pdf(manager, "week-sheet"), "Rakers")

    assert dark_modules(page) == code_of(f"{url('roster')}?from=2026-03-04")


@pytest.mark.parametrize("text", ["2026-13-01", "yesterday", "2027-03-04"])
def test_week_that_is_no_date_or_too_far_is_refused(text: str, farm: Farm, manager: Client) -> None:
    assert manager.get(url("week-sheet"), {"from": text}).status_code == 400


def test_large_crew_goes_on_under_the_same_heads_and_no_row_is_split(
    farm: Farm, rakers: Crew, manager: Client
) -> None:
    pattern = ShiftPattern.objects.get(site=farm.site, key="day")
    for n in range(60):
        _put_shift(make_worker(farm.site, f"hand-{n:02}", crew=rakers), pattern, TODAY)
        _due(farm, _order(farm, f"task-{n:02}", f"Task-{n:02}", f"Tarea-{n:02}"), n)

    pages = pages_with(read_pdf(manager, "week-sheet"), "Rakers")

    n_pages = len(pages)
    assert n_pages > 3
    assert [FOOT.search(text).groups() for _page, text in pages] == [  # type: ignore[union-attr]
        (str(n + 1), str(n_pages)) for n in range(n_pages)
    ]
    assert all("Person Persona" in t or "Work Trabajo" in t for _page, t in pages)
    people = [f"Hand-{n:02} 5:00 am 1:00 pm –" for n in range(60)]
    assert _once_on_pages(pages, people) == people
    work = [f"Task-{n:02} Tarea-{n:02} times" for n in range(60)]
    assert _once_on_pages(pages, work) == work


# The pads -----------------------------------------------------------------------------------------


@pytest.fixture
def drying(farm: Farm) -> DryForecast:
    """The batch on the first bay: 15 chances in 20 that it is dry by Friday."""
    batch = farm.batches[Stage.DRYING][0]
    dots = [*["2026-03-05"] * 5, *["2026-03-06"] * 10, *["2026-03-08"] * 5]
    return DryForecast.objects.create(
        site=farm.site,
        batch=batch,
        made_at=NOW + HOUR,
        n_members=20,
        dry_on_p50=date(2026, 3, 6),
        dots=dots,
        et0_method="given",
    )


def test_pad_says_what_lies_there_and_when_it_is_dry(
    farm: Farm, drying: DryForecast, manager: Client
) -> None:
    text = " ".join(text_of(page) for page in read_pdf(manager, "pad-sheet").pages)

    number = drying.batch.number
    assert f"Bay bay-0 Tramo bay-0 Batch {number}, 22 tons" in text  # 20 t of 907.185 kg
    assert f"Lote {number}, 22 " in text
    assert "Fri 27 Feb" in text  # since when: five days ago
    assert "vie 27 feb" in text
    assert f"15 in 20 that Batch {number} is dry by Fri 6 Mar." in text
    assert "vie 6 mar" in text
    assert "5.0%" in text  # the farm's target
    assert "9.1%, measured Wed 4 Mar" in text  # a tenth, dry basis
    assert "Keep off the pad edge." in text
    assert "Lejos de la orilla del patio." in text


def test_pad_has_a_box_for_each_turn_due_and_room_for_tests(
    farm: Farm, drying: DryForecast, manager: Client
) -> None:
    [(before, text)] = pages_with(read_pdf(manager, "pad-sheet"), "Bay bay-0")
    assert all(f"Prueba {n}, %" in text for n in (1, 2, 3)) or all(
        f"Test {n}, %" in text for n in (1, 2, 3)
    )
    for n, days in enumerate((0, 0, 0, 1)):
        on = {"local_date": TODAY + days * DAY, "starts_after": NOW + days * DAY}
        on["due_at"] = NOW + days * DAY + HOUR
        _due(farm, farm.rule, 200 + n, batch=drying.batch, batch_step="turned", **on)

    [(page, text)] = pages_with(read_pdf(manager, "pad-sheet"), "Bay bay-0")

    assert "Wed 4 Mar / mié 4 mar" in text
    assert "Thu 5 Mar / jue 5 mar" in text
    assert n_boxes(page) == n_boxes(before) - 2 + 4  # instead of two to write in by hand


def test_code_of_a_pad_leads_to_sand(farm: Farm, manager: Client) -> None:
    *_before, page = read_pdf(manager, "pad-sheet").pages

    assert dark_modules(page) == code_of(url("sand"))


def test_large_pad_goes_on_under_the_same_heads_and_no_bay_is_split(
    farm: Farm, manager: Client
) -> None:
    for n in range(40):
        bay = make_bay(farm.site, f"more-{n:02}")
        make_batch(farm.site, Stage.DRYING, at=NOW, place=bay.place)

    pages = pages_with(read_pdf(manager, "pad-sheet"), "Pad pad")

    assert len(pages) > 3
    assert [text[-1] for _page, text in pages] == [str(len(pages))[-1]] * len(pages)
    bays = [f"Bay more-{n:02} Tramo more-{n:02} Batch" for n in range(40)]
    assert _once_on_pages(pages, bays) == bays


# The machines -------------------------------------------------------------------------------------


def test_each_machine_has_its_sheet_with_meter_and_hours_left(farm: Farm, manager: Client) -> None:
    pdf = read_pdf(manager, "service-sheet")

    assert len(pdf.pages) == len(farm.machines)
    for view in machine_views(farm.site.pk):
        [(page, text)] = pages_with(pdf, view.machine.name)
        [due] = view.dues
        assert view.last is not None
        assert due.due.left_h is not None
        assert f"{view.machine.name} · Loader / Cargador" in text
        assert f"{view.last.meter_h:,.1f} h, " in text
        assert f"Oil {due.due.left_h:,.0f} h" in text
        assert n_boxes(page) == 1 + 4


def test_service_sheet_shows_cautions_in_both_languages_and_what_is_overdue(
    farm: Farm, manager: Client
) -> None:
    ServiceItem.objects.filter(site=farm.site).update(
        title={"en": "Engine oil", "es": "Aceite de motor"},
        caution={"en": "Hot oil.", "es": "Aceite caliente."},
        every_h=1,
    )

    [page] = read_pdf(manager, "service-sheet", machine=farm.machines[1].pk).pages

    text = text_of(page)
    assert "Engine oil Aceite de motor Hot oil. Aceite caliente." in text
    assert "Overdue" in text
    assert "Lock, tag and try. Lower attachments or block them. Relieve the pressure." in text
    assert "Candado, etiqueta y prueba. Baje los aditamentos o bloquéelos." in text
    assert "The maker's manual and local rules go before this sheet" in text.replace("’", "'")
    assert "seat torn" not in text  # a defect of another machine


def test_service_sheet_names_open_defects(farm: Farm, manager: Client) -> None:
    [page] = read_pdf(manager, "service-sheet", machine=farm.machines[0].pk).pages

    assert "Defect" in text_of(page)
    assert "seat torn" in text_of(page)


def test_code_of_a_machine_leads_to_where_its_service_is_recorded(
    farm: Farm, manager: Client
) -> None:
    machine = farm.machines[0]
    [page] = read_pdf(manager, "service-sheet", machine=machine.pk).pages

    assert dark_modules(page) == code_of(f"{url('machines')}#machine-{machine.pk}")


def test_machine_of_no_farm_or_another_is_refused(farm: Farm, manager: Client) -> None:
    theirs = make_machine(make_site("elsewhere"))
    for text, status in ((str(theirs.pk), 404), ("x", 400), ("9" * 30, 400)):
        assert manager.get(url("service-sheet"), {"machine": text}).status_code == status


def test_machine_of_many_services_goes_on_under_the_same_heads(farm: Farm, manager: Client) -> None:
    for n in range(40):
        ServiceItem.objects.create(
            site=farm.site,
            key=f"more-{n:02}",
            name=f"More {n:02}",
            title={"en": f"Grease-{n:02}", "es": f"Engrasar-{n:02}"},
            machine=farm.machines[0],
            every_h=100 + n,
            duration_min=10,
            skill="mechanic",
        )

    pages = [
        (page, text_of(page))
        for page in read_pdf(manager, "service-sheet", machine=farm.machines[0].pk).pages
    ]

    assert len(pages) > 1
    assert all("Service Servicio" in text and "Loader-1" in text for _page, text in pages)
    items = [f"Grease-{n:02} Engrasar-{n:02}" for n in range(40)]
    assert _once_on_pages(pages, items) == items
    assert sum(n_boxes(page) for page, _text in pages) == 41 + 4
    assert all(len(drawn(page)) for page, _text in pages)
