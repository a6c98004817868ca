"""How a site says times of day: 5:10 am or 05:10, and from when to when."""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext as _

from .models import Site


def say_clock(site: Site, at: datetime, *, has_seconds: bool = False) -> str:
    """Say a time of day as this site does: 5:10 am, or 05:10; never 12 am."""
    return _say(site, at, has_half=True, has_seconds=has_seconds)


def say_hour(site: Site, at: datetime) -> str:
    """Say a whole hour as short as it goes: 5 am, noon, or 05."""
    if site.clock_h == 24:
        return at.astimezone(site.zone).strftime("%H")
    return say_clock(site, at).replace(":00", "")


def say_span(site: Site, start: datetime, end: datetime) -> str:
    """Say from when to when: 9:36 – 9:56 am, 11:50 am – 12:10 pm."""
    first, last = start.astimezone(site.zone), end.astimezone(site.zone)
    is_one_half = (first.date(), first.hour < 12) == (last.date(), last.hour < 12)
    is_plain = not (last.minute == 0 and last.hour % 12 == 0)
    opening = _say(site, start, has_half=not (is_one_half and is_plain))
    return f"{opening} – {say_clock(site, end)}"


def _say(site: Site, at: datetime, *, has_half: bool, has_seconds: bool = False) -> str:
    local = at.astimezone(site.zone)
    seconds = f":{local:%S}" if has_seconds else ""
    if site.clock_h == 24:
        return f"{local:%H:%M}{seconds}"
    is_on_the_hour = local.minute == 0 and not (has_seconds and local.second)
    if is_on_the_hour and local.hour % 12 == 0:
        # people read 12 am and 12 pm both ways
        return _("noon") if local.hour else _("midnight")
    half = (" am" if local.hour < 12 else " pm") if has_half else ""
    return f"{local.hour % 12 or 12}:{local:%M}{seconds}{half}"
