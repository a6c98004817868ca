"""What the phone's API is measured by: plain views of the same server, on the same tables.

Written first and frozen; its hash stands in the table. None asks who calls, keeps an order or an
answer, or moves the site's version.
"""

import json
from datetime import UTC, datetime

from django.db import connection, transaction
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import path
from django.views.decorators.csrf import csrf_exempt
from rest_framework import generics, serializers

from equipment.site.models import Event
from schedules.work.models import WorkOrder

INSERT = """
INSERT INTO equipment_event (id, site_id, actor_id, device_key, device_seq, kind, schema_version,
    payload, client_at, happened_at, received_at, state, answer)
VALUES (%s, %s, %s, NULL, NULL, %s, %s, %s, %s, %s, %s, 'applied', '{}')
"""
ROWS = """
SELECT json_build_object('results', coalesce(json_agg(row_to_json(page)), '[]')) FROM (
    SELECT id, natural_key, title, place_id, batch_id, visit_id, starts_after, due_at, local_date,
        status, outcome, n_left, loads, started_at, ended_at, priority, duration_min, updated_at
    FROM schedules_workorder WHERE site_id = %s ORDER BY id LIMIT 50) AS page
"""
# The list's own fields, as one would write them by hand; instants as PostgreSQL says them.
WHOLE_ROWS = """
SELECT json_build_object('next', NULL, 'previous', NULL,
    'results', coalesce(json_agg(row_to_json(page)), '[]'))::text FROM (
    SELECT w.id, json_build_object('id', place.id, 'key', place.key, 'kind', place.kind,
            'name', place.kind || ' ' || place.label) AS place,
        begun.name AS started_by, ended.name AS ended_by, w.natural_key, w.title, w.amount,
        w.cycle, w.batch_step, w.local_date, w.starts_after, w.due_at, w.duration_min, w.skill,
        w.machine_kinds, w.n_people, w.priority, w.status, w.outcome, w.reason, w.n_left,
        w.started_at, w.ended_at, w.needs_decision, w.loads, w.version, w.updated_at,
        w.standing_order_id AS standing_order, w.visit_id AS visit, w.batch_id AS batch,
        w.for_machine_id AS for_machine, w.service_item_id AS service_item
    FROM schedules_workorder w
    LEFT JOIN equipment_place place ON place.id = w.place_id
    LEFT JOIN equipment_actor begun ON begun.id = w.started_by_id
    LEFT JOIN equipment_actor ended ON ended.id = w.ended_by_id
    WHERE w.site_id = %s ORDER BY w.id LIMIT 50) AS page
"""


@csrf_exempt
def insert(request: HttpRequest) -> HttpResponse:
    """Write the rows of the body down in one transaction, a statement each."""
    told = json.loads(request.body)
    now = datetime.now(UTC)
    rows = [
        (
            *(event["id"], told["site"], told["actor"], event["kind"], event["schema_version"]),
            *(json.dumps(event["payload"]), event["client_at"], event["client_at"], now),
        )
        for event in told["events"]
    ]
    with transaction.atomic(), connection.cursor() as cursor:
        for row in rows:
            cursor.execute(INSERT, row)
    return JsonResponse({"answers": [{"id": event["id"]} for event in told["events"]]})


class PlainEvent(serializers.ModelSerializer[Event]):
    class Meta:
        model = Event
        fields = "__all__"


class PlainEvents(generics.CreateAPIView[Event]):
    """`many=True`, as the library does it."""

    authentication_classes = ()
    permission_classes = ()
    serializer_class = PlainEvent
    queryset = Event.objects.all()

    def get_serializer(self, *args: object, **kwargs: object) -> object:  # type: ignore[override]
        return super().get_serializer(*args, many=True, **kwargs)


class PlainWorkOrder(serializers.ModelSerializer[WorkOrder]):
    class Meta:
        model = WorkOrder
        fields = "__all__"


class PlainWorkOrders(generics.ListAPIView[WorkOrder]):
    """Fifty rows of one site, as the library lists them."""

    authentication_classes = ()
    permission_classes = ()
    pagination_class = None
    serializer_class = PlainWorkOrder

    def get_queryset(self):  # type: ignore[no-untyped-def]
        return WorkOrder.objects.filter(site_id=self.request.GET["site"]).order_by("id")[:50]


def rows(request: HttpRequest) -> HttpResponse:
    """Fifty rows' 18 plain columns as JSON that PostgreSQL makes itself."""
    return _made(ROWS, request)


def whole_rows(request: HttpRequest) -> HttpResponse:
    """Fifty rows with all fields of our list as JSON that PostgreSQL makes itself."""
    return _made(WHOLE_ROWS, request)


def _made(sql: str, request: HttpRequest) -> HttpResponse:
    with connection.cursor() as cursor:
        cursor.execute(sql, [request.GET["site"]])
        [body] = cursor.fetchone()
    text = body if isinstance(body, str) else json.dumps(body)
    return HttpResponse(text, content_type="application/json")


def nothing(request: HttpRequest) -> HttpResponse:
    """An empty answer."""
    return HttpResponse(b"")


urlpatterns = [
    path("reference/insert/", insert),
    path("reference/plain-events/", PlainEvents.as_view()),
    path("reference/plain-rows/", PlainWorkOrders.as_view()),
    path("reference/rows/", rows),
    path("reference/whole-rows/", whole_rows),
    path("reference/nothing/", nothing),
]
