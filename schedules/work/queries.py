"""Reads of work that pages, phones and the plan share."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum
from functools import partial

from django.db.models import Count, Exists, OuterRef, Prefetch, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce, Concat
from django.utils.translation import gettext_lazy, ngettext

from equipment.site.models import Change, Hold, HoldSubject, Place, PlaceKind, Site
from equipment.site.queries import current_language, place_name, site_of, word
from schedules.sand.models import Batch

from .amounts import stalls_in
from .calc.drafts import REST
from .models import (
    Cause,
    Dependency,
    Outcome,
    Problem,
    Question,
    Relation,
    Report,
    StandingOrder,
    Status,
    Trigger,
    WorkOrder,
)

OPEN = (Status.NEEDS_ACTION, Status.IN_PROCESS)
REASONS = {
    Cause.VISIT_GONE: gettext_lazy("the pen is not milked then"),
    Cause.BATCH_MOVED_ON: gettext_lazy("the batch has moved on"),
    Cause.NOT_DUE_YET: gettext_lazy("the service is not due yet"),
    Cause.LEADER_GONE: gettext_lazy("what it follows is not done"),
    Cause.ORDER_RETIRED: gettext_lazy("its standing order is out of use"),
    Cause.RULE_CHANGED: gettext_lazy("its standing order was changed"),
    Cause.REPORT_UNDONE: gettext_lazy("the report it came from was taken back"),
}


DECISIONS = {
    Question.MACHINE_ON_HOLD: gettext_lazy(
        "The machine it runs on was taken out of use: give it another, or stop it."
    ),
    Question.LATE_REPORT: gettext_lazy(
        "A phone reported it after it was closed: look what is true."
    ),
    Question.OUTSIDE_WINDOW: gettext_lazy(
        "It was reported outside its window: were cows in the pen?"
    ),
    Question.REPORTS_DIFFER: gettext_lazy("Two reports of it differ: look what is true."),
    Question.DONE_WHILE_WAITING: gettext_lazy("It was done while it waited on other work: look."),
    Question.PLACE_ASSUMED: gettext_lazy(
        "Nobody said where the sand went: the place was assumed. Look."
    ),
    Question.SAND_NOT_BOOKED: gettext_lazy("Its sand is not in the books: say where it went."),
    Question.TEST_MISSING: gettext_lazy("No moisture was measured: test again."),
    Question.RELEASE_NEEDS_LEAD: gettext_lazy(
        "A worker reported it, but cured and released are a lead's to say: if it counts, it "
        "counts in your name."
    ),
    Question.LOCK_MISSING: gettext_lazy(
        "It was begun with no lock on record that keeps the flush away: is everybody out?"
    ),
}


class WaitCode(StrEnum):
    """What kind of thing a work order waits on."""

    DEPENDENCY = "dependency"
    HOLD = "hold"


@dataclass(frozen=True, slots=True)
class WaitReason:
    """One thing a work order waits on."""

    code: WaitCode
    say: Callable[[], str] = field(compare=False)
    subject: str = ""
    subject_id: int | None = None
    until: datetime | None = None

    @property
    def name(self) -> str:
        """Its name in the reader's language."""
        return self.say()


def say_amount(order: WorkOrder) -> str:
    """How much there is to do, in the reader's language; empty where nobody counts."""
    n_stalls = stalls_in(order.amount)
    return ngettext("%d stall", "%d stalls", n_stalls) % n_stalls if n_stalls else order.amount


def say_reason(order: WorkOrder) -> str:
    """Why it was not done or not needed, in the reader's language or as a person wrote it."""
    is_code = order.reason in set(Cause)
    return str(REASONS[Cause(order.reason)]) if is_code else order.reason


def say_decision(code: str) -> str:
    """What a person must decide, in the reader's language."""
    return str(DECISIONS[Question(code)])


def say_title(order: WorkOrder) -> str:
    """Title in the reader's language."""
    language = current_language()
    return str(order.title.get(language) or order.title.get("en") or order.natural_key)


