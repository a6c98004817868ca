"""What phones carry, built anew from the site as it stands: documents that speak no language.

A document belongs to one scope: "site", "crew-ID", "worker-ID", "leads" or "shop"
(`scopes.py` says who reads which). Every text in it is given in both languages.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import override

from crews.devices.models import Pin
from crews.people.models import Crew, Worker
from equipment.flushing.queries import open_locks
from equipment.machines.models import CheckItem, ServiceRecord
from equipment.machines.queries import MachineView, machine_views
from equipment.site.models import Language, Place, PlaceKind, Role, Site
from equipment.site.queries import place_name, words_of
from schedules.rounds.models import PenVisit
from schedules.sand.queries import bays_with_batches, free_pile_places

SITE, LEADS, SHOP = "site", "leads", "shop"
LOCKABLE = (PlaceKind.ALLEY, PlaceKind.LANE, PlaceKind.TANK, PlaceKind.BASIN, PlaceKind.PEN)
Text = dict[str, str]
Body = dict[str, Any]


def crew_scope(crew_id: int) -> str:
    """Name the scope of a crew's phones."""
    return f"crew-{crew_id}"


def worker_scope(worker_id: int) -> str:
    """Name the scope of one person's phone."""
    return f"worker-{worker_id}"


@dataclass(frozen=True, slots=True)
class Document:
    """One thing that phones of a scope carry."""

    scope: str
    kind: str
    key: str
    body: Body


class Look:
    """What all builders ask of the site at one moment: 11 queries."""

    def __init__(self, site: Site, now: datetime) -> None:
        self.site = site
        self.now = now
        self.places = {place.pk: place for place in Place.objects.filter(site=site)}
        self.crews = list(Crew.objects.filter(site=site, retired_at=None).order_by("pk"))
        rows = Worker.objects.filter(site=site, retired_at=None).order_by("pk")
        self.workers = {worker.pk: worker for worker in rows}
        self.worker_of_actor = {worker.actor_id: worker for worker in self.workers.values()}
        self.machines: list[MachineView] = machine_views(site.pk)

    def name(self, place_id: int | None) -> Text:
        """Name a place in both languages; nothing where there is none. No query."""
        if place_id is None:
            return dict.fromkeys(Language.values, "")
        place = self.places[place_id]
        return {code: place_name(self.site, place, code) for code in Language.values}

    def scope_of(self, worker_id: int) -> str:
        """Name the scope that holds a person's work: the crew's, or their own. No query."""
        worker = self.workers[worker_id]
        return crew_scope(worker.crew_id) if worker.crew_id else worker_scope(worker_id)


def both(texts: dict[str, str]) -> Text:
    """Give a text in both languages, each by the other where it is missing."""
    any_text = next((text for text in texts.values() if text), "")
    return {code: texts.get(code) or texts.get("en") or any_text for code in Language.values}


def in_both(say: Callable[[], str]) -> Text:
    """Say something in both languages."""
    said = {}
    for code in Language.values:
        with override(code):
            said[code] = str(say())
    return said


def time_of(at: datetime | None) -> str | None:
    """Write an instant as the API does: RFC 3339, UTC."""
    return at.isoformat().replace("+00:00", "Z") if at else None


def site_documents(look: Look) -> Iterator[Document]:
    """The farm, its people, crews, places and visits, PINs and what is locked: 6 queries."""
    yield _farm(look)
    yield from _people(look)
    yield from _pins(look)
    yield from _places(look)
    yield from _locks(look)
    yield from _visits(look)


def _farm(look: Look) -> Document:
    site = look.site
    nouns = {code: words_of(site, code) for code in Language.values}
    body = {
        "name": site.name,
        "time_zone": site.time_zone,
        "clock_h": site.clock_h,
        "units": site.units,
        "nouns": nouns,
    }
    return Document(SITE, "farm", "farm", body)


def _people(look: Look) -> Iterator[Document]:
    leads: dict[int, list[int]] = defaultdict(list)
    for worker in look.workers.values():
        if worker.crew_id and worker.role == Role.LEAD:
            leads[worker.crew_id].append(worker.pk)
        body: Body = {
            "name": worker.name,
            "crew": worker.crew_id,
            "role": worker.role,
            "language": worker.language,
        }
        yield Document(SITE, "worker", str(worker.pk), body)
    for crew in look.crews:
        body = {"name": crew.name, "lead_ids": leads[crew.pk]}
        yield Document(SITE, "crew", str(crew.pk), body)


