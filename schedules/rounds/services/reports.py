"""What really happened at a milking, and the re-timing of the rest of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.site.calc import local_time
from equipment.site.clock import say_clock
from equipment.site.errors import InvalidInputError, NotFoundError
from equipment.site.models import Actor
from equipment.site.queries import current_language, place_name
from equipment.site.writes import SiteWrite, site_write
from schedules.errors import (
    MilkingStateError,
    OtherVisitError,
    TimeInFutureError,
    TimePassedError,
    UnknownMomentError,
    VisitOrderError,
)
from schedules.rounds import calc
from schedules.rounds.calc.facts import ORDERS
from schedules.rounds.clock import (
    MOMENTS,
    ParlorSetup,
    expected_times,
    facts_of,
    known_times,
    last_on_of,
    last_wash_until,
    load_setup,
    time_milking,
)
from schedules.rounds.models import Milking, MilkingState, PenVisit

from .flushes import plan_flushes
from .locking import lock_parlors
from .timetable import write_timetable

CLOCK_SKEW = timedelta(minutes=5)  # a phone's clock may run ahead of ours by so much
SAME_MILKING = timedelta(hours=12)  # further from the expected time, another milking is meant

MOMENT_NAMES = {
    "called": gettext_lazy("called"),
    "first_out": gettext_lazy("first cow out"),
    "last_out": gettext_lazy("last cow out"),
    "first_on": gettext_lazy("first cow on"),
    "last_on": gettext_lazy("last cow on"),
    "first_back": gettext_lazy("first cow back"),
    "last_back": gettext_lazy("last cow back"),
}


def start_milking(
    *,
    site_id: int,
    milking_id: int,
    at: datetime,
    by: Actor,
    received_at: datetime | None = None,
) -> Milking:
    """Record that the first pen's first cow stepped on; the milking is re-timed from there.

    Starting a milking whose first cow is known to be on changes nothing. Tells
    `milking.started`, and as `record_visit_time`. Refused: ended, or a time that cannot be.
    """
    received_at = received_at or datetime.now(UTC)
    with site_write(site_id, received_at) as write:
        report = _open_report(write, at, by, received_at, pk=milking_id)
        first = report.visits[0]
        if "first_on" in first.actual:
            return report.milking
        _refuse_state(report.milking, MilkingState.PLANNED, MilkingState.STARTED)
        report.add(first, "first_on")
        report.retime()
    return report.milking


def record_visit_time(
    *,
    site_id: int,
    visit_id: int,
    moment: str,
    at: datetime,
    by: Actor,
    received_at: datetime | None = None,
) -> PenVisit:
    """Record when a moment of a pen's visit happened; the rest of that milking follows.

    The newest report of a moment counts; the same one again changes nothing. The first report
    of a milking starts it. Tells `milking.reported`, and `visit.retimed` for each visit that
    moved. Refused: an unknown moment, a time in the future, one so far off that another milking
    is meant, one that contradicts what was recorded of the visit.
    """
    refuse_unknown(moment)
    received_at = received_at or datetime.now(UTC)
    with site_write(site_id, received_at) as write:
        report = _open_report(write, at, by, received_at, visits__pk=visit_id)
        [visit] = [visit for visit in report.visits if visit.pk == visit_id]
        if visit.actual.get(moment) != report.at.isoformat():
            report.add(visit, moment)
            report.retime()
    return visit


def foretell_visit(
    *,
    site_id: int,
    visit_id: int,
    moment: str | None,
    expected_at: datetime | None,
    by: Actor,
    at: datetime,
) -> PenVisit:
    """Say when a moment of a visit will come; the rest of that milking is expected by it.

    It counts until that moment or a later one is reported. With neither moment nor time, what was
    foretold of the visit is taken back. Tells `milking.foretold`, and `visit.retimed` for each
    visit that moves. Refused: one without the other, an unknown moment, one that was reported or
    lies before one that was, a time that has passed, is before what was reported or so far off
    that another milking is meant, an ended milking.
    """
    with site_write(site_id, at) as write:
        report = _open_report(write, at, by, at, visits__pk=visit_id)
        [visit] = [visit for visit in report.visits if visit.pk == visit_id]
        _refuse_state(report.milking, MilkingState.PLANNED, MilkingState.STARTED)
        told = _foretold(visit, moment, expected_at, at)
        if told != visit.foretold:
            report.foretell(visit, told)
            report.retime()
    return visit


def _foretold(
    visit: PenVisit, moment: str | None, expected_at: datetime | None, now: datetime
) -> dict[str, str]:
    if moment is None and expected_at is None:
        return {}
    if moment is None or expected_at is None:
        raise InvalidInputError(_("Give both the moment and its time, or neither to take it back."))
    refuse_unknown(moment)
    expected_at = local_time.require_aware(expected_at).replace(microsecond=0)
    if any(MOMENTS.index(told) >= MOMENTS.index(moment) for told in visit.actual):
        raise VisitOrderError(_("This moment was reported: nothing is left to foretell of it."))
    if expected_at <= now:
        raise TimePassedError(_("This time has passed. Report the moment when it has come."))
    if any(local_time.parse_instant(was) > expected_at for was in visit.actual.values()):
        raise VisitOrderError(_("This time lies before what was reported of the visit. Check it."))
    _refuse_other(expected_at, getattr(visit, f"{moment}_at"))
    return {moment: expected_at.isoformat()}


def refuse_unknown(moment: str) -> None:
    """Refuse what is no moment of a visit."""
    if moment not in MOMENTS:
        names = ", ".join(MOMENTS)
        raise UnknownMomentError(
            _("There is no moment “%(moment)s” of a visit. Give one of: %(names)s.")
            % {"moment": moment, "names": names}
        )


def end_milking(
    *,
    site_id: int,
    milking_id: int,
    at: datetime,
    by: Actor,
    received_at: datetime | None = None,
) -> Milking:
    """Record that the last cow left the deck; what was not reported is fitted in before.

    Ending twice changes nothing. Tells `milking.ended`. Refused: not started, or a time that
    cannot be.
    """
    received_at = received_at or datetime.now(UTC)
    with site_write(site_id, received_at) as write:
        report = _open_report(write, at, by, received_at, pk=milking_id)
        milking = report.milking
        if milking.state == MilkingState.ENDED:
            return milking
        _refuse_state(milking, MilkingState.STARTED)
        report.end()
        report.retime()
    return milking


@dataclass
class _Report:
    """One report on a milking, under the parlor's lock; `visits` in their order on the deck."""

    write: SiteWrite
    setup: ParlorSetup
    milking: Milking
    visits: list[PenVisit]
    at: datetime
    by: Actor
    received_at: datetime

    def add(self, visit: PenVisit, moment: str) -> None:
        _refuse_time(self.at, getattr(visit, f"{moment}_at"), self.received_at)
        self._refuse_disorder(visit, moment, self.at)
        visit.actual = {**visit.actual, moment: self.at.isoformat()}
        visit.save(update_fields=["actual"])
        self._tell("milking.reported", visit.pk, moment=moment)
        if self.milking.state == MilkingState.PLANNED:
            self._set_state(MilkingState.STARTED)

    def foretell(self, visit: PenVisit, told: dict[str, str]) -> None:
        visit.foretold = told
        visit.save(update_fields=["foretold"])
        self._tell("milking.foretold", visit.pk, **told)

    def end(self) -> None:
        _refuse_time(self.at, self.milking.ends_at, self.received_at)
        last_on_at = last_on_of(self.setup, self.at)
        for visit in self.visits:
            self._refuse_disorder(visit, "last_on", last_on_at)
        self.milking.ends_at = self.at
        self._set_state(MilkingState.ENDED)

    def retime(self) -> None:
        """Time the milking anew by all that is known, and write what moved."""
        clock = self._time(self.visits)
        in_turn = _in_turn(self.visits, clock)
        if in_turn != self.visits:
            clock = self._time(in_turn)
        [timed] = clock.milkings
        if timed.ends_at <= timed.starts_at:
            raise VisitOrderError(
                _("This time contradicts what was recorded of other pens of the milking.")
            )
        key = (self.milking.local_date, self.milking.slot)
        write_timetable(self.write, self.setup, [self.milking], {key: clock})
        start_at = min(visit.called_at for visit in self.visits)
        end_at = max(visit.last_back_at for visit in self.visits)
        plan_flushes(self.write.site_id, start_at, end_at, self.write.at)

    def _time(self, visits: Sequence[PenVisit]) -> calc.ClockDay:
        milking = self.milking
        starts = self.setup.planned_starts(milking.local_date)
        before = Milking.objects.filter(
            parlor_id=milking.parlor_id, starts_at__lt=milking.starts_at
        )
        return time_milking(
            self.setup,
            slot=milking.slot,
            starts_at=starts.get(milking.slot, milking.starts_at),
            free_from=last_wash_until(before),
            pens=[(visit.pen_id, visit.n_cows) for visit in visits],
            facts=facts_of(expected_times(self.setup, milking, visits)),
        )

    def _set_state(self, state: MilkingState) -> None:
        self.milking.state = state
        self.milking.save(update_fields=["state"])
        self._tell(f"milking.{state}", self.milking.pk)

    def _tell(self, topic: str, subject_id: int, **detail: str) -> None:
        self.write.change(
            topic, subject_id, **detail, happened_at=self.at.isoformat(), by=self.by.pk
        )

    def _refuse_disorder(self, visit: PenVisit, moment: str, at: datetime) -> None:
        known = known_times(self.setup, self.milking, self.visits)[visit.pen_id]
        other = _clash(known, moment, at)
        if other is None:
            return
        setup = self.setup
        raise VisitOrderError(
            _(
                "%(pen)s: “%(moment)s” cannot be at %(at)s, since “%(other)s” was recorded at "
                "%(other_at)s. Check the time, or correct the other one first."
            )
            % {
                "pen": place_name(
                    setup.parlor.site, setup.pens[visit.pen_id].place, current_language()
                ),
                "moment": MOMENT_NAMES[moment],
                "at": say_clock(setup.parlor.site, at, has_seconds=True),
                "other": MOMENT_NAMES[other],
                "other_at": say_clock(setup.parlor.site, known[other], has_seconds=True),
            }
        )


