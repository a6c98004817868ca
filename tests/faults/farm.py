"""Run by `manage.py shell` against the service under fire: makes a small farm, tells its outcome.

python -m tests.faults.farm make        prints what a phone needs as JSON
python -m tests.faults.farm order KEY   makes a standing order, whose work the background must make
python -m tests.faults.farm tell        prints what the database holds as JSON
python -m tests.faults.farm day         makes a farm whose day is worth a search
python -m tests.faults.farm search S    asks for a search of S seconds
python -m tests.faults.farm plan        prints how the search and its plan stand
"""

import json
import sys
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import django

N_ORDERS = 20
N_PEOPLE, N_JOBS = 10, 60


def make() -> dict[str, object]:
    from crews.devices.services import make_pairing_code, pair
    from equipment.site.models import PlaceKind
    from schedules.work.models import Status, WorkOrder
    from tests.factories import make_place, make_site, make_worker

    now = datetime.now(UTC)
    site = make_site("under-fire")
    worker = make_worker(site, "ana")
    place = make_place(site, "slab", PlaceKind.SLAB)
    orders = [
        WorkOrder.objects.create(
            site=site,
            natural_key=f"haul/{n}",
            title={"en": "Haul"},
            place=place,
            local_date=now.date(),
            starts_after=now - timedelta(hours=1),
            due_at=now + timedelta(hours=12),
            duration_min=30,
            status=Status.NEEDS_ACTION,
            updated_at=now,
        ).pk
        for n in range(N_ORDERS)
    ]
    code = make_pairing_code(site_id=site.pk, worker_id=worker.pk, by=worker.actor, at=now)
    _device, token = pair(code=code, address="127.0.0.1", at=now)
    return {"site": site.slug, "token": token, "orders": orders}


def order(key: str) -> dict[str, object]:
    """Make a standing order of two turns a day; the news of it rings for its work."""
    from equipment.site.models import PlaceKind, Site
    from equipment.site.writes import site_write
    from schedules.work.models import Trigger
    from tests.factories import make_standing_order

    site = Site.objects.get(slug="under-fire")
    with site_write(site.pk, datetime.now(UTC)) as write:
        made = make_standing_order(
            site,
            key,
            trigger=Trigger.CALENDAR,
            rule={"rrule": "FREQ=DAILY;BYHOUR=6,18", "at_local": "06:00", "window_h": 1},
            target={"kind": PlaceKind.SLAB, "keys": ["slab"]},
        )
        write.change("standing_order.edited", made.pk)
    return {"standing_order": made.pk}


def tell() -> dict[str, object]:
    from equipment.site.models import Event, TaskRun
    from schedules.work.models import WorkOrder

    return {
        "events": {str(e.pk): [e.kind, e.state, e.device_seq] for e in Event.objects.all()},
        "orders": {
            str(o.pk): [o.status, o.outcome, o.loads]
            for o in WorkOrder.objects.filter(standing_order=None).order_by("pk")
        },
        "made": [
            [o.natural_key, o.starts_after.isoformat()]
            for o in WorkOrder.objects.filter(standing_order__isnull=False)
        ],
        "runs": dict(Counter(TaskRun.objects.values_list("state", flat=True))),
    }


def day() -> dict[str, object]:
    """Make people on shift and work strewn over the site, all of which can be done."""
    from equipment.site.models import PlaceKind
    from tests.factories import make_place, make_shift, make_site, make_work_order, make_worker

    now = datetime.now(UTC)
    site = make_site("long-search")
    for n in range(N_PEOPLE):
        make_shift(make_worker(site, f"worker-{n}"), now - timedelta(hours=1))
    for n in range(N_JOBS):
        east_m, north_m = n * 37 % 101 * 20, n * 53 % 97 * 20
        place = make_place(site, f"slab-{n}", PlaceKind.SLAB, x_m=east_m, y_m=north_m)
        begin = now + timedelta(minutes=40 + n * 29 % 240)
        due_at = begin + timedelta(hours=2)
        make_work_order(site, f"haul/{n}", place=place, starts_after=begin, due_at=due_at)
    return {"jobs": N_JOBS}


def search(seconds: str) -> dict[str, object]:
    from equipment.site.models import Site
    from schedules.dayplan.searches import ask_search

    site = Site.objects.get(slug="long-search")
    ask_search(site_id=site.pk, at=datetime.now(UTC), seconds=float(seconds))
    return {}


def plan() -> dict[str, object]:
    from equipment.site.models import Site, TaskRun
    from schedules.dayplan.models import Assignment, Claim, PlanRun
    from schedules.dayplan.searches import search_of

    site = Site.objects.get(slug="long-search")
    found = search_of(site.pk)
    runs = TaskRun.objects.filter(site=site, kind__startswith="dayplan.")
    return {
        "is_searching": found.is_running and found.n_iterations > 0,
        "holder": found.holder,
        "n_plans": PlanRun.objects.filter(site=site).count(),
        "n_assigned": Assignment.objects.filter(site=site).count(),
        "workers": dict(Counter(Claim.objects.values_list("assignment_id", flat=True))),
        "spans": [
            [worker, span.lower.timestamp(), span.upper.timestamp()]
            for worker, span in Claim.objects.filter(is_binding=True, worker__isnull=False)
            .order_by("worker_id", "span")
            .values_list("worker_id", "span")
        ],
        "runs": dict(Counter(runs.values_list("state", flat=True))),
    }


if __name__ == "__main__":
    django.setup()
    verbs: dict[str, Callable[..., dict[str, object]]] = {
        "make": make,
        "order": order,
        "tell": tell,
        "day": day,
        "search": search,
        "plan": plan,
    }
    print(json.dumps(verbs[sys.argv[1]](*sys.argv[2:])))