def order_detail(site_id: int, work_order_id: int) -> WorkOrder | None:
    """One work order with all that is known of it: 3 queries."""
    reports = Report.objects.select_related("by", "machine").order_by("id")
    return (
        WorkOrder.objects.filter(site_id=site_id, id=work_order_id)
        .select_related(
            "standing_order",
            "place",
            "visit__milking",
            "batch",
            "for_machine",
            "service_item",
            "started_by",
            "ended_by",
        )
        .prefetch_related(
            Prefetch("needs", Dependency.objects.select_related("on__place")),
            Prefetch("reports", reports),
        )
        .first()
    )


def waiting_reasons(
    site_id: int, work_order_ids: Collection[int], at: datetime | None = None
) -> dict[int, list[WaitReason]]:
    """What each of some work orders waits on, where it waits: 3 queries, 7 under holds.

    With `at` a least gap that is not over yet counts too.
    """
    found: dict[int, list[WaitReason]] = defaultdict(list)
    for needed in Dependency.objects.filter(
        site_id=site_id, work_order__in=work_order_ids
    ).select_related("on"):
        reason = _wait_on(needed, at)
        if reason is not None:
            found[needed.work_order_id].append(reason)
    for work_order_id, reasons in _held(site_id, work_order_ids).items():
        found[work_order_id] += reasons
    return dict(found)


def _wait_on(needed: Dependency, at: datetime | None) -> WaitReason | None:
    """Why a work order cannot start yet because of another; None when it can."""
    first = needed.on
    if first.status == Status.CANCELLED or needed.relation in (
        Relation.FINISH_TO_FINISH,
        Relation.START_TO_FINISH,
    ):
        return None
    happened = (
        first.ended_at if needed.relation == Relation.FINISH_TO_START else first.started_at
    ) or (first.ended_at if first.status == Status.COMPLETED else None)
    say = partial(say_title, first)
    if happened is None:
        return WaitReason(WaitCode.DEPENDENCY, say, "work_order", first.pk)
    until = happened + timedelta(minutes=needed.gap_min)
    if at is not None and at < until:
        return WaitReason(WaitCode.DEPENDENCY, say, "work_order", first.pk, until)
    return None


def _held(site_id: int, work_order_ids: Collection[int]) -> dict[int, list[WaitReason]]:
    """Holds on the pen or batch of each work order: 1 query where nothing is held, else 4."""
    held = _held_ids(site_id)
    if not held:
        return {}
    site = site_of(site_id)
    orders = WorkOrder.objects.filter(site_id=site_id, id__in=work_order_ids)
    rows = list(orders.select_related("place", "batch"))
    pen_of = _pens_of({row.place_id for row in rows})
    found: dict[int, list[WaitReason]] = defaultdict(list)
    for row in rows:
        pen = pen_of.get(row.place_id, row.place)
        if (HoldSubject.PEN, pen.pk) in held:
            say = partial(_say_place, site, pen)
            found[row.pk].append(WaitReason(WaitCode.HOLD, say, HoldSubject.PEN, pen.pk))
        if row.batch is not None and (HoldSubject.BATCH, row.batch.pk) in held:
            say = partial(_say_batch, site, row.batch)
            found[row.pk].append(WaitReason(WaitCode.HOLD, say, HoldSubject.BATCH, row.batch.pk))
    return found


def _say_place(site: Site, place: Place) -> str:
    return place_name(site, place, current_language())


def _say_batch(site: Site, batch: Batch) -> str:
    return f"{word(site, current_language(), 'batch')} {batch.number}"


def _held_ids(site_id: int) -> set[tuple[str, int]]:
    """Pens and batches on hold: 1 query."""
    kinds = (HoldSubject.PEN, HoldSubject.BATCH)
    holds = Hold.objects.filter(site_id=site_id, subject_kind__in=kinds, cleared_at=None)
    return set(holds.values_list("subject_kind", "subject_id"))