def _open_report(
    write: SiteWrite, at: datetime, by: Actor, received_at: datetime, **which: int
) -> _Report:
    lock_parlors(write.site_id)
    milkings = Milking.objects.filter(site_id=write.site_id, **which)
    milking = milkings.select_related("parlor__site").prefetch_related("visits__windows").first()
    if milking is None:
        raise NotFoundError(_("There is no such milking or visit here."))
    return _Report(
        write=write,
        setup=load_setup(milking.parlor),
        milking=milking,
        visits=sorted(milking.visits.all(), key=lambda visit: visit.position),
        at=local_time.require_aware(at).replace(microsecond=0),  # as calc's times
        by=by,
        received_at=received_at,
    )


def _in_turn(visits: Sequence[PenVisit], clock: calc.ClockDay) -> list[PenVisit]:
    """Put pens that were milked out of turn where they really were.

    A pen whose time on the deck is known goes by it; one that is not stays behind the pen that
    it follows in the plan.
    """
    runs: list[tuple[datetime, list[PenVisit]]] = []
    for visit, timed in zip(visits, clock.visits, strict=True):
        if not runs or visit.actual.keys() & {"first_on", "first_back", "last_back"}:
            runs.append((timed.times.first_on_at, []))
        runs[-1][1].append(visit)
    return [visit for _at, run in sorted(runs, key=lambda run: run[0]) for visit in run]


