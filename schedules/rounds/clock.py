"""From the farm's rows to the data that calc times a milking with, and what calc says of one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, QuerySet

from equipment.barns.models import BedGroup, Pen
from equipment.flushing.queries import visit_flush_min
from equipment.parlor.calc import AnyParlor, BatchParlor, RotaryParlor
from equipment.parlor.calc.rotary import S_PER_MIN
from equipment.parlor.models import MilkingStart, Parlor, ParlorKind
from equipment.site.calc import local_time
from equipment.site.looks import once_a_look

from . import calc
from .models import Milking, MilkingState, PenVisit

MOMENTS = ("called", "first_out", "last_out", "first_on", "first_back", "last_back")


@dataclass(frozen=True, slots=True)
class ParlorSetup:
    """The parlor, its daily starts and its pens by key, as the farm has set them now."""

    parlor: Parlor
    zone: ZoneInfo
    deck: AnyParlor
    starts: tuple[MilkingStart, ...]
    pens: dict[int, Pen]
    flush_min: dict[int, float]

    @property
    def milked_pens(self) -> list[tuple[int, int]]:
        """(pen, cows) in the order on the deck, without retired and empty pens."""
        pens = [p for p in self.pens.values() if p.place.retired_at is None and p.n_cows]
        return [(p.pk, p.n_cows) for p in sorted(pens, key=lambda p: (p.milking_rank, p.pk))]

    def planned_start(self, day: date, start: MilkingStart) -> datetime:
        return local_time.resolve(datetime.combine(day, start.starts_local), self.zone)

    def planned_starts(self, day: date) -> dict[int, datetime]:
        """The day's milkings by slot, when the first cow is meant to step on."""
        return {start.slot: self.planned_start(day, start) for start in self.starts}

    def pen_at_parlor(self, pen_id: int, n_cows: int) -> calc.PenAtParlor:
        pen = self.pens[pen_id]
        return calc.PenAtParlor(
            key=str(pen_id),
            n_cows=n_cows,
            walk_m=pen.walk_m,
            rules=self._rules(pen_id),
            walk_speed_m_min=self.parlor.cow_walk_m_min,
            clear_min=pen.clear_min,
            returns=_return_rule(pen),
            bed_groups=tuple(_row(group) for group in pen.bed_groups.all()),
            is_withheld=pen.is_milk_withheld,
        )

    def _rules(self, pen_id: int) -> calc.WindowRules:
        return calc.WindowRules(
            flush_min=self.flush_min.get(pen_id, 0.0),
            open_min=self.parlor.open_buffer_min,
            close_min=self.parlor.close_buffer_min,
        )


def _row(group: BedGroup) -> calc.BedGroup:
    return calc.BedGroup(str(group.pk), group.n_stalls, group.is_far_row)


def _return_rule(pen: Pen) -> calc.ReturnRule:
    return calc.build_return_rule(
        calc.ReturnMode(pen.return_mode),
        hold_min=pen.return_hold_min,
        move_min=pen.clear_min,  # a spare pen empties as the pen does; common practice, no source
    )


@once_a_look
def site_parlor(site_id: int) -> Parlor | None:
    """The parlor that milks the site's pens, with its site: 1 query."""
    parlors = Parlor.objects.filter(site_id=site_id, place__retired_at=None)
    return parlors.select_related("site").order_by("pk").first()


def deck_of(parlor: Parlor) -> AnyParlor:
    """The parlor as calc knows it. No query."""
    if parlor.kind == ParlorKind.BATCH:
        return BatchParlor(
            n_stalls=parlor.n_stalls,
            n_sides=parlor.n_sides,
            turn_min=parlor.n_stalls * parlor.seconds_per_stall_s / S_PER_MIN,
            empty_frac=parlor.empty_frac,
        )
    return RotaryParlor(
        n_stalls=parlor.n_stalls,
        seconds_per_stall_s=parlor.seconds_per_stall_s,
        empty_frac=parlor.empty_frac,
        second_turn_frac=parlor.second_turn_frac,
        is_stall_lost_behind_second_turn=parlor.is_stall_lost_behind_second_turn,
    )


