"""What people say of work: legal moves, refusals by name, witnesses, problems."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from equipment.machines.models import ServiceItem, ServiceRecord
from equipment.site.errors import DomainError, NotFoundError
from equipment.site.models import Actor, Change, HoldSubject, Site
from equipment.site.services import put_hold
from schedules.errors import (
    AlreadyUnderWayError,
    CountNeededError,
    ReasonNeededError,
    ServiceRecordNeededError,
    WaitingOnError,
    WorkOrderClosedError,
)
from schedules.work.decisions import answer_problem, cancel_work
from schedules.work.models import Dependency, Outcome, Problem, Report, Status, WorkOrder
from schedules.work.progress import (
    add_load,
    finish_work,
    report_problem,
    start_work,
    undo_report,
)
from tests.factories import make_actor, make_machine, make_pen, make_site, make_work_order

from .verbs import T0, VERBS, close_by_service, who

pytestmark = pytest.mark.django_db

STATES: dict[str, Callable[[WorkOrder, Actor], object]] = {
    "to_do": lambda o, _by: o,
    "under_way": lambda o, by: VERBS["start"](o, by, 0),
    "done": lambda o, by: VERBS["done"](o, by, 1),
    "part": lambda o, by: VERBS["part"](o, by, 1),
    "could_not": lambda o, by: VERBS["could_not"](o, by, 1),
    "called_off": lambda o, by: VERBS["cancel"](o, by, 1),
    "missed": lambda o, _by: close_by_service(o, Outcome.MISSED),
    "not_needed": lambda o, _by: close_by_service(o, Outcome.NOT_NEEDED),
}
UNDER_WAY = ("IN-PROCESS", "", "")
DONE = ("COMPLETED", "done", "")
PART = ("COMPLETED", "part", "")
COULD_NOT = ("CANCELLED", "could_not", "")
CALLED_OFF = ("CANCELLED", "not_needed", "")
LATE_ON: dict[str, tuple[str, str, str]] = {
    "could_not": ("CANCELLED", "could_not", "late_report"),
    "called_off": ("CANCELLED", "not_needed", "late_report"),
    "missed": ("CANCELLED", "missed", "late_report"),
    "not_needed": ("CANCELLED", "not_needed", "late_report"),
}

# state of Ana's work order, what Ben says two minutes later: what comes of it
MOVES: dict[tuple[str, str], tuple[str, str, str] | type[DomainError]] = {
    ("to_do", "start"): UNDER_WAY,
    ("to_do", "done"): DONE,
    ("to_do", "part"): PART,
    ("to_do", "could_not"): COULD_NOT,
    ("to_do", "load"): UNDER_WAY,
    ("to_do", "cancel"): CALLED_OFF,
    ("under_way", "start"): AlreadyUnderWayError,
    ("under_way", "done"): DONE,
    ("under_way", "part"): PART,
    ("under_way", "could_not"): COULD_NOT,
    ("under_way", "load"): UNDER_WAY,
    ("under_way", "cancel"): CALLED_OFF,
    ("done", "start"): WorkOrderClosedError,
    ("done", "done"): DONE,
    ("done", "part"): ("COMPLETED", "done", "reports_differ"),
    ("done", "could_not"): ("COMPLETED", "done", "reports_differ"),
    ("done", "load"): DONE,
    ("done", "cancel"): WorkOrderClosedError,
    ("part", "start"): WorkOrderClosedError,
    ("part", "done"): ("COMPLETED", "part", "reports_differ"),
    ("part", "part"): PART,
    ("part", "could_not"): ("COMPLETED", "part", "reports_differ"),
    ("part", "load"): PART,
    ("part", "cancel"): WorkOrderClosedError,
    ("could_not", "could_not"): COULD_NOT,
    ("could_not", "cancel"): COULD_NOT,
    ("called_off", "cancel"): CALLED_OFF,
    ("missed", "cancel"): ("CANCELLED", "missed", ""),
    ("not_needed", "cancel"): CALLED_OFF,
    **{
        (state, verb): after
        for state, after in LATE_ON.items()
        for verb in ("start", "done", "part", "could_not", "load")
        if (state, verb) != ("could_not", "could_not")
    },
}


def test_the_table_of_moves_has_every_state_and_verb() -> None:
    assert set(MOVES) == {(state, verb) for state in STATES for verb in VERBS}


@pytest.mark.parametrize(("state", "verb"), MOVES)
def test_each_move_does_what_the_table_says(
    order: WorkOrder, ana: Actor, ben: Actor, state: str, verb: str
) -> None:
    STATES[state](order, ana)
    wanted, n_before = MOVES[state, verb], order.reports.count()
    if isinstance(wanted, type):
        with pytest.raises(wanted):
            VERBS[verb](order, ben, 3)
        assert order.reports.count() == n_before
        return
    VERBS[verb](order, ben, 3)
    order.refresh_from_db()
    assert (order.status, order.outcome, order.needs_decision) == wanted
    is_cancel_of_cancelled = verb == "cancel" and state not in ("to_do", "under_way")
    assert order.reports.count() == n_before + (not is_cancel_of_cancelled)


@pytest.mark.parametrize("verb", [*VERBS, "undo"])
def test_another_sites_work_order_is_not_found(order: WorkOrder, verb: str) -> None:
    stranger = make_actor(make_site("other"), "eve")
    told: dict[str, Any] = {**who(order, stranger), "site_id": stranger.site_id}
    calls: dict[str, Callable[[], object]] = {
        "start": lambda: start_work(**told),
        "done": lambda: finish_work(outcome="done", **told),
        "part": lambda: finish_work(outcome="part", n_left=1, **told),
        "could_not": lambda: finish_work(outcome="could_not", reason="x", **told),
        "load": lambda: add_load(**told),
        "cancel": lambda: cancel_work(reason="x", **told),
        "undo": lambda: undo_report(**told),
    }
    with pytest.raises(NotFoundError):
        calls[verb]()


# --- witnesses and repeats


def test_done_by_two_is_one_completion_with_two_witnesses(
    order: WorkOrder, ana: Actor, ben: Actor
) -> None:
    VERBS["done"](order, ana, 1)
    VERBS["done"](order, ben, 2)
    order.refresh_from_db()
    assert (order.ended_by, order.ended_at) == (ana, T0 + timedelta(minutes=1))
    assert list(order.reports.values_list("by__key", flat=True)) == ["ana", "ben"]


@pytest.mark.parametrize("verb", ["start", "done", "part", "could_not"])
def test_saying_the_same_twice_changes_nothing(order: WorkOrder, ana: Actor, verb: str) -> None:
    version = VERBS[verb](order, ana, 1).version
    assert VERBS[verb](order, ana, 2).version == version
    assert order.reports.count() == 1


def test_a_start_that_came_late_by_radio_is_kept(order: WorkOrder, ana: Actor, ben: Actor) -> None:
    VERBS["done"](order, ana, 20)
    start_work(**who(order, ben, 5))
    order.refresh_from_db()
    assert (order.status, order.started_by) == (Status.COMPLETED, ben)
    assert order.started_at == T0 + timedelta(minutes=5)


def test_work_for_two_is_begun_by_two_and_no_more(site: Site, ana: Actor, ben: Actor) -> None:
    order = make_work_order(site, n_people=2)
    VERBS["start"](order, ana, 0)
    VERBS["start"](order, ben, 1)
    with pytest.raises(AlreadyUnderWayError) as refusal:
        VERBS["start"](order, make_actor(site, "cal"), 2)
    assert "Ana" in refusal.value.detail


def test_loads_are_counted(order: WorkOrder, ana: Actor) -> None:
    for minute in range(3):
        VERBS["load"](order, ana, minute)
    order.refresh_from_db()
    assert (order.loads, order.started_at) == (3, T0)


def test_each_report_is_told_to_upper_rooms(order: WorkOrder, ana: Actor) -> None:
    VERBS["start"](order, ana, 0)
    VERBS["done"](order, ana, 1)
    changes = Change.objects.order_by("version").values_list("topic", "subject_id", "detail")
    assert list(changes) == [
        ("work.reported", str(order.pk), {"said": "started"}),
        ("work.reported", str(order.pk), {"said": "done"}),
    ]


# --- refusals by name


def test_could_not_needs_a_reason(order: WorkOrder, ana: Actor) -> None:
    with pytest.raises(ReasonNeededError):
        finish_work(outcome="could_not", reason="  ", **who(order, ana))


def test_calling_off_needs_a_reason(order: WorkOrder, ana: Actor) -> None:
    with pytest.raises(ReasonNeededError):
        cancel_work(reason="", **who(order, ana))


@pytest.mark.parametrize("n_left", [None, 0, -1, 101])
def test_part_of_bed_work_needs_the_stalls_left(site: Site, ana: Actor, n_left: int | None) -> None:
    order = make_work_order(site, amount="stalls:100")
    with pytest.raises(CountNeededError):
        finish_work(outcome="part", n_left=n_left, **who(order, ana))


def test_part_of_other_work_needs_no_count(order: WorkOrder, ana: Actor) -> None:
    assert finish_work(outcome="part", **who(order, ana)).outcome == Outcome.PART


def test_a_start_waits_for_what_must_come_first(site: Site, order: WorkOrder, ana: Actor) -> None:
    first = make_work_order(site, "first/1", title={"en": "Lock the alley"})
    Dependency.objects.create(site=site, work_order=order, on=first, gap_min=10)
    with pytest.raises(WaitingOnError, match="Lock the alley"):
        VERBS["start"](order, ana, 0)
    VERBS["done"](first, ana, 0)
    with pytest.raises(WaitingOnError, match="Lock the alley"):
        VERBS["start"](order, ana, 9)
    assert VERBS["start"](order, ana, 10).status == Status.IN_PROCESS


def _hold(site: Site, kind: HoldSubject, subject_id: int, by: Actor) -> None:
    put_hold(site_id=site.pk, subject_kind=kind, subject_id=subject_id, reason="x", by=by, at=T0)


def test_a_start_in_a_held_pen_is_refused(site: Site, order: WorkOrder, ana: Actor) -> None:
    _hold(site, HoldSubject.PEN, order.place.bedgroup.pen_id, ana)
    with pytest.raises(WaitingOnError, match="Pen pen-1"):
        VERBS["start"](order, ana, 0)


def test_a_start_with_a_held_machine_is_refused(site: Site, order: WorkOrder, ana: Actor) -> None:
    loader = make_machine(site)
    _hold(site, HoldSubject.MACHINE, loader.pk, ana)
    with pytest.raises(WaitingOnError, match="Loader-1"):
        start_work(machine=loader, **who(order, ana))
    assert start_work(**who(order, ana)).status == Status.IN_PROCESS


def test_what_was_done_in_spite_of_a_hold_is_a_fact_for_a_person_to_look_at(
    site: Site, order: WorkOrder, ana: Actor
) -> None:
    _hold(site, HoldSubject.PEN, order.place.bedgroup.pen_id, ana)
    done = VERBS["done"](order, ana, 0)
    assert (done.outcome, done.needs_decision) == (Outcome.DONE, "done_while_waiting")


def test_a_service_is_done_by_its_record_only(site: Site, ana: Actor) -> None:
    loader = make_machine(site)
    item = ServiceItem.objects.create(
        site=site, key="oil", name="Oil", every_h=250, duration_min=90, skill="mechanic"
    )
    order = make_work_order(site, for_machine=loader, service_item=item, cycle=2)
    VERBS["start"](order, ana, 0)
    with pytest.raises(ServiceRecordNeededError):
        VERBS["done"](order, ana, 1)
    ServiceRecord.objects.create(
        site=site, machine=loader, item=item, cycle=2, done_at=T0, meter_h=900, by=ana
    )
    assert VERBS["done"](order, ana, 2).outcome == Outcome.DONE


# --- problems


def test_a_problem_stands_until_somebody_answers(site: Site, ana: Actor, ben: Actor) -> None:
    pen = make_pen(site)
    problem = report_problem(site_id=site.pk, place_id=pen.pk, text="Waterer leaks", by=ana, at=T0)
    answer: dict[str, Any] = {
        "site_id": site.pk,
        "problem_id": problem.pk,
        "at": T0 + timedelta(hours=1),
    }
    answer_problem(answer="Valve turned", by=ben, **answer)
    answer_problem(answer="Something else", by=ana, **answer)
    stored = Problem.objects.get()
    assert (stored.answer, stored.answered_by) == ("Valve turned", ben)


def test_a_problem_has_a_text_a_place_of_the_site_and_an_answer(site: Site, ana: Actor) -> None:
    elsewhere = make_pen(make_site("other"))
    told: dict[str, Any] = {"site_id": site.pk, "by": ana, "at": T0}
    with pytest.raises(ReasonNeededError):
        report_problem(place_id=None, text=" ", **told)
    with pytest.raises(NotFoundError):
        report_problem(place_id=elsewhere.pk, text="Leak", **told)
    problem = report_problem(place_id=None, text="Leak", **told)
    with pytest.raises(ReasonNeededError):
        answer_problem(problem_id=problem.pk, answer="", **told)
    with pytest.raises(NotFoundError):
        answer_problem(problem_id=problem.pk + 1, answer="done", **told)
    assert Report.objects.count() == 0