def _pens_of(place_ids: Collection[int]) -> dict[int, Place]:
    """Pen in which each bed group or alley lies: 1 query."""
    rows = Place.objects.filter(pk__in=place_ids)
    rows = rows.select_related("bedgroup__pen__place", "alley__pen__place")
    inner = {row.pk: getattr(row, "bedgroup", None) or getattr(row, "alley", None) for row in rows}
    return {pk: one.pen.place for pk, one in inner.items() if one and one.pen}


@dataclass(frozen=True, slots=True)
class BoardCounts:
    """How a span of work stands."""

    n_to_do: int
    n_under_way: int
    n_late: int
    n_done: int
    n_part: int
    n_could_not: int
    n_missed: int
    n_decisions: int
    n_stalls_missed: int


def board_counts(site_id: int, start: datetime, end: datetime, now: datetime) -> BoardCounts:
    """Count the work whose window meets [start, end): 1 query.

    Stalls missed are those of beds nobody came to, and those left of work part done that no
    later gap took over.
    """
    carried = WorkOrder.objects.filter(
        site_id=OuterRef("site_id"), natural_key=Concat(OuterRef("natural_key"), Value(f"{REST}1"))
    )
    rows = WorkOrder.objects.filter(site_id=site_id, starts_after__lt=end, due_at__gt=start)
    is_missed = Q(outcome=Outcome.MISSED) | Q(outcome=Outcome.PART, is_carried=False)
    counts = rows.alias(is_carried=Exists(carried)).aggregate(
        n_to_do=Count("id", filter=Q(status=Status.NEEDS_ACTION)),
        n_under_way=Count("id", filter=Q(status=Status.IN_PROCESS)),
        n_late=Count("id", filter=Q(status__in=OPEN, due_at__lte=now)),
        n_done=Count("id", filter=Q(outcome=Outcome.DONE)),
        n_part=Count("id", filter=Q(outcome=Outcome.PART)),
        n_could_not=Count("id", filter=Q(outcome=Outcome.COULD_NOT)),
        n_missed=Count("id", filter=Q(outcome=Outcome.MISSED)),
        n_decisions=Count("id", filter=~Q(needs_decision="")),
        n_stalls_missed=Coalesce(Sum("n_left", filter=is_missed), 0),
    )
    return BoardCounts(**counts)


def open_problems(site_id: int) -> QuerySet[Problem]:
    """Problems nobody has answered, oldest first: 1 query."""
    rows = Problem.objects.filter(site_id=site_id, answered_at=None)
    return rows.select_related("place", "reported_by").order_by("reported_at", "id")


def last_editor(order: StandingOrder) -> str:
    """Who changed a standing order by hand last; empty when nobody did: 1 query."""
    edits = Change.objects.filter(
        site_id=order.site_id, topic="standing_order.edited", subject_id=str(order.pk)
    )
    detail = edits.order_by("-version", "-id").values_list("detail", flat=True).first()
    return str((detail or {}).get("by", ""))


@dataclass(frozen=True, slots=True)
class StandingDue:
    """One piece of a standing order's work that is due on a day, with how much it is."""

    standing_order_id: int
    title: dict[str, str]
    on: date
    skill: str
    starts_after: datetime
    due_at: datetime
    n_stalls: int


def standing_due(site_id: int, from_on: date, until_on: date) -> list[StandingDue]:
    """Work of standing orders on the days, done or not, but for what was called off: 2 queries."""
    orders = StandingOrder.objects.filter(site_id=site_id)
    titles = {
        pk: title or {"en": name} for pk, title, name in orders.values_list("pk", "title", "name")
    }
    rows = (
        WorkOrder.objects.filter(
            site_id=site_id,
            local_date__gte=from_on,
            local_date__lt=until_on,
            standing_order__isnull=False,
        )
        .exclude(status=Status.CANCELLED)
        .order_by("starts_after", "pk")
        .values_list("standing_order_id", "local_date", "skill", "starts_after", "due_at", "amount")
    )
    return [
        StandingDue(pk, titles[pk], on, skill, start, end, stalls_in(amount))
        for pk, on, skill, start, end, amount in rows
    ]


