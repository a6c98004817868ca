"""The sand loop, verb by verb: stages, dry mass kept, oldest first, only by people."""

from datetime import timedelta
from typing import Any

import pytest

from equipment.barns.models import Pen
from equipment.machines.models import Machine, MachineKind
from equipment.sandyard.models import Bay, Lane, Pad, PilePlace, SandPractice, Slab
from equipment.site.errors import NotFoundError
from equipment.site.models import Actor, Change, HoldSubject, PlaceKind, Site
from equipment.site.services import clear_hold, put_hold
from schedules.errors import (
    BatchHeldError,
    BatchStageError,
    NotOldestError,
    PlaceFullError,
    PlaceTakenError,
    TooEarlyError,
)
from schedules.sand import services as sand
from schedules.sand.ledger import account_balances_kg, batch_mass_kg
from schedules.sand.models import Batch, SandMove, Stage
from schedules.sand.queries import beddings, place_for_pile
from tests.factories import (
    make_actor,
    make_lane,
    make_machine,
    make_pen,
    make_place,
    make_site,
    utc,
)

pytestmark = pytest.mark.django_db

NOW = utc("2026-03-04 12:00")
DAY = timedelta(days=1)


class Yard:
    """A small sand yard: a lane, a slab, two bays of 60 t, three pile places, a loader."""

    def __init__(self) -> None:
        self.site: Site = make_site()
        self.ana: Actor = make_actor(self.site, "ana")
        self.pen: Pen = make_pen(self.site)
        self.lane: Lane = make_lane(self.site)
        SandPractice.objects.create(site=self.site)
        place = make_place
        Slab.objects.create(
            site=self.site, place=place(self.site, "slab", PlaceKind.SLAB), capacity_kg=400_000
        )
        pad = Pad.objects.create(site=self.site, place=place(self.site, "pad", PlaceKind.PAD))
        self.bays = [
            Bay.objects.create(
                site=self.site,
                pad=pad,
                place=place(self.site, f"bay-{n}", PlaceKind.BAY),
                area_m2=150,
                capacity_kg=60_000,
            )
            for n in (1, 2)
        ]
        self.piles = [
            PilePlace.objects.create(
                site=self.site,
                place=place(self.site, f"pile-{n}", PlaceKind.PILE_PLACE),
                capacity_kg=500_000,
            )
            for n in (1, 2, 3)
        ]
        self.loader: Machine = make_machine(
            self.site, "loader", kind=MachineKind.LOADER, bucket_m3=3, fill_frac=1
        )

    def who(self, days: float = 0) -> dict[str, Any]:
        return {"site_id": self.site.pk, "by": self.ana, "at": NOW + days * DAY}

    def scoop(self, buckets: float = 4, days: float = 0) -> Batch:
        return sand.scoop(
            lane_id=self.lane.pk, buckets=buckets, machine_id=self.loader.pk, **self.who(days)
        )

    def drying(self, bay: int = 0, days: float = 2) -> Batch:
        batch = self.scoop()
        return sand.spread(batch_id=batch.pk, bay_id=self.bays[bay].pk, **self.who(days))

    def piled(self, pile: int = 0, bay: int = 0, days: float = 9) -> Batch:
        batch = self.drying(bay)
        place = self.piles[pile].pk
        return sand.pile(batch_id=batch.pk, pile_place_id=place, **self.who(days))

    def released(self, pile: int = 0, days: float = 70) -> Batch:
        batch = self.piled(pile)
        sand.close_pile(batch_id=batch.pk, **self.who(9))
        sand.mark_cured(batch_id=batch.pk, **self.who(days))
        return sand.release(batch_id=batch.pk, **self.who(days))

    def bed(self, batch: Batch, dry_kg: float, reason: str = "") -> Batch:
        return sand.bed(
            batch_id=batch.pk, pen_id=self.pen.pk, dry_kg=dry_kg, reason=reason, **self.who(80)
        )


@pytest.fixture
def yard() -> Yard:
    return Yard()


