"""Reads of the weather that upper rooms share."""

from datetime import date

from django.db.models import F, QuerySet

from .models import WeatherDay


def recorded_days(site_id: int, before: date) -> QuerySet[WeatherDay]:
    """Each recorded day once, in order: 1 query.

    The farm's first station counts (they stand in the order of the farm file); on a day it did not
    record the next one does, and one that is out of use comes last.
    """
    turn = (F("station__retired_at").asc(nulls_first=True), "station_id")
    days = WeatherDay.objects.filter(site_id=site_id, on__lt=before)
    return days.order_by("on", *turn).distinct("on")
