"""Run by `manage.py shell` against the service under fire: makes a small farm, tells its outcome.

python -m tests.faults.farm make    prints what a phone needs as JSON
python -m tests.faults.farm tell    prints what the database holds as JSON
"""

import json
import sys
from collections import Counter
from datetime import UTC, datetime, timedelta

import django

N_ORDERS = 20


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


def tell() -> dict[str, object]:
    from equipment.site.models import Event, TaskRun
    from schedules.work.models import WorkOrder

    return {
        "events": {str(e.pk): [e.kind, e.state, e.device_seq] for e in Event.objects.all()},
        "orders": {
            str(o.pk): [o.status, o.outcome, o.loads] for o in WorkOrder.objects.order_by("pk")
        },
        "runs": dict(Counter(TaskRun.objects.values_list("state", flat=True))),
    }


if __name__ == "__main__":
    django.setup()
    print(json.dumps({"make": make, "tell": tell}[sys.argv[1]]()))