def test_buckets_become_dry_mass_with_a_range(yard: Yard) -> None:
    # US Army TM 9-2320-366-10-1, Table 2-15: sand 95 lb/ft3 dry loose to 120 lb/ft3 wet, which is
    # 1,522 to 1,922 kg/m3; 4 buckets of 3 m3 at 15 % wet basis hold 15.5 to 19.6 t dry.
    yard.scoop(4)
    move = SandMove.objects.get()
    assert move.low_kg == pytest.approx(12 * 1522 * 0.85, rel=1e-3)
    assert move.high_kg == pytest.approx(12 * 1922 * 0.85, rel=1e-3)
    assert move.low_kg < move.dry_kg < move.high_kg


def test_scoops_fill_one_batch_until_it_is_a_bays_load(yard: Yard) -> None:
    first = [yard.scoop(days=n / 2).number for n in range(4)]  # 4 × 17.6 t passes 60 t
    assert first == [1, 1, 1, 1]
    assert Batch.objects.get(number=1).closed_at is not None
    assert yard.scoop(days=3).number == 2


def test_a_spread_batch_lies_in_its_bay_and_no_other_goes_there(yard: Yard) -> None:
    batch = yard.drying()
    assert (batch.stage, batch.place_id) == (Stage.DRYING, yard.bays[0].pk)
    other = yard.scoop(days=2)
    with pytest.raises(PlaceTakenError):
        sand.spread(batch_id=other.pk, bay_id=yard.bays[0].pk, **yard.who(4))


def test_a_pile_is_a_batch_of_its_parents_with_the_wettest_moisture(yard: Yard) -> None:
    one, two = yard.drying(0), yard.drying(1)
    for batch, wet in ((one, 0.04), (two, 0.06)):
        sand.add_moisture_test(
            batch_id=batch.pk, moisture_frac=wet, basis="wb", n_spots=3, **yard.who(8)
        )
    mass_kg = batch_mass_kg(one) + batch_mass_kg(two)
    for batch in (one, two):
        pile = sand.pile(batch_id=batch.pk, pile_place_id=yard.piles[0].pk, **yard.who(9))
    pile.refresh_from_db()
    assert pile.stage == Stage.CURING
    assert pile.moisture_wb_frac == 0.06
    assert batch_mass_kg(pile) == pytest.approx(mass_kg)
    assert sorted(p.parent.number for p in pile.parents.all()) == [one.number, two.number]


def test_the_cure_begins_when_the_pile_closes_and_is_sixty_days(yard: Yard) -> None:
    pile = sand.close_pile(batch_id=yard.piled().pk, **yard.who(9))
    assert pile.ready_on is not None
    assert pile.ready_on.isoformat() == "2026-05-12"  # 13 March and 60 days


def test_a_closed_pile_is_never_topped(yard: Yard) -> None:
    sand.close_pile(batch_id=yard.piled().pk, **yard.who(9))
    late = yard.drying(1)
    with pytest.raises(BatchStageError):
        sand.pile(batch_id=late.pk, pile_place_id=yard.piles[0].pk, **yard.who(10))


def test_a_pile_takes_no_more_than_its_place_has_room_for(yard: Yard) -> None:
    mass_kg = batch_mass_kg(yard.drying())
    PilePlace.objects.update(capacity_kg=1.5 * mass_kg)
    pile = sand.pile(batch_id=Batch.objects.get().pk, pile_place_id=yard.piles[0].pk, **yard.who(9))
    more = yard.drying(1)
    with pytest.raises(PlaceFullError) as refused:
        sand.pile(batch_id=more.pk, pile_place_id=yard.piles[0].pk, **yard.who(10))
    # 4 buckets of 3 m3 are 17.6 t dry, 19.4 short tons of 907.185 kg (NIST SP 811, app. B.8)
    assert refused.value.detail == (
        "Pile place pile-1 has room for 29 tons. 19 tons lie there and 19 tons would come. "
        "Choose another place, or count what lies there."
    )
    more.refresh_from_db()
    assert more.stage == Stage.DRYING
    assert batch_mass_kg(pile) == pytest.approx(mass_kg)
    assert place_for_pile(more) == yard.piles[1].pk
    sand.pile(batch_id=more.pk, pile_place_id=yard.piles[1].pk, **yard.who(10))