def turns_due(site_id: int, from_on: date, until_on: date) -> dict[int, dict[date, int]]:
    """Count the turns of each batch on a pad that are still due on the days: 1 query."""
    rows = WorkOrder.objects.filter(
        site_id=site_id,
        batch_step="turned",
        status__in=OPEN,
        local_date__gte=from_on,
        local_date__lt=until_on,
    )
    found: dict[int, dict[date, int]] = defaultdict(dict)
    counts = (
        rows.values_list("batch_id", "local_date").annotate(n=Count("pk")).order_by("local_date")
    )
    for batch_id, on, n in counts:
        if batch_id is not None:
            found[batch_id][on] = n
    return found


# What reports of the farm are about, as work orders show it.
OF_BASINS = Q(place__kind=PlaceKind.BASIN)
OF_HEAT = Q(standing_order__trigger=Trigger.WEATHER) & Q(
    standing_order__trigger_rule__measure="tmax_degc"
)
OF_TESTS = Q(batch_step="tested")
OF_SERVICES = Q(service_item__isnull=False)


def work_on_record(site_id: int, from_on: date, until_on: date, of: Q) -> QuerySet[WorkOrder]:
    """Standing work of some days, but for what was not needed, as it was told: 1 query.

    With place, standing order, who ended it and (`event_id`) the last event that told of it.
    """
    told = Report.objects.filter(work_order_id=OuterRef("pk"), event__isnull=False)
    return (
        _standing_work(site_id, from_on, until_on, of)
        .select_related("place", "standing_order", "ended_by")
        .annotate(event_id=Subquery(told.order_by("-at", "-id").values("event_id")[:1]))
    )


def _standing_work(site_id: int, from_on: date, until_on: date, of: Q) -> QuerySet[WorkOrder]:
    rows = WorkOrder.objects.filter(
        of,
        site_id=site_id,
        standing_order__isnull=False,
        local_date__gte=from_on,
        local_date__lt=until_on,
    )
    return rows.exclude(outcome=Outcome.NOT_NEEDED).exclude(natural_key__contains=REST)


@dataclass(frozen=True, slots=True)
class OrderRecord:
    """What became of one standing order's work that was due: `n_untold` is past and still open."""

    title: dict[str, str]
    n_due: int
    n_done: int
    n_part: int
    n_missed: int
    n_untold: int


_MISSING = Q(outcome__in=(Outcome.MISSED, Outcome.COULD_NOT))


def due_and_done(
    site_id: int, from_on: date, until_on: date, of: Q, now: datetime
) -> list[OrderRecord]:
    """Count standing work that was due by now, by standing order: 1 query."""
    untold = Q(status__in=OPEN)
    rows = (
        _standing_work(site_id, from_on, until_on, of)
        .exclude(untold, due_at__gt=now)
        .values_list("standing_order__title", "standing_order__name", "standing_order_id")
        .annotate(
            n_due=Count("pk"),
            n_done=Count("pk", filter=Q(outcome=Outcome.DONE)),
            n_part=Count("pk", filter=Q(outcome=Outcome.PART)),
            n_missed=Count("pk", filter=_MISSING),
            n_untold=Count("pk", filter=untold),
        )
        .order_by("standing_order__name", "standing_order_id")
    )
    return [OrderRecord(title or {"en": name}, *counts) for title, name, _pk, *counts in rows]


def missing_work(
    site_id: int, from_on: date, until_on: date, of: Q, now: datetime
) -> QuerySet[WorkOrder]:
    """Standing work that was due by now and is not on record as done, the oldest first: 1 query."""
    missing = _MISSING | Q(status__in=OPEN, due_at__lte=now)
    rows = _standing_work(site_id, from_on, until_on, of).filter(missing)
    return rows.select_related("place", "standing_order").order_by("local_date", "pk")


def heat_orders(site_id: int) -> QuerySet[StandingOrder]:
    """Standing orders in use that the day's highest temperature brings about: 1 query."""
    rows = StandingOrder.objects.filter(
        site_id=site_id,
        retired_at=None,
        trigger=Trigger.WEATHER,
        trigger_rule__measure="tmax_degc",
    )
    return rows.order_by("name", "pk")
