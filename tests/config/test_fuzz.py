"""The API under made-up calls, signed in as a manager: nothing breaks, nearly all is reached."""

import json
import os
import subprocess
import sys
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest
from django.core.handlers.base import BaseHandler
from pytest_django.live_server_helper import LiveServer

from config.rooms import BASE_DIR
from crews.roster.models import RosterRun, SwapRequest
from equipment.flushing.models import Lock
from equipment.machines.models import CheckItem, Defect, Repair, ServiceItem
from equipment.site.models import Hold
from equipment.weather.models import DayForecast, WeatherDay
from schedules.alerts.models import Alert
from schedules.outlook.models import OutlookRun, OutlookState
from schedules.rounds.models import MilkingState
from schedules.sand.models import Stage
from schedules.work.models import Problem, StandingOrder
from tests.config.calls import Operation, below_site, closed_pile, iso, operations
from tests.farm import Farm

pytestmark = pytest.mark.django_db(transaction=True)

SEED = "1"
CASES_EACH = "6"
LEFT_OUT = (
    "negative_data_rejection",  # fields read "5" for 5 and 5 for "5"; their limits hold for that
    "use_after_free",  # DELETE takes work off somebody; the work order stays, had by nobody
)
# Each operation is fuzzed. Made-up limits and chains of calls go to what stands for the rest:
# lists, objects, an action, a version, a deletion, what is done later. Of all they take an hour.
EVERYTHING = "fuzzing", "."
STANDING_FOR_ALL = (
    "examples,coverage,stateful",
    "/(sites|places|locks|problems|standing-orders|swaps|assignment|plan/search)/([{]id[}]/)?$",
)
TIME_LIMIT_S = 300  # a guard for a machine under load; on two free cores a run takes a tenth
NOT_OF_THE_API = {"docs/", "schema/"}


def keys_of(farm: Farm) -> dict[str, list[Any]]:
    """Rows by what an address calls them; for an action those that it can be done to."""

    def of(model: Any) -> list[int]:
        return list(model.objects.filter(site=farm.site).values_list("pk", flat=True))

    def runs(state: OutlookState) -> list[int]:
        found = OutlookRun.objects.filter(site=farm.site, state=state)
        return list(found.values_list("pk", flat=True))

    stages = {stage: [batch.pk for batch in batches] for stage, batches in farm.batches.items()}
    milkings = farm.parlor.milkings.order_by("starts_at")
    return {
        "pens": [pen.pk for pen in farm.pens],
        "pens/hold": [farm.pens[2].pk],
        "alleys": [pen.alleys.get().pk for pen in farm.pens],
        "attachments": [f"{farm.attachment.pk}"],
        "basins": [basin.pk for basin in farm.basins],
        "locks": of(Lock),
        "machines": [machine.pk for machine in farm.machines],
        "machines/services": [farm.machines[0].pk],
        "defects": of(Defect),
        "repairs": of(Repair),
        "places": [farm.lane.pk, farm.shop.pk],
        "holds": of(Hold),
        "weather-days": of(WeatherDay),
        "weather-forecasts": of(DayForecast),
        "year-ahead": of(OutlookRun),
        "year-ahead/stop": runs(OutlookState.RUNNING),
        "year-ahead/resume": runs(OutlookState.STOPPED),
        "workers": [farm.worker.pk, farm.manager.pk],
        "workers/sick": [farm.spare.pk],
        "alerts": of(Alert),
        "calendars": [farm.calendar.pk],
        "crews": [farm.crew.pk],
        "shifts": [shift.pk for shift in farm.worker.shifts.all()],
        "shift-patterns": [farm.worker.shifts.get().pattern_id],
        "rosters": of(RosterRun),
        "swaps": of(SwapRequest),
        "plans": [farm.plan.pk],
        "work-orders": [order.pk for order in farm.orders[3:20]],
        "work-orders/assignment": [order.pk for order in farm.orders[20:30]],
        "work-orders/decision": [order.pk for order in farm.orders[-3:]],
        # The other one: a changed rule takes back the work that it would not make.
        "standing-orders": [pk for pk in of(StandingOrder) if pk != farm.rule.pk],
        "problems": of(Problem),
        "milkings": [milkings.get(state=MilkingState.PLANNED, slot=1).pk],
        "milkings/end": [milkings.get(state=MilkingState.STARTED).pk],
        "pen-visits": [visit.pk for visit in farm.visits],
        "batches": [key for keys in stages.values() for key in keys],
        "batches/hold": stages[Stage.CURING],
        "batches/spread": stages[Stage.DRAINING],
        "batches/turn": stages[Stage.DRYING][2:],
        "batches/pile": stages[Stage.DRYING][:2],
        "batches/close": stages[Stage.DRAINING],
        "batches/cured": [closed_pile(farm)],
        "batches/release": stages[Stage.CURED],
        "batches/bed": stages[Stage.RELEASED][::-1],
    }


