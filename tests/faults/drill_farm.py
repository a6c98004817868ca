"""Run against the service of the drill: pairs phones, tells what is stored of them.

python -m tests.faults.drill_farm pair N    prints the tokens of N phones, each of a person
python -m tests.faults.drill_farm tell      prints events, photos and loads as JSON
"""

import json
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import django


def pair(n: str) -> list[str]:
    from crews.devices.services import make_pairing_code
    from crews.devices.services import pair as pair_phone
    from equipment.site.models import Site
    from tests.factories import make_worker

    site, now = Site.objects.get(slug="under-fire"), datetime.now(UTC)
    tokens = []
    for number in range(int(n)):
        worker = make_worker(site, f"driver-{number}")
        code = make_pairing_code(site_id=site.pk, worker_id=worker.pk, by=worker.actor, at=now)
        tokens.append(pair_phone(code=code, address="127.0.0.1", at=now)[1])
    return tokens


def tell() -> dict[str, Any]:
    from equipment.attachments.models import Attachment
    from equipment.site.models import Event, SiteVersion
    from schedules.work.models import WorkOrder

    version = SiteVersion.objects.get(site__slug="under-fire")
    return {
        "events": [
            [str(event.pk), event.device_key, event.device_seq, event.state]
            for event in Event.objects.order_by("device_key", "device_seq")
        ],
        "photos": sorted(str(photo.pk) for photo in Attachment.objects.all()),
        "loads": {str(order.pk): order.loads for order in WorkOrder.objects.all()},
        "epoch": str(version.epoch),
        "version": version.version,
        "kept_through": version.kept_through,
    }


if __name__ == "__main__":
    django.setup()
    verbs: dict[str, Callable[..., Any]] = {"pair": pair, "tell": tell}
    print(json.dumps(verbs[sys.argv[1]](*sys.argv[2:])))
