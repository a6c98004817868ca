"""What a sensible call of each address is on the small farm: its path, its body."""

import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

from django.urls import URLPattern, URLResolver

from config.urls import api
from crews.roster.models import RosterRun, SwapRequest
from equipment.flushing.models import Lock
from equipment.machines.models import CheckItem, Defect, Repair, ServiceItem
from equipment.site.calc.local_time import local_date_of
from equipment.site.models import Hold
from equipment.weather.models import DayForecast, WeatherDay
from schedules.outlook.models import OutlookRun, OutlookState
from schedules.rounds.models import MilkingState
from schedules.sand.models import Stage
from schedules.work.models import Problem
from tests.farm import Farm

Operation = tuple[str, str]
ANYWHERE = ("schema/", "docs/", "pair/", "sites/")  # below no site
Body = dict[str, Any]
MINUTE = timedelta(minutes=1)


def operations() -> list[Operation]:
    """Every method of every route below /api/v1/, as the resolver knows them."""
    return sorted(
        (method.upper(), route)
        for route, pattern in api_routes()
        for method in _methods(pattern)
        if method not in ("head", "options")
    )


def api_routes() -> Iterator[tuple[str, URLPattern]]:
    """Every route below /api/v1/ with what answers there."""
    return _routes(api)


def _routes(
    patterns: list[URLPattern | URLResolver], above: str = ""
) -> Iterator[tuple[str, URLPattern]]:
    for pattern in patterns:
        route = above + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from _routes(pattern.url_patterns, route)
        else:
            yield below_site(route), pattern


def below_site(route: str) -> str:
    """Name a route as the tables do: what is below a site by that alone."""
    return route.removeprefix("sites/<slug:slug>/") or "sites/<slug>/"


def _methods(pattern: URLPattern) -> list[str]:
    callback: Any = pattern.callback
    actions: dict[str, str] | None = getattr(callback, "actions", None)
    if actions is not None:
        return list(actions)
    view = callback.view_class
    return [method for method in view.http_method_names if hasattr(view, method)]


def open_pile(farm: Farm) -> int:
    return next(b.pk for b in farm.batches[Stage.CURING] if b.closed_at is None)


def closed_pile(farm: Farm) -> int:
    return next(b.pk for b in farm.batches[Stage.CURING] if b.closed_at is not None)


def oldest_released(farm: Farm) -> int:
    return farm.batches[Stage.RELEASED][-1].pk


def _run(farm: Farm, state: OutlookState) -> int:
    return OutlookRun.objects.get(site=farm.site, state=state).pk


# Which row a route means; the longest beginning that fits counts.
ROWS: dict[str, Callable[[Farm], Any]] = {
    "pens/": lambda f: f.pens[0].pk,
    "alleys/": lambda f: f.pens[0].alleys.get().pk,
    "attachments/": lambda f: f.attachment.pk,
    "basins/": lambda f: f.basins[0].pk,
    "locks/": lambda f: Lock.objects.filter(site=f.site).earliest("pk").pk,
    "machines/": lambda f: f.machines[0].pk,
    "defects/": lambda f: Defect.objects.filter(site=f.site).earliest("pk").pk,
    "repairs/": lambda f: Repair.objects.filter(site=f.site).latest("pk").pk,
    "places/": lambda f: f.lane.pk,
    "holds/": lambda f: Hold.objects.filter(site=f.site).latest("pk").pk,
    "weather-days/": lambda f: WeatherDay.objects.filter(site=f.site).latest("pk").pk,
    "weather-forecasts/": lambda f: DayForecast.objects.filter(site=f.site).latest("pk").pk,
    "year-ahead/": lambda f: _run(f, OutlookState.RUNNING),
    "year-ahead/<key:pk>/resume/": lambda f: _run(f, OutlookState.STOPPED),
    "workers/": lambda f: f.worker.pk,
    "calendars/": lambda f: f.calendar.pk,
    "alerts/": lambda f: f.alert.pk,
    "crews/": lambda f: f.crew.pk,
    "shifts/": lambda f: f.worker.shifts.get().pk,
    "shift-patterns/": lambda f: f.worker.shifts.get().pattern_id,
    "rosters/": lambda f: RosterRun.objects.filter(site=f.site).earliest("pk").pk,
    "swaps/": lambda f: SwapRequest.objects.filter(site=f.site).earliest("pk").pk,
    "plans/": lambda f: f.plan.pk,
    "work-orders/": lambda f: f.orders[5].pk,
    "work-orders/<key:order_id>/needs/": lambda f: f.orders[0].pk,
    "work-orders/<key:order_id>/reports/": lambda f: f.orders[1].pk,
    "work-orders/<key:pk>/decision/": lambda f: f.orders[-1].pk,
    "work-orders/<key:pk>/assignment/": lambda f: f.assigned.pk,
    "work-orders/<key:pk>/help/": lambda f: f.orders[6].pk,
    "standing-orders/": lambda f: f.rule.pk,
    "standing-orders/<key:pk>/take-over/": lambda f: f.scrape.pk,
    "problems/": lambda f: Problem.objects.filter(site=f.site).earliest("pk").pk,
    "milkings/": lambda f: f.milkings[0].pk,
    "milkings/<key:pk>/end/": lambda f: (
        f.parlor.milkings.filter(state=MilkingState.STARTED).latest("pk").pk
    ),
    "pen-visits/": lambda f: f.visits[0].pk,
    "batches/": lambda f: f.batches[Stage.DRYING][0].pk,
    "batches/<key:pk>/spread/": lambda f: f.batches[Stage.DRAINING][0].pk,
    "batches/<key:pk>/close/": open_pile,
    "batches/<key:pk>/cured/": closed_pile,
    "batches/<key:pk>/release/": lambda f: f.batches[Stage.CURED][0].pk,
    "batches/<key:pk>/bed/": oldest_released,
}