def load_setup(parlor: Parlor) -> ParlorSetup:
    """Starts, pens, rows and flush times: 4 queries."""
    rows = BedGroup.objects.filter(place__retired_at=None).order_by("pk")
    pens = Pen.objects.filter(site_id=parlor.site_id).select_related("place")
    return ParlorSetup(
        parlor=parlor,
        zone=parlor.site.zone,
        deck=deck_of(parlor),
        starts=tuple(MilkingStart.objects.filter(parlor=parlor)),
        pens={pen.pk: pen for pen in pens.prefetch_related(Prefetch("bed_groups", rows))},
        flush_min=visit_flush_min(parlor.site_id),
    )


def last_wash_until(milkings: QuerySet[Milking]) -> datetime | None:
    """When the wash of the last of some milkings ends: 1 query."""
    return milkings.order_by("-starts_at").values_list("wash_until", flat=True).first()


def time_milking(
    setup: ParlorSetup,
    *,
    slot: int,
    starts_at: datetime,
    free_from: datetime | None,
    pens: Sequence[tuple[int, int]],
    facts: dict[int, calc.VisitFacts] | None = None,
) -> calc.ClockDay:
    """Time one milking of (pen, cows) by the farm's settings and by what is known of it."""
    milking = calc.Milking(slot, starts_at, tuple(setup.pen_at_parlor(*pen) for pen in pens))
    day = calc.ParlorDay(
        parlor=setup.deck,
        milkings=(milking,),
        wash_min=setup.parlor.wash_min,
        free_from=free_from,
    )
    known = {(slot, str(pen_id)): fact for pen_id, fact in (facts or {}).items()}
    return calc.time_day(day, known)


def known_times(
    setup: ParlorSetup, milking: Milking, visits: Sequence[PenVisit]
) -> dict[int, dict[str, datetime]]:
    """What is known of a milking's visits, by pen and moment; visits in the order on the deck.

    An ended milking says besides when its last cow stepped on, which bounds all before her.
    """
    known = {visit.pen_id: _instants(visit.actual) for visit in visits}
    if milking.state == MilkingState.ENDED and visits:
        known[visits[-1].pen_id]["last_on"] = last_on_of(setup, milking.ends_at)
    return known


def _instants(texts: Mapping[str, str]) -> dict[str, datetime]:
    return {moment: local_time.parse_instant(text) for moment, text in texts.items()}


def expected_times(
    setup: ParlorSetup, milking: Milking, visits: Sequence[PenVisit]
) -> dict[int, dict[str, datetime]]:
    """What is known of a milking's visits, and what is foretold of them beyond it."""
    known = known_times(setup, milking, visits)
    if milking.state != MilkingState.ENDED:
        for visit in visits:
            known[visit.pen_id] = foretold_of(visit) | known[visit.pen_id]
    return known


def foretold_of(visit: PenVisit) -> dict[str, datetime]:
    """Give what is foretold of a visit and still counts: later moments than any reported."""
    told = _instants(visit.actual)
    n_told = max((MOMENTS.index(moment) + 1 for moment in told), default=0)
    return {
        moment: at
        for moment, at in _instants(visit.foretold).items()
        if moment in MOMENTS[n_told:] and all(at >= earlier for earlier in told.values())
    }


def last_on_of(setup: ParlorSetup, ends_at: datetime) -> datetime:
    """When the cow stepped on that left the deck at `ends_at`."""
    return ends_at - timedelta(minutes=setup.deck.rotation_min)


def facts_of(known: dict[int, dict[str, datetime]]) -> dict[int, calc.VisitFacts]:
    """The same for calc."""
    return {
        pen_id: calc.VisitFacts(**{f"{moment}_at": at for moment, at in times.items()})
        for pen_id, times in known.items()
    }