def _pins(look: Look) -> Iterator[Document]:
    """What PINs hash to, for the phones on which they are asked: 1 query."""
    for pin in Pin.objects.filter(site=look.site, worker__in=look.workers).order_by("pk"):
        body = {"salt": pin.salt, "iterations": pin.iterations, "hash": pin.hash}
        yield Document(look.scope_of(pin.worker_id), "pin", str(pin.worker_id), body)


def _places(look: Look) -> Iterator[Document]:
    """Places that may be locked or take sand: free bays, piles that take more, pens: 3 queries."""
    bays = {bay.pk for bay, batch in bays_with_batches(look.site.pk) if batch is None}
    piles = {pile.pk for pile in free_pile_places(look.site.pk)}
    standing = [place for place in look.places.values() if place.retired_at is None]
    for order, place in enumerate(sorted(standing, key=lambda place: (place.kind, place.key))):
        lockable = place.kind in LOCKABLE
        takes_sand = place.pk in bays or place.pk in piles or place.kind == PlaceKind.PEN
        if lockable or takes_sand:
            body = {
                "kind": place.kind,
                "name": look.name(place.pk),
                "place_order": order,
                "lockable": lockable,
                "takes_sand": takes_sand,
            }
            yield Document(SITE, "place", str(place.pk), body)


def _locks(look: Look) -> Iterator[Document]:
    for lock in open_locks(look.site.pk):
        worker = look.worker_of_actor.get(lock.owner_id)
        body = {
            "place_id": lock.place_id,
            "place": look.name(lock.place_id),
            "owner": lock.owner.name,
            "owner_worker": worker.pk if worker else None,
            "on_at": time_of(lock.on_at),
        }
        yield Document(SITE, "lock", str(lock.pk), body)


def _visits(look: Look) -> Iterator[Document]:
    """Pen visits of the next hours, so that a worker can say where the cows are."""
    visits = PenVisit.objects.filter(
        site=look.site,
        last_back_at__gt=look.now - timedelta(hours=1),
        called_at__lt=look.now + timedelta(hours=36),
    )
    for visit in visits.order_by("called_at"):
        body = {
            "pen": visit.pen_id,
            "name": look.name(visit.pen_id),
            "called_at": time_of(visit.called_at),
            "last_out_at": time_of(visit.last_out_at),
            "first_back_at": time_of(visit.first_back_at),
            "last_back_at": time_of(visit.last_back_at),
            "said": sorted(visit.actual),
        }
        yield Document(SITE, "visit", str(visit.pk), body)


def machine_documents(look: Look) -> Iterator[Document]:
    """Machines and the look round of each kind; services due for the shop: 2 queries."""
    done = _last_services(look.site.pk)
    for view in look.machines:
        last = view.last
        body = {
            "name": view.machine.name,
            "kind": view.machine.kind,
            "is_held": bool(view.holds),
            "hold_cause": view.holds[0] if view.holds else "",
            "meter_h": last.meter_h if last else None,
            "read_at": time_of(last.read_at) if last else None,
        }
        yield Document(SITE, "machine", str(view.machine.pk), body)
        yield from _services(view, done)
    lines = CheckItem.objects.filter(site=look.site, retired_at=None)
    for item in lines:
        body = {
            "machine_kind": item.machine_kind,
            "text": both(item.text),
            "is_safety": item.is_safety,
            "spot": both(item.spot),
            "order": item.position,
        }
        yield Document(SITE, "check_line", str(item.pk), body)


def _last_services(site_id: int) -> dict[tuple[int, int], ServiceRecord]:
    rows = ServiceRecord.objects.filter(site_id=site_id)
    last = rows.order_by("machine_id", "item_id", "-done_at").distinct("machine_id", "item_id")
    return {(row.machine_id, row.item_id): row for row in last}


def _services(view: MachineView, done: dict[tuple[int, int], ServiceRecord]) -> Iterator[Document]:
    for due in view.dues:
        item, left_h = due.item, due.due.left_h
        last = done.get((view.machine.pk, item.pk))
        body = {
            "machine": view.machine.pk,
            "item": item.pk,
            "text": both(item.title or {Language.ENGLISH: item.name}),
            "caution": both(item.caution),
            "due_h": view.last.meter_h + left_h if view.last and left_h is not None else None,
            "due_on": due.due.due_on.isoformat() if due.due.due_on else None,
            "last_done_h": last.meter_h if last else None,
            "last_done_at": time_of(last.done_at) if last else None,
            "minutes": item.duration_min,
            "parts": last.parts if last else "",
        }
        yield Document(SHOP, "service", f"{view.machine.pk}-{item.pk}", body)
