"""Reads of years ahead that pages and API share."""

from django.db.models import Count, Q, QuerySet

from .models import OutlookRun, OutlookState


def runs_of(site_id: int) -> QuerySet[OutlookRun]:
    """Years ahead, newest first, each with how many of its parts are done: 1 query."""
    done = Count("chunks", filter=Q(chunks__done_at__isnull=False))
    rows = OutlookRun.objects.filter(site_id=site_id).select_related("by")
    return rows.annotate(n_parts=Count("chunks"), n_parts_done=done).order_by("-made_at", "-pk")


def latest_result(site_id: int) -> OutlookRun | None:
    """Give the newest year ahead that is done: 1 query."""
    return runs_of(site_id).filter(state=OutlookState.DONE).first()
