"""What the desk's forms do: read, call one verb, say so, go back."""

from __future__ import annotations

from datetime import timedelta

import segno
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _

from crews.devices.models import Device
from crews.devices.services import make_pairing_code, revoke_device
from crews.people.models import Crew, Worker
from crews.roster.services import call_in_sick, give_pens, mark_present
from equipment.flushing.services import put_lock, take_off_lock
from equipment.machines.models import MOST_METER_H
from equipment.machines.services import (
    add_reading,
    close_defect,
    end_repair,
    record_service,
    start_repair,
)
from equipment.site.calc.local_time import local_date_of
from equipment.site.errors import NotFoundError
from equipment.site.models import SHOP
from equipment.site.services import clear_hold
from schedules.work.decisions import answer_problem

from .base import Desk, desk_view, done, page_context
from .forms import MOST_MIN, read_key, read_keys, read_money, read_number, read_whole, read_words

# Problems and locks -----------------------------------------------------------------------------


@desk_view
def answer(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    answer_problem(
        site_id=desk.site_id,
        problem_id=pk,
        answer=read_words(desk.request.POST, "answer", _("What was done about it"), is_needed=True),
        by=desk.caller.actor,
        at=desk.now,
    )
    page = "problems" if desk.request.POST.get("back") == "problems" else "today"
    return done(desk, _("The problem is answered."), page)


@desk_view
def lock_on(desk: Desk) -> HttpResponse:
    posted = desk.request.POST
    put_lock(
        site_id=desk.site_id,
        place_id=read_key(posted, "place", _("Place")),
        what=read_words(posted, "what", _("What is locked"), most=200),
        by=desk.caller.actor,
        at=desk.now,
    )
    return done(desk, _("Your lock is on record. It stops no valve."), "pens", anchor="locks-h")


@desk_view
def lock_off(desk: Desk, pk: int) -> HttpResponse:
    take_off_lock(
        site_id=desk.site_id,
        lock_id=pk,
        by=desk.caller.actor,
        at=desk.now,
        note=read_words(desk.request.POST, "note", _("How the procedure was followed")),
        is_lead=desk.caller.is_lead,
    )
    return done(desk, _("The lock is off the record."), "pens", anchor="locks-h")


# Crew -------------------------------------------------------------------------------------------


@desk_view
def sick(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    shift = call_in_sick(site_id=desk.site_id, worker_id=pk, at=desk.now)
    words = _("%s is out for this shift; the plan gives their work to others.")
    return done(desk, words % shift.worker.name, "crew")


@desk_view
def here(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    shift = mark_present(site_id=desk.site_id, worker_id=pk, at=desk.now)
    return done(desk, _("%s is here.") % shift.worker.name, "crew")


@desk_view
def pens_to_crew(desk: Desk) -> HttpResponse:
    desk.require_lead()
    posted = desk.request.POST
    is_today = posted.get("when") != "always"
    n = give_pens(
        site_id=desk.site_id,
        crew_id=read_key(posted, "crew", desk.noun("crew")),
        pattern_id=read_key(posted, "pattern", _("Shift")),
        pen_ids=read_keys(posted, "pen", desk.noun("pens")),
        local_date=local_date_of(desk.now, desk.caller.site.zone) if is_today else None,
        at=desk.now,
    )
    return done(desk, _("Saved. %(pens)s: %(n)d.") % {"pens": desk.noun("pens"), "n": n}, "crew")


@desk_view
def pairing(desk: Desk, pk: int) -> HttpResponse:
    """Show a pairing code of a person's phone once: only its hash is kept."""
    desk.require_lead()
    code = make_pairing_code(site_id=desk.site_id, worker_id=pk, by=desk.caller.actor, at=desk.now)
    return _pairing(desk, code, Worker.objects.get(site_id=desk.site_id, pk=pk).name)


@desk_view
def pairing_shared(desk: Desk, pk: int) -> HttpResponse:
    """Show a pairing code of a phone that a crew shares."""
    desk.require_lead()
    code = make_pairing_code(site_id=desk.site_id, crew_id=pk, by=desk.caller.actor, at=desk.now)
    return _pairing(desk, code, Crew.objects.get(site_id=desk.site_id, pk=pk).name)


def _pairing(desk: Desk, code: str, name: str) -> HttpResponse:
    address = desk.request.build_absolute_uri("/phone/")
    picture = segno.make(f"{address}#code={code}", error="m")
    context = page_context(desk, "crew") | {
        "code": f"{code[:4]}-{code[4:]}",
        "name": name,
        "until": desk.clock(desk.now + timedelta(minutes=10)),
        "address": address,
        "picture": mark_safe(picture.svg_inline(scale=6, light="#fff")),  # noqa: S308  our own
    }
    return render(desk.request, "desk/pairing.html", context)


@desk_view
def revoke(desk: Desk, pk: int) -> HttpResponse:
    desk.require_lead()
    if not Device.objects.filter(site_id=desk.site_id, pk=pk).exists():
        raise NotFoundError(_("There is no such phone here."))
    revoke_device(site_id=desk.site_id, device_id=pk, at=desk.now)
    return done(desk, _("That phone has no access any more."), "crew")


# Holds and machines -----------------------------------------------------------------------------


@desk_view
def clear(desk: Desk, pk: int) -> HttpResponse:
    desk.caller.require(*SHOP)
    posted = desk.request.POST
    note = read_words(posted, "note", _("What was put right"))
    clear_hold(site_id=desk.site_id, hold_id=pk, by=desk.caller.actor, at=desk.now, note=note)
    back = posted.get("back", "")
    page = back if back in {"sand", "replan"} else "machines"
    return done(desk, _("The hold is cleared in your name."), page)


@desk_view
def reading(desk: Desk, pk: int) -> HttpResponse:
    posted = desk.request.POST
    added = add_reading(
        site_id=desk.site_id,
        machine_id=pk,
        meter_h=read_number(posted, "meter_h", _("Hours"), most=MOST_METER_H),
        read_at=desk.now,
        by=desk.caller.actor,
        is_new_meter=posted.get("is_new_meter") == "1",
        reason=read_words(posted, "reason", _("Reason")),
    )
    words = _("The reading is saved.")
    if added.due_items:
        names = ", ".join(item.name for item in added.due_items)
        words += " " + _("Due now: %s.") % names
    return done(desk, words, "machines", anchor=f"machine-{pk}")


@desk_view
def service(desk: Desk, pk: int) -> HttpResponse:
    desk.caller.require(*SHOP)
    posted = desk.request.POST
    recorded = record_service(
        site_id=desk.site_id,
        machine_id=pk,
        item_id=read_key(posted, "item", _("Service")),
        done_at=desk.now,
        meter_h=read_number(posted, "meter_h", _("Hours"), most=MOST_METER_H),
        minutes=read_whole(posted, "minutes", _("Minutes"), most=MOST_MIN),
        parts=read_words(posted, "parts", _("Parts")),
        cost=read_money(posted, "cost", _("Cost")),
        reason=read_words(posted, "reason", _("Reason")),
        by=desk.caller.actor,
    )
    due = recorded.next_due.due
    left = f"{due.left_h:,.0f} h" if due.left_h is not None else "–"
    words = _("The service is saved. Next: %(left)s, %(day)s.") % {
        "left": left,
        "day": desk.day(due.due_on) if due.due_on else "–",
    }
    return done(desk, words, "machines", anchor=f"machine-{pk}")


@desk_view
def repair_start(desk: Desk, pk: int) -> HttpResponse:
    desk.caller.require(*SHOP)
    posted = desk.request.POST
    substitute = posted.get("substitute", "")
    start_repair(
        site_id=desk.site_id,
        machine_id=pk,
        cause=read_words(posted, "cause", _("Why"), is_needed=True),
        substitute_id=read_key(posted, "substitute", _("Stand-in")) if substitute else None,
        by=desk.caller.actor,
        at=desk.now,
    )
    return done(desk, _("It is out of use, and out of the plan."), "machines")


@desk_view
def repair_end(desk: Desk, pk: int) -> HttpResponse:
    desk.caller.require(*SHOP)
    posted = desk.request.POST
    end_repair(
        site_id=desk.site_id,
        repair_id=pk,
        parts=read_words(posted, "parts", _("Parts")),
        cost=read_money(posted, "cost", _("Cost")),
        by=desk.caller.actor,
        at=desk.now,
    )
    return done(desk, _("It is back in service, in your name."), "machines")


@desk_view
def defect_close(desk: Desk, pk: int) -> HttpResponse:
    desk.caller.require(*SHOP)
    close_defect(site_id=desk.site_id, defect_id=pk, by=desk.caller.actor, at=desk.now)
    page = "problems" if desk.request.POST.get("back") == "problems" else "machines"
    return done(desk, _("Recorded as put right."), page)
