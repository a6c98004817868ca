"""One small farm with something in every room, built around a moment, for tests of the doors."""

import hashlib
import json
import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from io import BytesIO
from typing import Any

from django.apps import apps
from django.test import Client
from PIL import Image

from crews.people.models import Crew, Worker
from crews.roster.calc.json_io import solution_to_json
from crews.roster.calc.solution import Solution
from crews.roster.calc.solution import Status as Found
from crews.roster.models import (
    CrewPens,
    RosterRun,
    RosterState,
    ShiftPattern,
    ShiftWish,
    SwapRequest,
)
from equipment.attachments import store
from equipment.attachments.models import Attachment, SubjectKind
from equipment.attachments.services import attach
from equipment.barns.models import Pen
from equipment.basins.models import BasinPractice, FieldWindow, HaulTruck
from equipment.basins.services import (
    record_analysis,
    record_application,
    record_clean_out,
    record_level,
    switch_gate,
)
from equipment.flushing.models import FlushRun, FlushTimer, RunStatus
from equipment.flushing.services import put_lock
from equipment.machines.models import CheckItem, Machine, MeterReading, ServiceItem
from equipment.machines.services import (
    end_repair,
    record_service,
    report_defect,
    start_repair,
    submit_check,
)
from equipment.sandyard.models import SandPractice, Slab
from equipment.site.calc.local_time import local_date_of
from equipment.site.models import (
    Actor,
    Event,
    HoldSubject,
    PlaceKind,
    Role,
    Site,
    SiteModel,
)
from equipment.site.queries import site_version
from equipment.site.services import put_hold
from equipment.weather.models import DayForecast, WeatherDay, WeatherStation, WeekForecast
from schedules.alerts.models import Alert, AlertKind, AnswerCode
from schedules.calendars.models import CalendarKind
from schedules.calendars.services import make_link
from schedules.dayplan.models import Assignment, Claim, DaySearch, PlanRun, Unassigned
from schedules.handover.models import WalkLine
from schedules.handover.services import hand_over
from schedules.outlook.models import OutlookChunk, OutlookRun, OutlookState
from schedules.phone.models import Carried, CarriedState
from schedules.rounds.models import Milking, MilkingState, PenVisit
from schedules.sand.models import Batch, DryForecast, Stage
from schedules.sand.services import add_moisture_test, bed_pens
from schedules.work.models import Dependency, Problem, Status, WorkOrder
from schedules.work.progress import add_load, report_problem
from tests.factories import (
    make_alley,
    make_basin,
    make_batch,
    make_bay,
    make_bed_group,
    make_crop_field,
    make_flush_timer,
    make_lane,
    make_machine,
    make_milking,
    make_parlor,
    make_pen,
    make_phone,
    make_pile_place,
    make_place,
    make_shift,
    make_site,
    make_standing_order,
    make_tank,
    make_visit,
    make_work_order,
    make_worker,
)

DAY, HOUR, MINUTE = timedelta(days=1), timedelta(hours=1), timedelta(minutes=1)
# A refused event is kept with who told it; what phones carry is made when one asks.
KEPT_BESIDE = (Actor, Event, Carried, CarriedState)
N_EACH = 3  # of what one call uses up: a batch is spread once


def say(client: Client, path: str, body: dict[str, Any] | None = None) -> Any:
    """Make an unsafe call below the farm's address with a key of its own."""
    return client.post(
        f"/api/v1/sites/ours/{path}",
        json.dumps(body or {}),
        content_type="application/json",
        headers={"Idempotency-Key": str(uuid.uuid4())},
    )


def ask(client: Client, path: str, query: dict[str, Any] | None = None) -> Any:
    """Read below the farm's address; gives the body of an answer that must be there."""
    response = client.get(f"/api/v1/sites/ours/{path}", query)
    assert response.status_code == 200, response.content
    return response.json()


