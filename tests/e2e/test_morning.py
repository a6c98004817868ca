"""A morning on the demo farm, in a real browser: desk, phone, shop and yard.

The clock is held at one March morning, so that the walk is the same on every day; background
work is done by the poller's own function, as it is when the broker is silent.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from math import ceil

import pytest
import time_machine
from django.core.management import call_command
from django.db.models import QuerySet
from playwright.sync_api import Browser, Page, Response

from crews.people.models import Worker
from crews.roster.queries import working_shifts
from equipment.flushing.models import Lock
from equipment.machines.models import Machine, ServiceRecord
from equipment.site import runs
from equipment.site.models import HoldSubject, PlaceKind, User
from equipment.site.queries import open_holds
from schedules.dayplan.models import Assignment, Claim
from schedules.sand.models import Batch, DryForecast, Stage
from schedules.work.models import Outcome, Status, WorkOrder
from tests.looks import PASSWORD, sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MORNING = datetime(2026, 3, 4, 16, 30, tzinfo=UTC)  # 9:30 am in Denver


@pytest.fixture
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(MORNING) as traveller:
        yield traveller


@pytest.fixture
def farm(clock: time_machine.Traveller, live_server: object) -> str:
    """Load the demo farm and let its background work be done; gives the server's address."""
    call_command("load_demo", stdout=io.StringIO(), stderr=io.StringIO())
    for user in User.objects.all():
        user.set_password(PASSWORD)
        user.save()
    work_off()
    return f"{live_server}"


def work_off() -> None:
    """Do all background runs that are due, also those that they make due."""
    while runs.poll(now=datetime.now(UTC)) or runs.poll_slow(now=datetime.now(UTC)):
        pass


@pytest.fixture
def desk(browser: Browser, farm: str) -> Iterator[Page]:
    context = browser.new_context(base_url=farm, viewport={"width": 1280, "height": 900})
    yield context.new_page()
    context.close()


@pytest.fixture
def phone(browser: Browser, farm: str) -> Iterator[Page]:
    context = browser.new_context(
        base_url=farm, viewport={"width": 360, "height": 740}, locale="en-US", has_touch=True
    )
    yield context.new_page()
    context.close()


def grooming_to_come() -> list[Claim]:
    """Bed work that somebody has in a window to come, soonest first, one person's together."""
    claims = Claim.objects.filter(
        worker__isnull=False,
        assignment__work_order__place__kind=PlaceKind.BED_GROUP,
        assignment__work_order__visit__isnull=False,
        assignment__work_order__n_people=1,
        assignment__starts_at__gt=datetime.now(UTC) + timedelta(minutes=2),
    ).select_related("worker", "assignment__work_order__place")
    return list(claims.order_by("assignment__starts_at"))


def alone_to_come() -> QuerySet[Claim]:
    """Work to come that one person does without a machine."""
    return Claim.objects.filter(
        worker__isnull=False,
        span__startswith__gt=datetime.now(UTC) + timedelta(minutes=2),
        assignment__work_order__n_people=1,
        assignment__work_order__machine_kinds=[],
        assignment__work_order__for_machine__isnull=True,
    ).select_related("worker", "assignment__work_order")


def pair(desk: Page, phone: Page, worker: Worker) -> None:
    """A lead makes a code on the Crew page; it is typed into the phone."""
    desk.click("nav a:text-is('Crew')")
    person = desk.locator("details", has=desk.locator(f"summary:has-text('{worker.name}')")).first
    person.locator("summary").click()
    person.get_by_role("button", name="Pair a phone").click()
    code = desk.locator("#pairing-code").inner_text()
    phone.goto("/phone/")
    phone.fill("#code", code)
    phone.click("#pair")
    phone.wait_for_selector("nav button")
    if phone.locator("html").get_attribute("lang") == "es":
        phone.click("#language")
        phone.wait_for_selector("html[lang=en]")


def open_job(phone: Page, order: WorkOrder) -> None:
    phone.click("#tab-jobs")
    phone.click(f"#job-{order.pk}")


def begin(phone: Page) -> None:
    """Start the open job, with the lock it asks for where none of the person's own is on yet."""
    phone.click("#start")
    phone.wait_for_selector("#lock-and-start, #done")
    if phone.locator("#lock-and-start").count():
        phone.click("#lock-and-start")
    phone.wait_for_selector("#done")