def test_a_pile_is_counted_by_its_foot(yard: Yard) -> None:
    # Two half cones and a prism between them, faces at 34 degrees: 4 m tan 34 = 2.698 m high,
    # (pi 4^2 / 3 + 8 / 2 x 4) x 2.698 = 88.37 m3 (solid geometry), 1,600 kg/m3 of the farm's own.
    pile = yard.piled()
    sand.measure(batch_id=pile.pk, length_m=8, width_m=12, **yard.who(10))
    assert batch_mass_kg(pile) == pytest.approx(88.37 * 1600, rel=1e-4)
    assert sum(account_balances_kg(yard.site.pk).values()) == pytest.approx(0, abs=1e-6)


def test_what_is_used_up_is_not_counted(yard: Yard) -> None:
    batch = yard.drying()
    sand.pile(batch_id=batch.pk, pile_place_id=yard.piles[0].pk, **yard.who(9))
    with pytest.raises(BatchStageError, match="used up"):
        sand.count(batch_id=batch.pk, dry_kg=10, reason="scale", **yard.who(10))


def test_a_pile_may_fill_its_place_to_the_last(yard: Yard) -> None:
    masses = [batch_mass_kg(yard.drying(bay)) for bay in (0, 1)]
    PilePlace.objects.update(capacity_kg=sum(masses))
    for batch in Batch.objects.all():
        sand.pile(batch_id=batch.pk, pile_place_id=yard.piles[0].pk, **yard.who(9))
    assert batch_mass_kg(Batch.objects.get(stage=Stage.CURING)) == pytest.approx(sum(masses))


def test_a_delivery_larger_than_its_place_is_refused_and_leaves_nothing(yard: Yard) -> None:
    with pytest.raises(PlaceFullError):
        sand.receive_delivery(pile_place_id=yard.piles[0].pk, dry_kg=500_001, **yard.who(1))
    assert not Batch.objects.exists()


def test_a_pile_open_for_eight_days_closes_with_the_load_that_comes_then(yard: Yard) -> None:
    yard.piled(days=9)
    pile = sand.pile(batch_id=yard.drying(1).pk, pile_place_id=yard.piles[0].pk, **yard.who(17))
    assert pile.closed_at == NOW + 17 * DAY


def test_cured_before_its_date_needs_a_reason(yard: Yard) -> None:
    pile = yard.piled()
    with pytest.raises(TooEarlyError):
        sand.mark_cured(batch_id=pile.pk, reason="we need it", **yard.who(80))  # not closed
    sand.close_pile(batch_id=pile.pk, **yard.who(9))
    with pytest.raises(TooEarlyError):
        sand.mark_cured(batch_id=pile.pk, **yard.who(68))
    early = sand.mark_cured(batch_id=pile.pk, reason="short of sand", **yard.who(68))
    assert early.stage == Stage.CURED


def test_only_cured_sand_is_released_and_only_released_sand_is_bedded(yard: Yard) -> None:
    pile = yard.piled()
    with pytest.raises(BatchStageError):
        sand.release(batch_id=pile.pk, **yard.who(80))
    with pytest.raises(BatchStageError):
        yard.bed(pile, 1000)


def test_a_hold_stops_release_and_bedding_until_a_named_person_clears_it(yard: Yard) -> None:
    batch = yard.released()
    hold = put_hold(
        subject_kind=HoldSubject.BATCH, subject_id=batch.pk, reason="laboratory", **yard.who(71)
    )
    with pytest.raises(BatchHeldError):
        yard.bed(batch, 1000)
    clear_hold(hold_id=hold.pk, **yard.who(72))
    assert yard.bed(batch, 1000).stage == Stage.RELEASED


def test_the_oldest_released_batch_goes_first_unless_a_reason_is_given(yard: Yard) -> None:
    old = yard.released(0, days=70)
    young = yard.released(1, days=75)
    with pytest.raises(NotOldestError):
        yard.bed(young, 1000)
    assert yard.bed(young, 1000, reason="the old one is frozen").stage == Stage.RELEASED
    assert yard.bed(old, 1000).stage == Stage.RELEASED


def test_the_last_load_ends_the_batch_as_bedded(yard: Yard) -> None:
    batch = yard.released()
    done = yard.bed(batch, batch_mass_kg(batch))
    assert (done.stage, done.place_id) == (Stage.BEDDED, None)
    assert done.ended_at is not None


