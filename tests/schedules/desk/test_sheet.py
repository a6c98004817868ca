"""The day's sheet read back from its PDF: paper, words of both languages, boxes, pages, QR."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from pypdf import PageObject, PdfReader

from crews.people.models import Crew, Worker
from schedules.dayplan.models import Assignment, Claim
from schedules.work.models import Outcome, Status, WorkOrder
from tests.factories import make_work_order, make_worker
from tests.farm import Farm

from .conftest import NOW
from .pdf import PAPERS_PT, code_of, dark_modules, n_boxes, pages_with, read_pdf, size_pt
from .reading import url, words

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


def _give(farm: Farm, worker: Worker, n: int) -> WorkOrder:
    """The n-th of a row of ten-minute jobs from 12:20 pm on."""
    starts_at = NOW + (10 * n + 200) * MINUTE
    order = make_work_order(
        farm.site,
        f"sheet/{worker.key}/{n}",
        title={"en": f"Rake beds {n}", "es": f"Rastrillar camas {n}"},
        place=farm.pens[0].bed_groups.get().place,
        starts_after=starts_at,
        due_at=starts_at + 30 * MINUTE,
    )
    span = (starts_at, starts_at + 9 * MINUTE)
    given = Assignment.objects.create(
        site=farm.site, work_order=order, starts_at=span[0], ends_at=span[1]
    )
    Claim.objects.create(site=farm.site, assignment=given, worker=worker, span=span)
    return order


@pytest.fixture
def rakers(farm: Farm) -> Worker:
    """A crew of one with 18 jobs to come today."""
    crew = Crew.objects.create(site=farm.site, key="rakers", name="Rakers")
    worker = make_worker(farm.site, "bea", crew=crew)
    for n in range(18):
        _give(farm, worker, n)
    return worker


def _read(client: Client, **query: str) -> PdfReader:
    return read_pdf(client, "day-sheet", **query)


def _of_rakers(pdf: PdfReader) -> list[tuple[PageObject, str]]:
    return pages_with(pdf, "Rakers")


@pytest.mark.parametrize("paper", PAPERS_PT)
def test_eighteen_jobs_of_a_crew_stand_on_one_page(
    paper: str, rakers: Worker, manager: Client
) -> None:
    [(page, text)] = _of_rakers(_read(manager, paper=paper))

    assert size_pt(page) == pytest.approx(PAPERS_PT[paper], abs=0.1)
    assert all(f"Rake beds {n}" in text for n in range(18))
    assert re.search(r"plan 2, page / \w+ 1 of / \w+ 1$", text)


@pytest.mark.parametrize("paper", PAPERS_PT)
def test_every_line_speaks_both_languages(paper: str, rakers: Worker, manager: Client) -> None:
    [(_page, text)] = _of_rakers(_read(manager, paper=paper))

    assert "Rake beds 3 Beds" in text
    assert "Rastrillar camas 3 Camas" in text
    assert "Wed 4 Mar / mié 4 mar" in text
    assert "Lock, tag and try before you go into an alley" in text
    assert "Candado, etiqueta y prueba antes de entrar al pasillo" in text


def test_line_says_when_who_and_before_when(rakers: Worker, manager: Client) -> None:
    [(_page, text)] = _of_rakers(_read(manager))

    # 16:00 UTC and 200 min are 12:20 pm in Denver
    assert "12:20 pm 12:29 pm Rake beds 0 Beds pen-1-beds-a" in text
    assert "Bea 12:50 pm" in text


def test_sheet_says_when_it_was_printed_and_of_which_plan(rakers: Worker, manager: Client) -> None:
    [(_page, text)] = _of_rakers(_read(manager))

    assert "9:00 am Wed 4 Mar, plan 2, page" in text


def test_nineteenth_job_and_more_go_on_under_the_same_head(
    rakers: Worker, farm: Farm, manager: Client
) -> None:
    for n in range(18, 40):
        _give(farm, rakers, n)

    pages = _of_rakers(_read(manager))

    assert [text[-1] for _page, text in pages] == ["2", "2"]  # the crew's name is repeated
    rows = [n for n in range(40) if sum(f"Rake beds {n} " in text for _p, text in pages) == 1]
    assert rows == list(range(40))  # no row is split or doubled


def test_four_lines_are_left_to_write_on(rakers: Worker, manager: Client) -> None:
    """Boxes to tick: one a job, and four more."""
    [(page, _text)] = _of_rakers(_read(manager))

    assert n_boxes(page) == 18 + 4


def test_code_leads_back_to_today(rakers: Worker, manager: Client) -> None:
    """What is drawn is, dot by dot, the QR code of Today's address."""
    [(page, _text)] = _of_rakers(_read(manager))

    assert dark_modules(page) == code_of(url("today"))


def test_only_what_is_still_open_and_given_is_printed(
    rakers: Worker, farm: Farm, manager: Client
) -> None:
    done = WorkOrder.objects.get(natural_key="sheet/bea/3")
    WorkOrder.objects.filter(pk=done.pk).update(
        status=Status.COMPLETED,
        outcome=Outcome.DONE,
        started_at=NOW,
        ended_at=NOW,
        ended_by=rakers.actor,
    )
    Assignment.objects.get(work_order__natural_key="sheet/bea/4").delete()

    [(_page, text)] = _of_rakers(_read(manager))

    assert "Rake beds 3 " not in text
    assert "Rake beds 4 " not in text
    assert "Rake beds 5 " in text


def test_unknown_paper_is_refused(farm: Farm, manager: Client) -> None:
    response = manager.get(url("day-sheet"), {"paper": "a3"})

    assert response.status_code == 400
    assert "paper must be letter or a4." in words(response)


def test_farm_without_plan_prints_an_empty_sheet_and_no_error(farm: Farm, manager: Client) -> None:
    Assignment.objects.filter(site=farm.site).delete()

    [page] = _read(manager).pages

    assert n_boxes(page) == 4