def _clash(known: Mapping[str, datetime], moment: str, at: datetime) -> str | None:
    """Name a recorded moment that a time of another one of the same visit contradicts."""
    for order in ORDERS:
        names = [name.removesuffix("_at") for name in order]
        if moment not in names:
            continue
        turn = names.index(moment)
        before = [name for name in names[:turn] if name in known and known[name] > at]
        after = [name for name in names[turn + 1 :] if name in known and known[name] < at]
        if before or after:
            return (before + after)[0]
    return None


def _refuse_time(at: datetime, expected_at: datetime, now: datetime) -> None:
    if at > now + CLOCK_SKEW:
        raise TimeInFutureError(
            _("This time lies in the future. Check the clock of the device and report it again.")
        )
    _refuse_other(at, expected_at)


def _refuse_other(at: datetime, expected_at: datetime) -> None:
    if abs(at - expected_at) > SAME_MILKING:
        raise OtherVisitError(
            _("This time is over 12 hours from what was expected. Choose the right milking.")
        )


def _refuse_state(milking: Milking, *allowed: MilkingState) -> None:
    if milking.state not in allowed:
        raise MilkingStateError(
            _("Milking %(slot)s of %(date)s is “%(state)s”: this step does not fit.")
            % {
                "slot": milking.slot,
                "date": date_format(milking.local_date, "SHORT_DATE_FORMAT"),
                "state": milking.get_state_display(),
            }
        )
