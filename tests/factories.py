"""Small, plain makers of a farm for tests: what a test does not name gets a usable default.

Each takes the site first and names as keywords only what a test may care about.
"""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from crews.devices.models import Device
from crews.devices.services import make_pairing_code, pair
from crews.people.models import Skill, Worker, WorkerSkill
from crews.roster.models import Shift, ShiftPattern
from equipment.barns.models import Alley, BedGroup, Pen, PenKind, ReturnMode
from equipment.basins.models import Basin, CropField
from equipment.flushing.models import FlushTimer, Tank, TimerTrigger
from equipment.machines.models import Machine, MachineKind
from equipment.parlor.models import MilkingStart, Parlor
from equipment.sandyard.models import Bay, Lane, Pad, PilePlace
from equipment.site.models import (
    Actor,
    ActorKind,
    Membership,
    Place,
    PlaceKind,
    Role,
    Site,
    User,
)
from equipment.site.services import create_site
from schedules.rounds.models import BedWindow, Milking, PenVisit
from schedules.sand.ledger import Amount, account, move
from schedules.sand.models import AccountKind, Batch, Stage
from schedules.work.models import StandingOrder, Trigger, WorkOrder

LONG_AGO = date(2020, 1, 1)


def utc(text: str) -> datetime:
    """Read an instant written without offset as UTC: `utc("2026-03-08 09:30")`."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def make_site(slug: str = "three-cairns", *, time_zone: str = "America/Denver") -> Site:
    return create_site(
        slug=slug,
        name=slug.replace("-", " ").title(),
        time_zone=time_zone,
        latitude_deg=38.6,
        longitude_deg=-102.4,
        elevation_m=1190,
    )


def make_place(
    site: Site, key: str, kind: PlaceKind, *, drains_to: Place | None = None, **facts: Any
) -> Place:
    return Place.objects.create(
        site=site, key=key, kind=kind, **{"label": key, "drains_to": drains_to, **facts}
    )


def make_basin(site: Site, key: str = "basin", **facts: Any) -> Basin:
    """40 x 10 m with walls, 2 m deep, to act at 1.7 m."""
    usual = {"length_m": 40, "width_m": 10, "depth_m": 2, "must_act_depth_m": 1.7, "sludge_m": 0.1}
    place = make_place(site, key, PlaceKind.BASIN)
    return Basin.objects.create(site=site, place=place, **{**usual, **facts})


def make_crop_field(site: Site, key: str = "flat", **facts: Any) -> CropField:
    """100 ha of corn at 1 km."""
    usual = {
        "name": key,
        "crop": "Corn",
        "area_ha": 100,
        "distance_km": 1,
        "need_n_kg_ha": 200,
        "need_p2o5_kg_ha": 80,
        "need_k2o_kg_ha": 150,
    }
    return CropField.objects.create(site=site, key=key, **{**usual, **facts})


def make_parlor(
    site: Site, key: str = "parlor", *, starts_local: tuple[str, ...] = (), **facts: Any
) -> Parlor:
    """A rotary of 80 stalls at 6 s without losses; `starts_local` are its milkings of a day."""
    usual = {"n_stalls": 80, "seconds_per_stall_s": 6.0, "wash_min": 45}
    parlor = Parlor.objects.create(
        site=site, place=make_place(site, key, PlaceKind.PARLOR), **{**usual, **facts}
    )
    for slot, text in enumerate(starts_local, start=1):
        MilkingStart.objects.create(
            site=site, parlor=parlor, slot=slot, starts_local=time.fromisoformat(text)
        )
    return parlor


def make_pen(
    site: Site,
    key: str = "1",
    *,
    n_cows: int = 300,
    milking_rank: int | None = None,
    return_mode: ReturnMode = ReturnMode.NONE,
    **facts: Any,
) -> Pen:
    """A pen of 300 cows, 200 m from the parlor, after the pens that stand already."""
    rank = Pen.objects.filter(site=site).count() + 1 if milking_rank is None else milking_rank
    return Pen.objects.create(
        site=site,
        place=make_place(site, f"pen-{key}", PlaceKind.PEN),
        n_cows=n_cows,
        milking_rank=rank,
        return_mode=return_mode,
        **{"kind": PenKind.MILKING, "walk_m": 200, **facts},
    )


def make_bed_group(
    pen: Pen, key: str = "a", *, n_stalls: int = 100, alley: Alley | None = None, **facts: Any
) -> BedGroup:
    place = make_place(pen.site, f"{pen}-beds-{key}", PlaceKind.BED_GROUP, parent=pen.place)
    return BedGroup.objects.create(
        site=pen.site, place=place, pen=pen, n_stalls=n_stalls, alley=alley, **facts
    )


def make_alley(
    site: Site,
    key: str = "alley-1",
    *,
    pen: Pen | None = None,
    drains_to: Place | None = None,
    **facts: Any,
) -> Alley:
    """An alley of 120 m; without a pen it is a return or holding alley."""
    usual = {"length_m": 120.0, "width_m": 3.6, "slope_frac": 0.02}
    parent = pen.place if pen else None
    place = make_place(site, key, PlaceKind.ALLEY, drains_to=drains_to, parent=parent)
    return Alley.objects.create(site=site, place=place, pen=pen, **{**usual, **facts})


def make_tank(site: Site, key: str = "tank-1", **facts: Any) -> Tank:
    usual = {"volume_m3": 150.0, "refill_m3_h": 60.0}
    return Tank.objects.create(
        site=site, place=make_place(site, key, PlaceKind.TANK), **{**usual, **facts}
    )


def make_lane(site: Site, key: str = "lane-1", **facts: Any) -> Lane:
    return Lane.objects.create(
        site=site, place=make_place(site, key, PlaceKind.LANE), **{"capacity_m3": 60.0, **facts}
    )


def make_flush_timer(
    alley: Alley, tank: Tank, *, times_local: tuple[str, ...] = (), **facts: Any
) -> FlushTimer:
    """A timer that opens for 20 s: at the times given, else at each visit."""
    usual = {"key": f"flush-{alley}", "name": f"Flush {alley}", "open_s": 20.0, "flow_m3_s": 0.5}
    return FlushTimer.objects.create(
        site=alley.site,
        alley=alley,
        tank=tank,
        trigger=TimerTrigger.AT_TIMES if times_local else TimerTrigger.AT_VISIT,
        times_local=list(times_local),
        **{**usual, **facts},
    )


def make_actor(site: Site, key: str = "someone", *, user: User | None = None) -> Actor:
    return Actor.objects.create(
        site=site, kind=ActorKind.PERSON, key=key, name=key.title(), user=user
    )


def make_skill(site: Site, key: str) -> Skill:
    return Skill.objects.get_or_create(site=site, key=key, defaults={"name": key.title()})[0]


def make_worker(
    site: Site, key: str = "ana", *, skills: tuple[str, ...] = (), **facts: Any
) -> Worker:
    worker = Worker.objects.create(
        site=site, key=key, **{"name": key.title(), "actor": make_actor(site, key), **facts}
    )
    for skill in skills:
        WorkerSkill.objects.create(
            site=site, worker=worker, skill=make_skill(site, skill), from_on=LONG_AGO
        )
    return worker


def make_machine(
    site: Site, key: str = "loader-1", *, kind: MachineKind = MachineKind.LOADER, **facts: Any
) -> Machine:
    shop = Place.objects.filter(site=site, key="shop").first()
    home = shop or make_place(site, "shop", PlaceKind.SHOP)
    return Machine.objects.create(
        site=site, key=key, kind=kind, **{"name": key.title(), "home": home, **facts}
    )


def make_phone(worker: Worker, at: datetime) -> tuple[Device, str]:
    """A phone paired for a worker, and its token."""
    code = make_pairing_code(site_id=worker.site_id, worker_id=worker.pk, by=worker.actor, at=at)
    return pair(code=code, address="127.0.0.1", at=at)


def make_shift(worker: Worker, starts_at: datetime, **facts: Any) -> Shift:
    """A shift of eight hours."""
    pattern, _made = ShiftPattern.objects.get_or_create(
        site=worker.site,
        key="day",
        defaults={"name": "Day", "starts_local": time(5), "duration_min": 480},
    )
    usual = {
        "pattern": pattern,
        "local_date": starts_at.astimezone(worker.site.zone).date(),
        "ends_at": starts_at + timedelta(hours=8),
    }
    return Shift.objects.create(
        site=worker.site, worker=worker, starts_at=starts_at, **{**usual, **facts}
    )


def make_bay(site: Site, key: str = "bay-1", **facts: Any) -> Bay:
    """A bay for 60 t on the site's one pad."""
    standing = Pad.objects.filter(site=site).first()
    pad = standing or Pad.objects.create(site=site, place=make_place(site, "pad", PlaceKind.PAD))
    usual = {"area_m2": 150, "capacity_kg": 60_000}
    place = make_place(site, key, PlaceKind.BAY, parent=pad.place)
    return Bay.objects.create(site=site, pad=pad, place=place, **{**usual, **facts})


