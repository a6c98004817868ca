"""What every desk page stands on: the caller, the pages' names, the site's clock and language."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import wraps
from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from equipment.site.callers import Caller, caller_on
from equipment.site.errors import DomainError, ForbiddenError, NotFoundError
from equipment.site.models import Place, Role, User
from equipment.site.queries import place_name, site_version

PageView = Callable[..., HttpResponse]


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
        self.caller.require(Role.MANAGER, Role.LEAD)

    def place(self, place: Place) -> str:
        """Name a place in the farm's own words."""
        return place_name(self.caller.site, place, self.language)

    def clock(self, at: datetime) -> str:
        """Say a time of day as this site does: 5:10 am, or 05:10."""
        local = at.astimezone(self.caller.site.zone)
        if self.caller.site.clock_h == 24:
            return local.strftime("%H:%M")
        return f"{local.hour % 12 or 12}:{local:%M} {'am' if local.hour < 12 else 'pm'}"


def desk_view(view: Callable[..., HttpResponse]) -> PageView:
    """Give a page its `Desk`; a stranger gets 404, a refusal becomes a message and the page."""

    @login_required
    @wraps(view)
    def wrapped(request: HttpRequest, slug: str, **kwargs: Any) -> HttpResponse:
        try:
            caller = caller_on(cast(User, request.user), slug)
        except NotFoundError as error:
            raise Http404 from error
        desk = Desk(request, caller, datetime.now(UTC), request.LANGUAGE_CODE[:2])
        try:
            return view(desk, **kwargs)
        except ForbiddenError:
            raise
        except DomainError as error:
            return _refused(desk, error)

    return wrapped


def _refused(desk: Desk, error: DomainError) -> HttpResponse:
    """Show a refusal where the person was: what, where and what to do."""
    faults = [error.detail, *(f"{f.pointer}: {f.detail}" for f in error.errors)]
    context = page_context(desk, "") | {"faults": faults, "back": desk.request.path}
    return render(desk.request, "desk/refused.html", context, status=error.status)


PAGES = ("today", "crew", "sand", "machines")


def page_context(desk: Desk, here: str) -> dict[str, Any]:
    """Give what the frame of a page needs: 1 query for the version."""
    slug = desk.caller.site.slug
    names = {
        "today": _("Today"),
        "crew": _("Crew"),
        "sand": _("Sand"),
        "machines": _("Machines"),
    }
    return {
        "site": desk.caller.site,
        "caller": desk.caller,
        "desk": desk,
        "now": desk.now,
        "version": site_version(desk.site_id),
        "pages": [
            {"url": reverse(page, args=[slug]), "name": names[page], "is_here": page == here}
            for page in PAGES
        ],
    }


def done(desk: Desk, words: str, page: str, *, anchor: str = "") -> HttpResponse:
    """Say what was done and go back to a page, so that a reload does not do it again."""
    messages.success(desk.request, words)
    url = reverse(page, args=[desk.caller.site.slug])
    return HttpResponseRedirect(f"{url}#{anchor}" if anchor else url)
