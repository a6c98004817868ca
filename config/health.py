"""`/healthz`: the web process lives. `/readyz`: it can serve a farm."""

from collections.abc import Callable

from django.apps import apps
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse


class HealthMiddleware:
    """Answers both before Host check, TLS redirect and session, which a probe cannot satisfy."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path == "/healthz":
            return JsonResponse({"status": "alive"})
        if request.path == "/readyz":
            return answer_ready()
        return self.get_response(request)


def answer_ready() -> HttpResponse:
    waiting_for = what_is_missing()
    if waiting_for:
        return JsonResponse({"status": "waiting", "waiting_for": waiting_for}, status=503)
    return JsonResponse({"status": "ready"})


def what_is_missing() -> str:
    """Name the first thing that a farm still waits for: database, migrations, farm or nothing."""
    try:
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            return "migrations"
        return "" if apps.get_model("equipment", "Site")._default_manager.exists() else "farm"
    except DatabaseError:
        return "database"