def what_it_cannot_know(farm: Farm, url: str) -> str:
    machines = [machine.pk for machine in farm.machines]
    known = {
        "slug": farm.slug,
        "url": url,
        "token": f"Bearer {farm.manager_token}",
        "starts_at": iso(farm, 30),
        "check_items": [item.pk for item in CheckItem.objects.filter(site=farm.site)],
        "rows": keys_of(farm),
        "fields": {
            "place": [farm.lane.pk, farm.pens[0].pk],
            "to_place": [None],
            "machine": [None, *machines],
            "substitute": machines,
            "bay": [bay.pk for bay in farm.bays[::-1]],
            "pile_place": [place.pk for place in farm.pile_places],
            "pen": [pen.pk for pen in farm.pens],
            "pens": [pen.pk for pen in farm.pens],
            "crew": [farm.crew.pk],
            "subject": [farm.worker.pk, farm.crew.pk, farm.machines[0].pk],
            "pattern": [farm.worker.shifts.get().pattern_id],
            "item": [ServiceItem.objects.get(site=farm.site).pk],
        },
        "fields_of": {
            "assignment": {"workers": [farm.manager.pk, farm.worker.pk], "machine": [None]},
            "start": {"machine": [None]},
            "services": {"meter_h": [998.5]},
            "repairs": {"substitute": [None, machines[2]]},
        },
    }
    return json.dumps(known)


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch) -> dict[Operation, list[int]]:
    """Every answer the server gives, by operation, written down where it gives them."""
    given: dict[Operation, list[int]] = defaultdict(list)
    get_response = BaseHandler.get_response

    def answer_and_note(self: BaseHandler, request: Any) -> Any:
        response = get_response(self, request)
        match = getattr(request, "resolver_match", None)
        if match is not None and match.route.startswith("api/v1/"):
            route = below_site(match.route.removeprefix("api/v1/"))
            given[str(request.method), route].append(response.status_code)
        return response

    monkeypatch.setattr(BaseHandler, "get_response", answer_and_note)
    return given


def run_schemathesis(
    farm: Farm, url: str, folder: Path, phases: str, paths: str
) -> "subprocess.CompletedProcess[str]":
    known = what_it_cannot_know(farm, url)
    return subprocess.run(
        [
            Path(sys.executable).with_name("schemathesis"),
            *("--config-file", str(Path(__file__).with_name("schemathesis.toml"))),
            *("run", "config/openapi.yaml", "--url", url),
            *("--header", f"Authorization: Bearer {farm.manager_token}"),
            *("--phases", phases, "--include-path-regex", paths),
            *("--max-examples", CASES_EACH, "--seed", SEED),
            *("--generation-database", "none", "--no-color", "--warnings", "off"),
            *("--checks", "all", "--exclude-checks", ",".join(LEFT_OUT)),
            *("--request-timeout", str(TIME_LIMIT_S), "--max-response-time", str(TIME_LIMIT_S)),
            "--continue-on-failure",
        ],
        cwd=BASE_DIR,
        env={
            **os.environ,
            "PYTHONPATH": str(BASE_DIR),  # an installed package brings a folder `tests` of its own
            "SCHEMATHESIS_HOOKS": "tests.config.fuzz_hooks",
            "FUZZ_FARM": known,
            "HOME": str(folder),
        },
        check=False,
        capture_output=True,
        text=True,
        timeout=TIME_LIMIT_S,
    )


def test_no_made_up_call_breaks_it_and_nearly_every_operation_is_reached(
    live_server: LiveServer, answers: dict[Operation, list[int]], tmp_path: Path
) -> None:
    done = run_schemathesis(Farm("ours"), live_server.url, tmp_path, *EVERYTHING)

    print(done.stdout[-6000:], done.stderr[-2000:])
    all_of_them = {op for op in operations() if op[1] not in NOT_OF_THE_API}
    broken = {op: max(codes) for op, codes in answers.items() if max(codes) >= 500}
    reached = {op for op, codes in answers.items() if any(200 <= code < 300 for code in codes)}
    n_calls = sum(map(len, answers.values()))
    print(f"{len(reached)} of {len(all_of_them)} reached, {n_calls} calls")
    for operation in sorted(all_of_them - reached):
        print("not reached:", *operation, answers[operation])
    assert broken == {}
    assert n_calls > 5 * len(all_of_them)
    assert len(reached & all_of_them) >= 0.8 * len(all_of_them)
    assert done.returncode == 0, done.stdout[-6000:]


def test_limits_and_chains_of_calls_break_nothing(
    live_server: LiveServer, answers: dict[Operation, list[int]], tmp_path: Path
) -> None:
    done = run_schemathesis(Farm("ours"), live_server.url, tmp_path, *STANDING_FOR_ALL)

    print(done.stdout[-6000:], done.stderr[-2000:])
    assert done.returncode == 0, done.stdout[-6000:]
    assert {op: max(codes) for op, codes in answers.items() if max(codes) >= 500} == {}
    assert sum(map(len, answers.values())) > 500