def test_a_load_the_books_do_not_hold_is_taken_and_flagged(yard: Yard) -> None:
    batch = yard.released()
    extra_kg = 5_000
    yard.bed(batch, batch_mass_kg(batch) + extra_kg)
    found = SandMove.objects.get(needs_look=True)
    assert found.dry_kg == pytest.approx(extra_kg)


def test_accounts_sum_to_zero_and_mass_from_raw_moves_agrees(yard: Yard) -> None:
    batch = yard.released()
    yard.bed(batch, 4_000)
    sand.dispose(batch_id=batch.pk, dry_kg=500, reason="clay", **yard.who(81))
    sand.receive_delivery(pile_place_id=yard.piles[2].pk, dry_kg=20_000, **yard.who(82))
    assert sum(account_balances_kg(yard.site.pk).values()) == pytest.approx(0, abs=1e-6)
    lane_kg = sum(m.dry_kg for m in SandMove.objects.filter(source__kind="lane"))
    held_kg = sum(batch_mass_kg(b) for b in Batch.objects.filter(is_bought=False))
    assert held_kg == pytest.approx(lane_kg - 4_000 - 500)


def test_a_count_sets_the_books_to_what_was_measured(yard: Yard) -> None:
    batch = yard.released()
    for measured in (9_000.0, 12_000.0):
        sand.count(batch_id=batch.pk, dry_kg=measured, reason="survey", **yard.who(81))
        assert batch_mass_kg(batch) == pytest.approx(measured)


def test_bought_sand_enters_as_cured_and_a_person_releases_it(yard: Yard) -> None:
    bought = sand.receive_delivery(pile_place_id=yard.piles[0].pk, dry_kg=20_000, **yard.who(1))
    assert (bought.stage, bought.is_bought) == (Stage.CURED, True)
    assert sand.release(batch_id=bought.pk, **yard.who(1)).released_by == yard.ana


def test_a_dry_basis_test_is_stored_wet_basis_with_its_origin(yard: Yard) -> None:
    # 25 % dry basis is 20 % wet basis (Gardner, Methods of Soil Analysis, from memory).
    test = sand.add_moisture_test(
        batch_id=yard.drying().pk, moisture_frac=0.25, basis="db", n_spots=3, **yard.who(4)
    )
    assert test.moisture_wb_frac == pytest.approx(0.20)
    assert test.given_basis == "db"


def test_every_step_is_told_upward(yard: Yard) -> None:
    yard.drying()
    steps = [c.detail["step"] for c in Change.objects.filter(topic="batch.stage").order_by("id")]
    assert steps == ["scooped", "spread"]


def test_another_sites_batch_is_not_there(yard: Yard) -> None:
    other = make_site("other")
    with pytest.raises(NotFoundError):
        sand.turn(site_id=other.pk, batch_id=yard.drying().pk, by=make_actor(other, "x"), at=NOW)


def test_pens_are_bedded_together_and_the_last_sand_ends_the_batch(yard: Yard) -> None:
    batch, other = yard.released(), make_pen(yard.site, "2")
    half_kg = batch_mass_kg(batch) / 2
    pens = [yard.pen.pk, other.pk]

    with pytest.raises(NotFoundError):  # one pen that is not there: none gets sand
        sand.bed_pens(batch_id=batch.pk, pen_ids=[*pens, 0], dry_kg=half_kg, **yard.who(80))
    assert not beddings(yard.site.pk).exists()

    batch = sand.bed_pens(batch_id=batch.pk, pen_ids=pens, dry_kg=half_kg, **yard.who(80))
    assert (batch.stage, batch.place) == (Stage.BEDDED, None)
    moves = [(m.target.place_id, m.batch_id, m.dry_kg) for m in beddings(yard.site.pk)]
    assert sorted(moves) == sorted((pk, batch.pk, half_kg) for pk in pens)


def test_what_is_used_up_is_not_disposed_of(yard: Yard) -> None:
    batch = yard.drying()
    sand.pile(batch_id=batch.pk, pile_place_id=yard.piles[0].pk, **yard.who(9))
    with pytest.raises(BatchStageError, match="used up"):
        sand.dispose(batch_id=batch.pk, dry_kg=10, reason="manure", **yard.who(10))