def make_pile_place(site: Site, key: str = "pile-1") -> PilePlace:
    place = make_place(site, key, PlaceKind.PILE_PLACE)
    return PilePlace.objects.create(site=site, place=place, capacity_kg=500_000)


def make_batch(
    site: Site,
    stage: Stage,
    *,
    at: datetime,
    place: Place | None = None,
    dry_kg: float = 20_000,
    **facts: Any,
) -> Batch:
    """A batch that came into a stage at a moment, with its sand on the ledger as found."""
    by = Actor.objects.filter(site=site).first() or make_actor(site)
    where = place or make_place(site, f"heap-{Batch.objects.count()}", PlaceKind.PILE_PLACE)
    is_released = {"released_by": by, "released_at": at} if stage == Stage.RELEASED else {}
    usual = {"opened_at": at, "stage_since": at, "moisture_wb_frac": 0.1, "cure_d": 60}
    number = Batch.objects.filter(site=site).count() + 1
    batch = Batch.objects.create(
        site=site, number=number, stage=stage, place=where, **{**usual, **is_released, **facts}
    )
    move(
        batch=batch,
        source=account(site.pk, AccountKind.COUNT),
        target=account(site.pk, AccountKind.PLACE, where),
        amount=Amount.exactly(dry_kg),
        by=by,
        at=at,
    )
    return batch


