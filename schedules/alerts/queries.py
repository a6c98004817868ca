"""Reads of what needs a decision, shared by pages and API."""

from django.db.models import QuerySet

from .models import Alert


def alerts_of(site_id: int) -> QuerySet[Alert]:
    """All of a site, with place and who decided: 1 query."""
    rows = Alert.objects.filter(site_id=site_id)
    return rows.select_related("place__parent", "decided_by")


def standing_alerts(site_id: int) -> QuerySet[Alert]:
    """What is not over, decided or not, the soonest to decide first: 1 query."""
    return alerts_of(site_id).filter(ended_at=None).order_by("due_at", "pk")


def past_alerts(site_id: int) -> QuerySet[Alert]:
    """What is over, decided or not, the newest first: 1 query."""
    return alerts_of(site_id).filter(ended_at__isnull=False).order_by("-raised_at", "-pk")
