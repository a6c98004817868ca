"""Verbs of the year ahead: begin a run, do its next part, stop it, go on with it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _

from equipment.sandyard.models import Pad
from equipment.site.calc.local_time import local_date_of
from equipment.site.errors import InvalidInputError, NotFoundError
from equipment.site.models import Actor, Site
from equipment.site.runs import enqueue
from equipment.site.writes import site_write
from equipment.weather.calc.members import ClimateHistory
from schedules.errors import NoYearError, YearStateError

from .calc.scenario import Scenario
from .chunks import SETTING_MEMBERS, digest_of, join, reckon_part, unpack
from .facts import climate_before
from .models import OutlookChunk, OutlookRun, OutlookState
from .results import result_of
from .version import code_version, library_versions

CHUNK = 50
RUN_KIND = "outlook.run"
ASK_KIND = "farmfile.year_ahead"
MEMBERS = 1000


@dataclass(frozen=True, slots=True)
class Compared:
    """A scenario under the name that a person gave it; the farm as it is has none."""

    name: str
    scenario: Scenario


def begin_run(
    *,
    site_id: int,
    compared: Sequence[Compared],
    seed: int,
    n_members: int,
    at: datetime,
    by: Actor | None = None,
    in_background: bool = True,
) -> OutlookRun:
    """Write a run with all its inputs, or find the same one that was begun and not finished.

    A run of the same inputs, seed, members and code that was killed or stopped is gone on with.
    """
    site = Site.objects.get(pk=site_id)
    inputs = {
        "compared": [{"name": c.name, "scenario": c.scenario.as_document()} for c in compared]
    }
    inputs = json.loads(json.dumps(inputs))  # as the database gives it back
    history = climate_before(site, compared[0].scenario.start_on)
    facts = {
        "seed": seed,
        "n_members": n_members,
        "inputs_hash": _hash(inputs, history),
        "code_version": code_version(),
    }
    open_states = (OutlookState.RUNNING, OutlookState.STOPPED)
    with site_write(site_id, at) as write:
        rows = OutlookRun.objects.filter(site_id=site_id, state__in=open_states, **facts)
        run = rows.select_for_update(no_key=True).first()
        if run is None:
            run = OutlookRun.objects.create(
                site_id=site_id,
                made_at=at,
                by=by,
                inputs=inputs,
                libraries=library_versions(),
                **facts,
            )
            OutlookChunk.objects.bulk_create(
                OutlookChunk(
                    site_id=site_id, run=run, first=first, n_members=min(CHUNK, n_members - first)
                )
                for first in range(0, n_members, CHUNK)
            )
        elif run.state == OutlookState.STOPPED:
            run.state = OutlookState.RUNNING
            run.save(update_fields=["state"])
        if in_background:
            enqueue(RUN_KIND, key=_key(run), at=at, site_id=site_id, args={"run": run.pk})
        write.touch()
    return run


def do_part(*, run: OutlookRun, at: datetime) -> bool:
    """Reckon the next part of a run and keep it; finish it with the last. False when it is over.

    A crash loses the part it was at. Two at once keep the same bits.
    """
    run.refresh_from_db()
    if run.state != OutlookState.RUNNING:
        return False
    chunk = run.chunks.filter(done_at=None).first()
    if chunk is None:
        _finish(run, at)
        return False
    site = Site.objects.get(pk=run.site_id)
    history = climate_before(site, _start_on(run))
    if run.code_version != code_version() or run.inputs_hash != _hash(run.inputs, history):
        reason = _("Weather record or program changed since it was begun; begin anew.")
        fail_run(run=run, reason=reason, at=at)
        raise NoYearError(reason)
    try:
        part = reckon_part(
            run.inputs, history, seed=run.seed, first=chunk.first, n_members=chunk.n_members
        )
    except ValueError as error:
        fail_run(run=run, reason=str(error), at=at)
        raise NoYearError(str(error)) from error
    with site_write(run.site_id, at) as write:
        rows = OutlookChunk.objects.filter(pk=chunk.pk, done_at=None)
        rows.update(payload=part.pack(), done_at=at)
        write.touch()
    return True


def stop_run(*, site_id: int, run_id: int, at: datetime) -> OutlookRun:
    """Let a run rest after the part it is at; what it has is kept."""
    return _turn(site_id, run_id, OutlookState.RUNNING, OutlookState.STOPPED, at)


def resume_run(*, site_id: int, run_id: int, at: datetime) -> OutlookRun:
    """Go on with a run that was stopped, from the part it had come to."""
    with site_write(site_id, at):
        run = _turn(site_id, run_id, OutlookState.STOPPED, OutlookState.RUNNING, at)
        enqueue(
            RUN_KIND,
            key=f"{_key(run)}:{at.isoformat()}",
            at=at,
            site_id=site_id,
            args={"run": run.pk},
        )
    return run


def fail_run(*, run: OutlookRun, reason: str, at: datetime) -> None:
    """Close a run that cannot go on, with its cause."""
    with site_write(run.site_id, at) as write:
        run.state, run.error, run.finished_at = OutlookState.FAILED, reason[:2000], at
        run.save(update_fields=["state", "error", "finished_at"])
        write.touch()


def go_on_later(*, run: OutlookRun, at: datetime) -> None:
    """Ask for the rest of a run in a task of its own: no task holds a worker for long."""
    n_done = run.chunks.exclude(done_at=None).count()
    with site_write(run.site_id, at):
        enqueue(
            RUN_KIND,
            key=f"{_key(run)}:{n_done}:{at.isoformat()}",
            at=at,
            site_id=run.site_id,
            args={"run": run.pk},
        )


def _turn(
    site_id: int, run_id: int, state: OutlookState, to: OutlookState, at: datetime
) -> OutlookRun:
    with site_write(site_id, at) as write:
        rows = OutlookRun.objects.filter(site_id=site_id, pk=run_id)
        if not rows.filter(state=state).update(state=to):
            if not rows.exists():
                raise NotFoundError(_("There is no year ahead %d here.") % run_id)
            raise YearStateError(_("It is over, or was told so already."))
        write.touch()
    return rows.get()


def _finish(run: OutlookRun, at: datetime) -> None:
    """Sum the parts up, keep the result and the hash of all bits, and let the bits go."""
    n_runs = len(run.inputs["compared"])
    whole = join([unpack(bytes(chunk.payload), n_runs) for chunk in run.chunks.all()])
    with site_write(run.site_id, at) as write:
        run.result, run.digest = result_of(run.inputs, whole), digest_of(whole)
        run.state, run.finished_at = OutlookState.DONE, at
        run.save(update_fields=["result", "digest", "state", "finished_at"])
        run.chunks.update(payload=b"")
        write.touch()


def _start_on(run: OutlookRun) -> date:
    return date.fromisoformat(run.inputs["compared"][0]["scenario"]["start_on"])


def _key(run: OutlookRun) -> str:
    return f"{run.site_id}:{run.pk}"


def _hash(inputs: dict[str, Any], history: ClimateHistory) -> str:
    found = hashlib.sha256(json.dumps(inputs, sort_keys=True).encode())
    found.update(f"{CHUNK} {SETTING_MEMBERS}".encode())
    for array in (history.day, history.et0_mm, history.rain_mm):
        found.update(array.tobytes())
    return found.hexdigest()


def _refuse_pad(site_id: int, key: str) -> None:
    """Refuse to leave out a pad that is not there, or the only one: 1 query."""
    pads = Pad.objects.filter(site_id=site_id, place__retired_at=None)
    keys = set(pads.values_list("place__key", flat=True))
    if key not in keys:
        raise NotFoundError(_("There is no pad %s here to leave out.") % key)
    if len(keys) == 1:
        raise InvalidInputError(_("It is the only pad: without it no sand can be dried."))


def ask_year(
    *,
    site_id: int,
    by: Actor,
    at: datetime,
    n_members: int = MEMBERS,
    seed: int | None = None,
    change: Mapping[str, float | str] | None = None,
) -> int:
    """Ask for a year ahead in the background, compared with one change of the farm; give its seed.

    `change` holds fields of `sand_practice` and `year_ahead` by name, `without_pad` (a key) and
    `more_cows_frac`. The farm file's room reads the site, since a change is laid over its file.
    """
    site = Site.objects.get(pk=site_id)
    climate_before(site, local_date_of(at, site.zone))
    if pad := (change or {}).get("without_pad"):
        _refuse_pad(site_id, str(pad))
    seed = local_date_of(at, site.zone).toordinal() if seed is None else seed
    args = {"by": by.pk, "n_members": n_members, "seed": seed, "change": dict(change or {})}
    with site_write(site_id, at) as write:
        write.touch()
        enqueue(ASK_KIND, key=f"{site_id}:{at.isoformat()}", at=at, site_id=site_id, args=args)
    return seed