@contextmanager
def saying(phone: Page, kind: str) -> Iterator[None]:
    """Tap what says this, and wait until the farm has heard it and the phone says so."""

    def is_heard(answer: Response) -> bool:
        said = answer.request.post_data or ""
        return answer.url.endswith("/events/") and f'"kind":"{kind}"' in said

    with phone.expect_response(is_heard):
        yield
    phone.click("#tab-sent")
    phone.wait_for_selector("#sent-fact:has-text('All sent')")


def test_a_morning(desk: Page, phone: Page, clock: time_machine.Traveller) -> None:
    sign_in(desk, "lead")
    assert desk.locator("table tbody tr").count() > 10
    walk_of_the_groomer(desk, phone, clock)
    walk_of_the_lead(desk)
    walk_of_the_sick(desk)
    walk_of_the_mechanic(desk)
    walk_of_the_held_loader(desk)
    walk_of_the_sand(desk)


def walk_of_the_groomer(desk: Page, phone: Page, clock: time_machine.Traveller) -> None:
    """One row of beds is groomed inside its window, another is left part done."""
    mine = grooming_to_come()
    worker = mine[0].worker
    assert worker is not None
    first, second = [c.assignment for c in mine if c.worker_id == worker.pk][:2]
    pair(desk, phone, worker)
    clock.move_to(first.starts_at + timedelta(minutes=1))
    open_job(phone, first.work_order)
    begin(phone)
    with saying(phone, "done"):
        phone.click("#done")
    first.work_order.refresh_from_db()
    order = first.work_order
    assert (order.status, order.outcome) == (Status.COMPLETED, Outcome.DONE)
    assert order.starts_after <= order.ended_at <= order.due_at  # type: ignore[operator]
    assert order.needs_decision == ""
    assert Lock.objects.filter(owner=worker.actor, off_at=None).exists()
    clock.move_to(max(second.starts_at, first.ends_at) + timedelta(minutes=1))
    open_job(phone, second.work_order)
    begin(phone)
    phone.click("#part")
    phone.fill("#field-n_left", "5")
    with saying(phone, "part"):
        phone.click("#send")
    second.work_order.refresh_from_db()
    assert (second.work_order.outcome, second.work_order.n_left) == (Outcome.PART, 5)
    work_off()


def walk_of_the_lead(desk: Page) -> None:
    """A lead gives a job to somebody else, and the next plan keeps it so."""
    order, chosen = next(free_hand(desk))
    give(desk, order, chosen)
    work_off()
    kept = Assignment.objects.get(work_order=order)
    assert kept.is_by_hand
    assert [str(c.worker_id) for c in kept.claims.all() if c.worker_id] == [chosen]


def free_hand(desk: Page) -> Iterator[tuple[WorkOrder, str]]:
    """Jobs to come, the last first, each with somebody qualified, on shift and on no other work."""
    for claim in alone_to_come().order_by("-span"):
        desk.goto(f"/farm/three-cairns/work/{claim.assignment.work_order_id}/")
        others = desk.locator("#worker option:not(:has-text('not qualified'))")
        at_work = Claim.objects.filter(span__overlap=claim.span, worker__isnull=False)
        taken = {str(c.worker_id) for c in at_work}
        on_shift = working_shifts(claim.site_id, claim.span.lower, claim.span.upper)
        there = {str(shift.worker_id) for shift in on_shift}
        for key in others.evaluate_all("options => options.map(o => o.value)"):
            if key in there - taken:
                yield claim.assignment.work_order, key


def give(desk: Page, order: WorkOrder, worker_key: str) -> None:
    """Give a job to one person by hand."""
    desk.goto(f"/farm/three-cairns/work/{order.pk}/")
    desk.select_option("#worker", worker_key)
    desk.get_by_role("button", name="Give it", exact=True).click()
    desk.wait_for_load_state()
    assert desk.locator(".faults").all_inner_texts() == []
    desk.wait_for_selector("[role=status]:has-text('the plan keeps it')")
    assert Assignment.objects.get(work_order=order).is_by_hand


