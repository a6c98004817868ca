"""Reads of what needs a decision, shared by pages and API."""

from django.db.models import Q, QuerySet

from .models import Alert


def alerts_of(site_id: int) -> QuerySet[Alert]:
    """All of a site, with place and who decided: 1 query."""
    rows = Alert.objects.filter(site_id=site_id)
    return rows.select_related("place__parent", "decided_by")


def open_alerts(site_id: int) -> QuerySet[Alert]:
    """What nobody has decided and is not over, the soonest to decide first: 1 query."""
    return alerts_of(site_id).filter(ended_at=None, decided_at=None).order_by("due_at", "pk")


def past_alerts(site_id: int) -> QuerySet[Alert]:
    """What was decided, or went by without a decision, the newest first: 1 query."""
    is_past = Q(decided_at__isnull=False) | Q(ended_at__isnull=False)
    return alerts_of(site_id).filter(is_past).order_by("-raised_at", "-pk")