def path_of(route: str, rows: Farm, slug: str) -> str:
    """Fill a route with the keys of one farm's rows, below a site's address."""
    if route in ANYWHERE:
        return f"/api/v1/{route}"
    if route == "sites/<slug>/":
        return f"/api/v1/sites/{slug}/"
    if "<" in route:
        best = max((start for start in ROWS if route.startswith(start)), key=len)
        route = re.sub("<[^>]+>", str(ROWS[best](rows)), route)
    return f"/api/v1/sites/{slug}/{route}"


def iso(farm: Farm, minutes: float) -> str:
    return (farm.now + minutes * MINUTE).isoformat()


def day(farm: Farm, days: int) -> str:
    return f"{local_date_of(farm.now, farm.site.zone) + timedelta(days=days)}"


def _answers(farm: Farm) -> list[Body]:
    return [{"item": item.pk, "ok": True} for item in CheckItem.objects.filter(site=farm.site)]


def _event(farm: Farm) -> Body:
    payload = {"place": farm.lane.pk, "text": "gate bent"}
    return {
        "id": "0198c0de-0000-7000-8000-000000000001",
        "kind": "problem",
        "payload": payload,
        "client_at": iso(farm, 0),
        "seq": 1,
    }


# What each unsafe call sends; keys of rows are those of the farm given.
BODIES: dict[Operation, Callable[[Farm], Body]] = {
    ("POST", "batches/<key:batch_id>/moisture-tests/"): lambda f: {
        "moisture_frac": 0.06,
        "basis": "wb",
    },
    ("POST", "batches/<key:pk>/bed/"): lambda f: {"pen": f.pens[0].pk, "dry_kg": 3000},
    ("POST", "batches/<key:pk>/close/"): lambda f: {},
    ("POST", "batches/<key:pk>/count/"): lambda f: {"dry_kg": 9000, "reason": "scale"},
    ("POST", "batches/<key:pk>/cured/"): lambda f: {"reason": "tested"},
    ("POST", "basins/<key:pk>/clean-out/"): lambda f: {"depth_after_m": 0.4},
    ("POST", "basins/<key:pk>/gate/"): lambda f: {},
    ("POST", "basins/<key:pk>/level/"): lambda f: {"depth_m": 1.1},
    ("POST", "field-applications/"): lambda f: {
        "field": f.field.pk,
        "basin": f.basins[0].pk,
        "applied_on": f.now.date().isoformat(),
        "mass_kg": 12_000,
    },
    ("POST", "manure-analyses/"): lambda f: {
        "basin": f.basins[0].pk,
        "sampled_on": f.now.date().isoformat(),
        "n_kg_t": 5,
        "nh4_n_kg_t": 2,
        "p2o5_kg_t": 3,
        "k2o_kg_t": 4,
    },
    ("POST", "batches/<key:pk>/dispose/"): lambda f: {"dry_kg": 900, "reason": "stones"},
    ("POST", "batches/<key:pk>/hold/"): lambda f: {"reason": "smells"},
    ("POST", "batches/<key:pk>/measure/"): lambda f: {"length_m": 12, "width_m": 8},
    ("POST", "batches/<key:pk>/pile/"): lambda f: {"pile_place": f.pile_places[0].pk},
    ("POST", "batches/<key:pk>/release/"): lambda f: {},
    ("POST", "batches/<key:pk>/spread/"): lambda f: {"bay": f.bays[-1].pk},
    ("POST", "batches/<key:pk>/turn/"): lambda f: {},
    ("POST", "pen-visits/<key:pk>/foretell/"): lambda f: {
        "moment": "called",
        "expected_at": (f.visits[0].called_at + timedelta(minutes=20)).isoformat(),
    },
    ("POST", "alerts/<key:pk>/decide/"): lambda f: {"answer": 0, "n_answered": 1},
    ("POST", "calendars/"): lambda f: {"kind": "worker", "subject": f.worker.pk},
    ("POST", "calendars/<key:pk>/end/"): lambda f: {},
    ("POST", "crew-pens/"): lambda f: {
        "crew": f.crew.pk,
        "pattern": f.worker.shifts.get().pattern_id,
        "pens": [f.pens[1].pk],
    },
    ("POST", "defects/<key:pk>/close/"): lambda f: {},
    ("POST", "events/"): lambda f: {"events": [_event(f)]},
    ("POST", "holds/<key:pk>/clear/"): lambda f: {"note": "put right"},
    ("POST", "locks/"): lambda f: {"place": f.pens[0].pk},
    ("POST", "locks/<key:pk>/off/"): lambda f: {"note": "told"},
    ("POST", "machines/<key:machine_id>/checks/"): lambda f: {"answers": _answers(f)},
    ("POST", "machines/<key:machine_id>/defects/"): lambda f: {"text": "horn is silent"},
    ("POST", "machines/<key:machine_id>/readings/"): lambda f: {"meter_h": 998.5},
    ("POST", "machines/<key:machine_id>/repairs/"): lambda f: {
        "cause": "no start",
        "substitute": f.machines[1].pk,
    },
    ("POST", "machines/<key:machine_id>/services/"): lambda f: {
        "item": ServiceItem.objects.get(site=f.site).pk,
        "meter_h": 998.5,
        "cost": 80.5,
    },
    ("POST", "machines/<key:pk>/hold/"): lambda f: {"reason": "brakes"},
    ("POST", "milking-order/"): lambda f: {"pens": [pen.pk for pen in f.pens]},
    ("POST", "milkings/<key:pk>/end/"): lambda f: {},
    ("POST", "milkings/<key:pk>/start/"): lambda f: {},
    ("POST", "pair/"): lambda f: {"code": "WRONGONE"},
    ("POST", "pen-visits/<key:pk>/moments/"): lambda f: {"moment": "called"},
    ("POST", "pens/<key:pk>/hold/"): lambda f: {"reason": "ice"},
    ("POST", "problems/"): lambda f: {"text": "gate bent", "place": f.lane.pk},
    ("POST", "problems/<key:pk>/answer/"): lambda f: {"answer": "welded"},
    ("POST", "repairs/<key:pk>/end/"): lambda f: {"cost": 12},
    ("POST", "sand-deliveries/"): lambda f: {
        "pile_place": f.pile_places[0].pk,
        "dry_kg": 24_000,
    },
    ("POST", "weather-forecasts/"): lambda f: {
        "on": f"{local_date_of(f.now, f.site.zone) + timedelta(days=2)}",
        "tmin_degc": -1,
        "tmax_degc": 11,
        "rain_chance_frac": 0.3,
        "rain_mm": 4,
        "source": "radio",
    },
    ("POST", "standing-orders/<key:pk>/take-over/"): lambda f: {},
    ("POST", "plan/search/"): lambda f: {"seconds": 20},
    ("POST", "plan/search/stop/"): lambda f: {},
    ("POST", "rosters/"): lambda f: {"from_on": day(f, 7), "until_on": day(f, 14)},
    ("POST", "rosters/<key:pk>/give-up/"): lambda f: {},
    ("POST", "rosters/<key:pk>/publish/"): lambda f: {},
    ("POST", "shifts/"): lambda f: {
        "worker": f.worker.pk,
        "local_date": day(f, 4),
        "pattern": f.worker.shifts.get().pattern_id,
    },
    ("POST", "shift-wishes/"): lambda f: {
        "worker": f.worker.pk,
        "local_date": day(f, 4),
        "pattern": None,
    },
    ("POST", "swaps/"): lambda f: {
        "worker": f.spare.pk,
        "local_date": day(f, 2),
        "to_worker": f.worker.pk,
    },
    ("POST", "swaps/<key:pk>/settle/"): lambda f: {
        "asked_at": f.now.isoformat(),
        "is_approved": True,
    },
    ("POST", "year-ahead/"): lambda f: {"n_members": 2, "seed": 7},
    ("POST", "year-ahead/<key:pk>/resume/"): lambda f: {},
    ("POST", "year-ahead/<key:pk>/stop/"): lambda f: {},
    ("POST", "work-orders/<key:pk>/cancel/"): lambda f: {"reason": "no cows"},
    ("POST", "work-orders/<key:pk>/could-not/"): lambda f: {"reason": "ice"},
    ("POST", "work-orders/<key:pk>/decision/"): lambda f: {"accept": True},
    ("POST", "work-orders/<key:pk>/done/"): lambda f: {"machine": f.machines[0].pk},
    ("POST", "work-orders/<key:pk>/load/"): lambda f: {"machine": f.machines[0].pk},
    ("POST", "work-orders/<key:pk>/part/"): lambda f: {"n_left": 7},
    ("POST", "work-orders/<key:pk>/start/"): lambda f: {"machine": f.machines[0].pk},
    ("POST", "work-orders/<key:pk>/undo/"): lambda f: {},
    ("POST", "workers/<key:pk>/here/"): lambda f: {},
    ("POST", "workers/<key:pk>/sick/"): lambda f: {},
    ("PUT", "work-orders/<key:pk>/assignment/"): lambda f: {
        "workers": [f.manager.pk],
        "machine": f.machines[0].pk,
        "starts_at": iso(f, 30),
    },
    ("PATCH", "standing-orders/<key:pk>/"): lambda f: {"priority": 2},
    ("DELETE", "work-orders/<key:pk>/assignment/"): lambda f: {},
}