@dataclass
class Farm:
    """The site, who acts on it, and the moment it was built around."""

    slug: str
    now: datetime = field(default_factory=lambda: datetime.now(UTC).replace(microsecond=0))

    def __post_init__(self) -> None:
        self.site: Site = make_site(self.slug)
        self.worker: Worker = make_worker(self.site, "ana", role=Role.WORKER)
        self.manager: Worker = make_worker(self.site, "max", role=Role.MANAGER)
        self.phone, self.worker_token = make_phone(self.worker, self.now)
        _phone, self.manager_token = make_phone(self.manager, self.now)
        self.shop = make_place(self.site, "shop", PlaceKind.SHOP)
        self._build_barns()
        self._build_crews()
        self._build_machines()
        self._build_milkings()
        self._build_sand()
        self._build_work()
        self._build_plan()
        self._build_weather()
        self._build_forecasts()
        self._build_rosters()
        self._build_basins()
        self._build_attachments()
        self._build_handover()
        self._build_calendars()
        self._build_alerts()

    def who(self, worker: Worker | None = None) -> dict[str, Any]:
        """Keyword arguments that every verb takes."""
        by = (worker or self.worker).actor
        return {"site_id": self.site.pk, "by": by, "at": self.now - HOUR}

    def fingerprint(self) -> dict[str, int]:
        """How many rows the site has in each table, and its count of committed changes."""
        counts = {
            model.__name__: model._base_manager.filter(site=self.site).count()
            for model in apps.get_models()
            if issubclass(model, SiteModel) and model not in KEPT_BESIDE
        }
        return {**counts, "version": site_version(self.site.pk)}

    def _build_barns(self) -> None:
        local = [(self.now + n * HOUR).astimezone(self.site.zone) for n in (1, 9)]
        self.parlor = make_parlor(self.site, starts_local=tuple(f"{at:%H:%M}" for at in local))
        self.lane = make_lane(self.site)
        tank = make_tank(self.site)
        self.pens: list[Pen] = []
        for key in ("1", "2", "3"):
            pen = make_pen(self.site, key)
            alley = make_alley(self.site, f"alley-{key}", pen=pen, drains_to=self.lane.place)
            make_bed_group(pen, alley=alley)
            make_flush_timer(alley, tank)
            self.pens.append(pen)
        self._run_flushes()
        put_hold(
            subject_kind=HoldSubject.PEN, subject_id=self.pens[2].pk, reason="gate", **self.who()
        )
        for worker in (self.manager, self.worker):
            put_lock(place_id=self.lane.pk, what="valve", **self.who(worker))

    def _run_flushes(self) -> None:
        """What ran two days ago: too long for any tank to know of."""
        FlushRun.objects.bulk_create(
            FlushRun(
                site=self.site,
                timer=timer,
                alley=timer.alley,
                natural_key=f"{timer.key}/past",
                starts_at=self.now - 2 * DAY,
                ends_at=self.now - 2 * DAY + 6 * MINUTE,
                volume_m3=10,
                status=RunStatus.DONE,
            )
            for timer in FlushTimer.objects.filter(site=self.site)
        )

    def _build_crews(self) -> None:
        self.crew = Crew.objects.create(site=self.site, key="one", name="One")
        Worker.objects.filter(site=self.site).update(crew=self.crew)
        self.spare = make_worker(self.site, "ben", crew=self.crew)
        for worker in (self.worker, self.manager, self.spare):
            make_shift(worker, self.now - 2 * HOUR)
        Crew.objects.create(site=self.site, key="two", name="Two")
        night = {"key": "night", "name": "Night", "starts_local": time(21), "duration_min": 480}
        ShiftPattern.objects.create(site=self.site, **night)
        for pattern in ShiftPattern.objects.filter(site=self.site):
            CrewPens.objects.create(
                site=self.site, crew=self.crew, pattern=pattern, pen=self.pens[0]
            )

    def _build_machines(self) -> None:
        self.machines: list[Machine] = [
            make_machine(self.site, f"loader-{n}", bucket_m3=3.0) for n in (1, 2, 3)
        ]
        MeterReading.objects.bulk_create(
            MeterReading(
                site=self.site,
                machine=machine,
                read_at=self.now - days * DAY,
                meter_h=1000 - 6 * days,
                by=self.worker.actor,
            )
            for machine in self.machines
            for days in range(10, 0, -1)
        )
        ServiceItem.objects.create(
            site=self.site,
            key="oil",
            name="Oil",
            machine_kind="loader",
            every_h=250,
            duration_min=60,
            skill="mechanic",
        )
        for position in (1, 2):
            CheckItem.objects.create(
                site=self.site,
                key=f"line-{position}",
                name="Line",
                machine_kind="loader",
                position=position,
                text={"en": "Tight"},
            )
        self._tell_of_machines()

    def _tell_of_machines(self) -> None:
        """Every kind of report twice, by two people."""
        first = self.machines[0].pk
        item = ServiceItem.objects.get(site=self.site).pk
        lines = CheckItem.objects.filter(site=self.site)
        answers = [{"item": line.pk, "ok": True} for line in lines]
        for hours, worker in ((3, self.worker), (2, self.manager)):
            who = {**self.who(worker), "at": self.now - hours * HOUR}
            report_defect(machine_id=first, text="seat torn", is_safety=False, **who)
            submit_check(machine_id=first, answers=answers, **who)
            repair = start_repair(machine_id=first, cause="tire flat", **who)
            end_repair(repair_id=repair.pk, **who | {"at": who["at"] + MINUTE})
            done_at = who.pop("at")
            record_service(
                machine_id=first, item_id=item, done_at=done_at, meter_h=1000 - hours, **who
            )
        for machine, worker in zip(self.machines[1:], (self.worker, self.manager), strict=True):
            start_repair(machine_id=machine.pk, cause="hose burst", **self.who(worker))

    def _build_milkings(self) -> None:
        self.milkings: list[Milking] = []
        self.visits: list[PenVisit] = []
        for slot, hours in ((1, 1), (2, 9)):
            starts_at = self.now + hours * HOUR
            day = self.now.astimezone(self.site.zone).date()
            milking = make_milking(self.parlor, starts_at, slot=slot, local_date=day)
            self.milkings.append(milking)
            for turn, pen in enumerate(self.pens):
                out_at = starts_at + turn * 30 * MINUTE
                self.visits.append(make_visit(milking, pen, first_out_at=out_at))
        under_way = make_milking(self.parlor, self.now - 7 * HOUR, slot=3, local_date=day)
        Milking.objects.filter(pk=under_way.pk).update(state=MilkingState.STARTED)
        make_visit(under_way, self.pens[0], first_out_at=self.now - 7 * HOUR)

    def _build_sand(self) -> None:
        SandPractice.objects.create(site=self.site)
        slab = make_place(self.site, "slab", PlaceKind.SLAB)
        Slab.objects.create(site=self.site, place=slab, capacity_kg=400_000)
        before = self.now - 5 * DAY
        self.bays = [make_bay(self.site, f"bay-{n}") for n in range(2 * N_EACH)]
        self.pile_places = [make_pile_place(self.site, f"pile-{n}") for n in range(N_EACH)]
        self.batches: dict[Stage, list[Batch]] = {stage: [] for stage in Stage}
        for n in range(N_EACH):
            self._batch(Stage.DRAINING, at=before, place=slab, closed_at=before)
            self._batch(Stage.DRYING, at=before, place=self.bays[n].place)
            self._batch(Stage.CURING, at=before)
            self._batch(Stage.CURING, at=before, closed_at=before, ready_on=before.date())
            self._batch(Stage.CURED, at=before, closed_at=before)
            self._batch(Stage.RELEASED, at=before - n * DAY, closed_at=before - n * DAY)
        for batch, worker in zip(
            self.batches[Stage.DRYING], 2 * (self.worker, self.manager), strict=False
        ):
            self._test_and_forecast(batch, worker)
        self._bed_pens()

    def _bed_pens(self) -> None:
        """Each pen got sand twice three weeks ago, of a batch that is used up since."""
        at = self.now - 21 * DAY
        batch = make_batch(self.site, Stage.RELEASED, at=at, dry_kg=2 * len(self.pens) * 1000)
        pens = [pen.pk for pen in self.pens]
        for worker in (self.worker, self.manager):
            who = {**self.who(worker), "at": at}
            bed_pens(batch_id=batch.pk, pen_ids=pens, dry_kg=1000, **who)

    def _test_and_forecast(self, batch: Batch, worker: Worker) -> None:
        for basis in ("wb", "db"):
            add_moisture_test(
                batch_id=batch.pk, moisture_frac=0.1, basis=basis, n_spots=3, **self.who(worker)
            )
        DryForecast.objects.create(
            site=self.site,
            batch=batch,
            made_at=self.now,
            n_members=20,
            dry_on_p50=self.now.date(),
            dots=[""],
            et0_method="given",
        )

    def _batch(self, stage: Stage, **facts: Any) -> None:
        self.batches[stage].append(make_batch(self.site, stage, **facts))

    def _build_work(self) -> None:
        self.rule = make_standing_order(self.site)
        self.orders: list[WorkOrder] = [self._order(f"open/{n}") for n in range(10 * N_EACH)]
        begun = {"started_at": self.now - HOUR, "started_by": self.worker.actor}
        self.orders += [
            self._order(f"begun/{n}", status=Status.IN_PROCESS, **begun) for n in range(N_EACH)
        ]
        self.orders += [
            self._order(f"asked/{n}", needs_decision="outside_window") for n in range(N_EACH)
        ]
        self.scrape = make_standing_order(self.site, "scrape")
        self._build_record()
        for first in self.orders[1:3]:
            Dependency.objects.create(
                site=self.site, work_order=self.orders[0], on=first, gap_min=10
            )
        for worker in (self.worker, self.manager):
            add_load(work_order_id=self.orders[1].pk, **self.who(worker))
            report_problem(place_id=self.lane.pk, text="gate bent", **self.who(worker))

    def _build_record(self) -> None:
        """Five jobs of two days ago that took 20 minutes each: something to learn from."""
        began = self.now - 2 * DAY
        for n in range(5):
            self._order(
                f"done/{n}",
                standing_order=self.scrape,
                place=self.shop,
                status=Status.COMPLETED,
                outcome="done",
                started_at=began,
                ended_at=began + 20 * MINUTE,
                starts_after=began,
                due_at=began + HOUR,
                local_date=began.astimezone(self.site.zone).date(),
                updated_at=began,
            )

    def _order(self, key: str, **facts: Any) -> WorkOrder:
        usual: dict[str, Any] = {
            "place": self.pens[len(key) % 2].bed_groups.get().place,
            "standing_order": self.rule,
            "starts_after": self.now - HOUR,
            "due_at": self.now + 4 * HOUR,
            "local_date": self.now.astimezone(self.site.zone).date(),
            "updated_at": self.now - HOUR,
        }
        return make_work_order(self.site, key, **{**usual, **facts})

    def _build_plan(self) -> None:
        for number in (1, 2):
            self.plan = PlanRun.objects.create(
                site=self.site,
                local_date=self.now.date(),
                number=number,
                made_at=self.now,
                site_version=1,
                seed=1,
                problem={"schema": "problem"},
                solution={"schema": "solution"},
                n_assigned=2,
                n_unassigned=2,
            )
        DaySearch.objects.create(
            site=self.site, is_running=True, began_at=self.now, told_at=self.now, left_s=30
        )
        self.assigned = self.orders[3]
        for hours, order in enumerate(self.orders[3:5], start=2):
            self._give(order, self.now + hours * HOUR)
        for order in self.orders[6:8]:
            Unassigned.objects.create(
                site=self.site,
                work_order=order,
                plan=self.plan,
                reasons=[{"code": "no_skilled_person", "facts": {"skills": ["groomer"]}}],
            )

    def _give(self, order: WorkOrder, starts_at: datetime) -> None:
        span = (starts_at, starts_at + 10 * MINUTE)
        given = Assignment.objects.create(
            site=self.site, work_order=order, starts_at=span[0], ends_at=span[1]
        )
        for thing in ({"worker": self.worker}, {"machine": self.machines[0]}):
            Claim.objects.create(site=self.site, assignment=given, span=span, **thing)

    def _build_weather(self) -> None:
        self.station = WeatherStation.objects.create(
            site=self.site,
            key="yard",
            name="Yard",
            latitude_deg=38.6,
            longitude_deg=-102.4,
            elevation_m=1190,
        )
        for days in (1, 2, 3):
            WeatherDay.objects.create(
                site=self.site,
                station=self.station,
                on=self.now.date() - days * DAY,
                tmin_degc=-2,
                tmax_degc=12,
                rain_mm=0,
                et0_mm=2.1,
                et0_method="given",
            )

    def _build_forecasts(self) -> None:
        """Two days foretold, two weeks kept, a year ahead under way and one that rests."""
        today = local_date_of(self.now, self.site.zone)
        for days in (1, 2):
            DayForecast.objects.create(
                site=self.site,
                on=today + days * DAY,
                made_at=self.now,
                source="radio",
                tmin_degc=-3,
                tmax_degc=9,
                rain_chance_frac=0.2,
                rain_mm=3,
                et0_mm=1.5,
                et0_sd_mm=0.4,
                et0_method="given",
            )
            WeekForecast.objects.create(
                site=self.site,
                start_on=today - days * DAY,
                n_days=7,
                made_at=self.now - days * DAY,
                n_days_foretold=0,
                sums_mm={"rain": [0, 4], "et0": [9, 12]},
                climate_sums_mm={"rain": [0, 4], "et0": [9, 12]},
            )
        for state in (OutlookState.RUNNING, OutlookState.STOPPED):
            run = OutlookRun.objects.create(
                site=self.site,
                made_at=self.now,
                by=self.manager.actor,
                state=state,
                seed=7,
                n_members=2,
                inputs=[],
                inputs_hash="0" * 64,
                code_version="0" * 64,
            )
            OutlookChunk.objects.create(site=self.site, run=run, first=0, n_members=2)

    def _build_rosters(self) -> None:
        """Two drafts of a quiet week, two wishes, and two swaps that were asked for."""
        today = local_date_of(self.now, self.site.zone)
        for _n in range(2):
            RosterRun.objects.create(
                site=self.site,
                from_on=today + 7 * DAY,
                until_on=today + 14 * DAY,
                made_at=self.now,
                by=self.manager.actor,
                state=RosterState.DRAFT,
                site_version=1,
                problem={},
                solution=json.loads(solution_to_json(Solution(Found.FEASIBLE))),
                cost=0,
            )
        worker = self.spare
        for days in (2, 3):
            make_shift(worker, self.now + days * DAY)
            ShiftWish.objects.create(
                site=self.site, worker=worker, local_date=today + (7 + days) * DAY
            )
            SwapRequest.objects.create(
                site=self.site,
                worker=worker,
                local_date=today + days * DAY,
                to_worker=self.manager,
                asked_at=self.now,
                by=worker.actor,
            )

    def _build_basins(self) -> None:
        """A pair that takes turns, read twice; a field with a window, an analysis, two loads."""
        BasinPractice.objects.create(
            site=self.site, storm_mm=75, mineralised_frac=0.25, nh4_kept_frac=0.66
        )
        HaulTruck.objects.create(site=self.site, key="truck", name="Truck", tank_m3=15)
        self.field = make_crop_field(self.site)
        make_crop_field(self.site, "draw")
        FieldWindow.objects.create(
            site=self.site,
            key="spring",
            name="Spring",
            field=self.field,
            first_md="03-20",
            last_md="05-10",
        )
        self.basins = [
            make_basin(self.site, f"basin-{n}", pair="west", fills=n == 1) for n in (1, 2)
        ]
        sheet = {"n_kg_t": 5, "nh4_n_kg_t": 2, "no3_n_kg_t": 0, "p2o5_kg_t": 3, "k2o_kg_t": 4}
        for basin, worker in zip(self.basins, (self.worker, self.manager), strict=True):
            who = self.who(worker)
            record_analysis(
                basin_id=basin.pk, sampled_on=self.now.date() - DAY, contents=sheet, **who
            )
            record_application(
                field_id=self.field.pk,
                basin_id=basin.pk,
                applied_on=self.now.date(),
                mass_kg=20_000,
                **who,
            )
            record_clean_out(basin_id=basin.pk, depth_after_m=0.5, **who)
            switch_gate(basin_id=basin.pk, **who)
            record_level(basin_id=basin.pk, depth_m=1.2, **who)

    def _build_attachments(self) -> None:
        """A photo of a reported problem."""
        out = BytesIO()
        Image.new("RGB", (4, 3)).save(out, "JPEG")
        body = out.getvalue()
        digest = hashlib.sha256(body).hexdigest()
        store.keep(digest, body)
        self.attachment = Attachment.objects.create(
            site=self.site,
            id=uuid.uuid4(),
            actor=self.worker.actor,
            kind="photo",
            sent_sha256=digest,
            sha256=digest,
            n_bytes=len(body),
            width=4,
            height=3,
            received_at=self.now,
        )
        problem = Problem.objects.filter(site=self.site).earliest("pk")
        attach(
            attachment_ids=[self.attachment.pk],
            subject_kind=SubjectKind.PROBLEM,
            subject_id=problem.pk,
            **self.who(),
        )

    def _build_handover(self) -> None:
        """What the crew left to the next, and a line of the walk-round."""
        who = self.who(self.manager)
        self.handover = hand_over(
            crew_id=self.crew.pk, left=["Pen 3"], safety=["Loose rail"], **who
        )
        self.walk_line = WalkLine.objects.create(
            site=self.site,
            key="lane",
            name="Water runs off",
            stand=self.lane.place,
            position=1,
            text={"en": "Water runs off", "es": "El agua corre"},
        )

    def _build_calendars(self) -> None:
        """Links to the calendars of a person and of a crew."""
        for kind, subject in (
            (CalendarKind.CREW, self.crew.pk),
            (CalendarKind.WORKER, self.worker.pk),
        ):
            self.calendar = make_link(
                kind=kind,
                subject_id=subject,
                token=f"{self.slug}-{kind}",
                **self.who(self.manager),
            )

    def _build_alerts(self) -> None:
        """Two matters with answers that nobody has decided."""
        Alert.objects.bulk_create(
            Alert(
                site=self.site,
                kind=AlertKind.SAND,
                subject=f"batch-{n}",
                place=self.pile_places[n].place,
                raised_at=self.now,
                stated_at=self.now,
                n_answered=1,
                due_at=self.now + DAY,
                facts={
                    "batch": None,
                    "number": None,
                    "needed_on": (self.now + 4 * DAY).date().isoformat(),
                    "ready_on": None,
                    "gap_d": None,
                    "short_kg": 48_000,
                    "use_frac": 0.1,
                    "truck_kg": 24_000,
                    "lead_d": 3,
                    "late_d": 0,
                },
                answers=[
                    {"code": AnswerCode.USE_LESS, "facts": {"use_frac": 0.1, "until_on": None}}
                ],
            )
            for n in range(N_EACH - 1)
        )
        self.alert = Alert.objects.filter(site=self.site).earliest("pk")
