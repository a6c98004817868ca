"""What every desk page stands on: the caller, the pages' names, the site's clock and language."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import wraps
from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils import formats, timezone
from django.utils.timesince import timesince
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.site.callers import Caller, caller_on
from equipment.site.clock import say_clock, say_hour, say_span
from equipment.site.errors import DomainError, NotFoundError
from equipment.site.looks import know, one_look
from equipment.site.models import LEADS, Place, User
from equipment.site.queries import place_name, site_of, word, words_of
from equipment.site.units import UnitSystem, to_shown, unit_shown

PageView = Callable[..., HttpResponseBase]


@dataclass(frozen=True, slots=True)
class Desk:
    """A request at the desk: who, where, when, in what language."""

    request: HttpRequest
    caller: Caller
    now: datetime
    language: str

    @property
    def site_id(self) -> int:
        """The key of the caller's site."""
        return self.caller.site.pk

    def require_lead(self) -> None:
        """Refuse everybody who does not decide for others."""
        self.caller.require(*LEADS)

    def place(self, place: Place) -> str:
        """Name a place in the farm's own words."""
        return place_name(self.caller.site, place, self.language)

    def noun(self, noun: str) -> str:
        """Say a noun of the farm in its own word."""
        return word(self.caller.site, self.language, noun)

    def clock(self, at: datetime) -> str:
        """Say a time of day as this site does: 5:10 am, or 05:10."""
        return say_clock(self.caller.site, at)

    def hour(self, at: datetime) -> str:
        """Say a whole hour as short as it goes: 5 am, noon, or 05."""
        return say_hour(self.caller.site, at)

    def span(self, start: datetime, end: datetime) -> str:
        """Say from when to when: 9:36 – 9:56 am, 11:50 am – 12:10 pm."""
        return say_span(self.caller.site, start, end)

    def day(self, on: date | datetime) -> str:
        """Say a day in words: Wed 4 Mar."""
        local = on.astimezone(self.caller.site.zone) if isinstance(on, datetime) else on
        return formats.date_format(local, "SHORT_DATE_FORMAT")

    def moment(self, at: datetime) -> str:
        """Say when: the time of day alone today, with its day on any other."""
        zone = self.caller.site.zone
        is_today = at.astimezone(zone).date() == self.now.astimezone(zone).date()
        return self.clock(at) if is_today else f"{self.day(at)} {self.clock(at)}"

    def ago(self, at: datetime) -> str:
        """Say how long ago something was."""
        return _("%s ago") % timesince(at, self.now)

    def amount(self, value: float, name: str, us: str | None = None, digits: int = 0) -> str:
        """Say a stored quantity with the unit this site reads; `name` ends in its SI unit."""
        return f"{self.shown(value, name, us):,.{digits}f} {self.unit(name, us)}"

    def shown(self, value: float, name: str, us: str | None = None) -> float:
        """Give a stored quantity in the unit this site reads."""
        return to_shown(value, name, self.system, us)

    def unit(self, name: str, us: str | None = None) -> str:
        """Say the unit this site reads a quantity in."""
        return unit_shown(name, self.system, us).symbol

    @property
    def system(self) -> UnitSystem:
        """The units this site reads."""
        return "us" if self.caller.site.units == "us" else "si"


def desk_view(view: PageView) -> PageView:
    """Give a page its `Desk`; a stranger gets 404, a refusal becomes a message and the page."""

    @login_required
    @wraps(view)
    def wrapped(request: HttpRequest, slug: str, **kwargs: Any) -> HttpResponseBase:
        try:
            caller = caller_on(cast(User, request.user), slug)
        except NotFoundError as error:
            raise Http404 from error
        desk = Desk(request, caller, datetime.now(UTC), request.LANGUAGE_CODE[:2])
        try:
            with timezone.override(caller.site.zone), _looking(desk):  # dates are the site's own
                return view(desk, **kwargs)
        except DomainError as error:
            return _refused(desk, error)

    return wrapped


@contextmanager
def _looking(desk: Desk) -> Iterator[None]:
    """Make a page of one look; what writes reads anew each time."""
    if desk.request.method not in {"GET", "HEAD"}:
        yield
        return
    with one_look():
        know(site_of, desk.caller.site, desk.site_id)
        yield


def _refused(desk: Desk, error: DomainError) -> HttpResponse:
    """Show a refusal where the person was: what, where and what to do."""
    faults = [error.detail, *(f"{f.pointer}: {f.detail}" for f in error.errors)]
    context = page_context(desk, "") | {"faults": faults}
    return render(desk.request, "desk/refused.html", context, status=error.status)


PAGES = (  # by what they are about
    (gettext_lazy("Now"), ("today", "alerts", "map", "wall", "problems", "came-late", "status")),
    (
        gettext_lazy("Work"),
        ("plan", "replan", "week", "pens", "standing-orders", "look-back", "records"),
    ),
    (gettext_lazy("Who and with what"), ("crew", "roster", "machines")),
    (gettext_lazy("Sand and water"), ("sand", "lane", "water", "basins")),
    (gettext_lazy("Ahead"), ("weather", "year")),
    (gettext_lazy("The farm"), ("set-up",)),
)

LEADS_PAGES = ("records", "replan")  # for who decides for others


def page_context(desk: Desk, here: str) -> dict[str, Any]:
    """Give what the frame of a page needs: no query, the version has come with the caller."""
    slug = desk.caller.site.slug
    names = {
        "today": _("Today"),
        "alerts": _("To decide"),
        "map": _("Map"),
        "wall": _("Wall board"),
        "week": _("This week"),
        "problems": _("Problems"),
        "came-late": _("Came in late"),
        "plan": _("The plan"),
        "replan": _("Replan"),
        "pens": desk.noun("pens"),
        "crew": desk.noun("crew"),
        "roster": _("Roster"),
        "sand": _("Sand"),
        "lane": desk.noun("lane"),
        "water": _("Water"),
        "weather": _("Weather"),
        "basins": desk.noun("basins"),
        "machines": desk.noun("machines"),
        "look-back": _("Look back"),
        "records": _("Records"),
        "year": _("The year ahead"),
        "standing-orders": _("Standing orders"),
        "status": _("Status"),
        "set-up": _("Set up"),
    }

    def seen(pages: Iterable[str]) -> list[str]:
        return [page for page in pages if desk.caller.is_lead or page not in LEADS_PAGES]

    def link(page: str) -> dict[str, Any]:
        return {"url": reverse(page, args=[slug]), "name": names[page], "is_here": page == here}

    return {
        "site": desk.caller.site,
        "caller": desk.caller,
        "desk": desk,
        "nouns": words_of(desk.caller.site, desk.language),
        "now": desk.now,
        "clock_now": desk.clock(desk.now),
        "version": desk.caller.site.siteversion.version,
        "pages": [(about, [link(page) for page in seen(pages)]) for about, pages in PAGES],
    }


def done(desk: Desk, words: str, page: str, *, anchor: str = "") -> HttpResponse:
    """Say what was done and go back to a page, so that a reload does not do it again."""
    messages.success(desk.request, words)
    url = reverse(page, args=[desk.caller.site.slug])
    return HttpResponseRedirect(f"{url}#{anchor}" if anchor else url)