def walk_of_the_sick(desk: Page) -> None:
    """Two taps: open the person, called in sick. No work to come is left with them, by hand too."""
    now = datetime.now(UTC)
    claim = alone_to_come().order_by("span")[0]
    worker = claim.worker
    assert worker is not None
    give(desk, claim.assignment.work_order, str(worker.pk))
    desk.click("nav a:text-is('Crew')")
    person = desk.locator("details", has=desk.locator(f"summary:has-text('{worker.name}')")).first
    person.locator("summary").click()
    person.get_by_role("button", name="Called in sick").click()
    desk.wait_for_selector(f"[role=status]:has-text('{worker.name}')")
    work_off()
    shift_end = now + timedelta(hours=8)
    left = Claim.objects.filter(worker=worker, span__overlap=(now, shift_end))
    assert not left.filter(assignment__work_order__status=Status.NEEDS_ACTION).exists()


def walk_of_the_mechanic(desk: Page) -> None:
    """A mechanic records a service; the page says when the next is due."""
    desk.get_by_role("button", name="Sign out").click()
    sign_in(desk, "mechanic")
    machine = Machine.objects.filter(kind="loader").order_by("name")[0]
    meter_h = machine.readings.order_by("read_at").last().meter_h  # type: ignore[union-attr]
    before = ServiceRecord.objects.filter(machine=machine).count()
    desk.click("nav a:text-is('Machines')")
    card = desk.locator(f"#machine-{machine.pk}")
    card.locator("summary").first.click()
    card.locator("[name=meter_h]").nth(1).fill(
        f"{ceil(meter_h * 10) / 10:.1f}"
    )  # it may just have been read
    card.locator("[name=minutes]").fill("40")
    card.get_by_role("button", name="Save the service").click()
    desk.wait_for_selector("[role=status]:has-text('Next:')")
    assert ServiceRecord.objects.filter(machine=machine).count() == before + 1


def walk_of_the_held_loader(desk: Page) -> None:
    """A loader goes out of use: at once no future work is on it."""
    now = datetime.now(UTC)
    coming = Claim.objects.filter(machine__isnull=False, span__startswith__gt=now)
    busy = coming.filter(assignment__work_order__for_machine=None).order_by("span")[0]
    machine = busy.machine
    assert machine is not None
    order = busy.assignment.work_order
    assert machine.name in shown_of(desk, order)
    desk.click("nav a:text-is('Machines')")
    card = desk.locator(f"#machine-{machine.pk}")
    card.locator("summary").first.click()
    card.locator("[name=cause]").fill("Brake pedal soft")
    card.get_by_role("button", name="Take out of use").click()
    desk.wait_for_selector("[role=status]:has-text('out of use')")
    assert machine.name not in shown_of(desk, order)
    work_off()
    assert open_holds(machine.site_id, HoldSubject.MACHINE).filter(subject_id=machine.pk).exists()
    future = Claim.objects.filter(machine=machine, span__startswith__gt=now)
    assert not future.filter(assignment__work_order__for_machine=None).exists()


def shown_of(desk: Page, order: WorkOrder) -> str:
    """Everything that the page of a job says."""
    desk.goto(f"/farm/three-cairns/work/{order.pk}/")
    return desk.locator("main").inner_text()


def walk_of_the_sand(desk: Page) -> None:
    """A moisture test moves a batch's dates."""
    batch = Batch.objects.filter(stage=Stage.DRYING, ended_at=None).order_by("-number")[0]
    before = DryForecast.objects.filter(batch=batch).order_by("made_at").last()
    assert before is not None
    desk.get_by_role("button", name="Sign out").click()
    sign_in(desk, "lead")
    desk.click("nav a:text-is('Sand')")
    row = desk.locator(f"#batch-{batch.number}")
    row.locator("summary").click()
    row.locator("[name=moisture_pct]").fill("5.2")
    row.get_by_role("button", name="Save the test").click()
    desk.wait_for_selector("[role=status]:has-text('The test is saved')")
    work_off()
    after = DryForecast.objects.filter(batch=batch).order_by("made_at", "id").last()
    assert after is not None
    assert (after.dots, after.dry_on_p50) != (before.dots, before.dry_on_p50)