def make_user(role: Role, site: Site | None = None, *, username: str | None = None) -> User:
    """An account with that role on the site; without a site, a stranger to all."""
    user = User.objects.create_user(username or f"{role}-{site.slug if site else 'stranger'}")
    if site is not None:
        Membership.objects.create(site=site, user=user, role=role)
    return user


TRIGGER_RULES: dict[str, dict[str, Any]] = {
    Trigger.CALENDAR: {
        "rrule": "FREQ=DAILY",
        "at_local": "06:00",
        "from_on": "2026-01-01",
        "window_h": 4,
    },
    Trigger.HOURS_SINCE: {"hours": 24, "window_h": 4},
    Trigger.PEN_VISIT: {"within": "usable"},
    Trigger.BATCH_STAGE: {"stage": "draining", "step": "spread", "after_h": 36, "window_h": 12},
    Trigger.METER: {"due_within_d": 5},
    Trigger.WEATHER: {"measure": "rain_mm", "at_least": 13, "at_local": "07:00", "window_h": 12},
}
TARGET_KINDS = {Trigger.PEN_VISIT: PlaceKind.BED_GROUP, Trigger.CALENDAR: PlaceKind.PEN}


def make_standing_order(
    site: Site,
    key: str = "groom",
    *,
    trigger: Trigger = Trigger.PEN_VISIT,
    rule: dict[str, Any] | None = None,
    **facts: Any,
) -> StandingOrder:
    """A plain rule of the trigger; `rule` changes single keys of it, None takes one out."""
    document = {**TRIGGER_RULES.get(trigger, {}), **(rule or {})}
    usual = {
        "name": key.title(),
        "title": {"en": key.title()},
        "trigger_rule": {k: v for k, v in document.items() if v is not None},
        "target": {"kind": TARGET_KINDS.get(trigger, PlaceKind.SITE)},
        "duration": {"base_min": 5},
    }
    return StandingOrder.objects.create(site=site, key=key, trigger=trigger, **{**usual, **facts})


def make_milking(
    parlor: Parlor, starts_at: datetime, *, local_date: date | None = None, slot: int = 1
) -> Milking:
    """A milking of seven hours and its wash."""
    day = local_date or starts_at.astimezone(parlor.site.zone).date()
    ends_at = starts_at + timedelta(hours=7)
    return Milking.objects.create(
        site=parlor.site,
        parlor=parlor,
        local_date=day,
        slot=slot,
        starts_at=starts_at,
        ends_at=ends_at,
        wash_until=ends_at + timedelta(minutes=parlor.wash_min),
    )


def make_visit(milking: Milking, pen: Pen, *, first_out_at: datetime) -> PenVisit:
    """A visit of 55 min that leaves the pen empty from minute 4 to 20, all its beds usable 5-19."""
    at = {
        name: first_out_at + timedelta(minutes=minutes)
        for name, minutes in (
            ("called_at", -2), ("first_out_at", 0), ("last_out_at", 4),
            ("first_on_at", 5), ("first_back_at", 20), ("last_back_at", 55),
        )
    }  # fmt: skip
    visit = PenVisit.objects.create(
        site=pen.site,
        milking=milking,
        pen=pen,
        position=milking.visits.count(),
        n_cows=pen.n_cows,
        **at,
    )
    for beds in pen.bed_groups.all():
        BedWindow.objects.create(
            site=pen.site,
            visit=visit,
            bed_group=beds,
            opens_at=visit.last_out_at,
            closes_at=visit.first_back_at,
            usable_from=first_out_at + timedelta(minutes=5),
            usable_until=first_out_at + timedelta(minutes=19),
        )
    return visit


def make_work_order(site: Site, key: str = "by-hand/1", **facts: Any) -> WorkOrder:
    """A work order from 12:00 to 14:00 UTC on 4 March 2026, on a bed group of 100 stalls."""
    if "place" not in facts:
        beds = BedGroup.objects.filter(site=site).first() or make_bed_group(make_pen(site))
        facts["place"] = beds.place
    starts_after = facts.get("starts_after", utc("2026-03-04 12:00"))
    usual = {
        "title": {"en": "Groom"},
        "local_date": starts_after.date(),
        "starts_after": starts_after,
        "due_at": starts_after + timedelta(hours=2),
        "duration_min": 10,
        "updated_at": starts_after,
    }
    return WorkOrder.objects.create(site=site, natural_key=key, **{**usual, **facts})
