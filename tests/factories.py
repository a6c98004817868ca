"""Small, plain makers of a farm for tests: what a test does not name gets a usable default.

Each takes the site first and names as keywords only what a test may care about.
"""

from datetime import UTC, date, datetime, time
from typing import Any

from crews.people.models import Skill, Worker, WorkerSkill
from equipment.barns.models import Alley, BedGroup, Pen, PenKind, ReturnMode
from equipment.flushing.models import FlushTimer, Tank, TimerTrigger
from equipment.machines.models import Machine, MachineKind
from equipment.parlor.models import MilkingStart, Parlor
from equipment.sandyard.models import Lane
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


def make_user(role: Role, site: Site | None = None, *, username: str | None = None) -> User:
    """An account with that role on the site; without a site, a stranger to all."""
    user = User.objects.create_user(username or f"{role}-{site.slug if site else 'stranger'}")
    if site is not None:
        Membership.objects.create(site=site, user=user, role=role)
    return user
