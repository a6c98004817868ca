"""Who stands at a door: which site, in what role, as which actor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from django.contrib.auth.models import AnonymousUser
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from .errors import ForbiddenError, NotFoundError
from .models import LEADS, Actor, Membership, Site, SiteVersion, User
from .queries import sites_of
from .rows import Joined
from .services import actor_of_user


@dataclass(frozen=True, slots=True)
class Caller:
    """One principal on one site.

    `device_id` is set when it speaks from a paired phone, `crew_id` when that is a crew's own.
    """

    site: Site
    role: str
    actor: Actor
    language: str
    device_id: int | None = None
    crew_id: int | None = None

    @property
    def is_lead(self) -> bool:
        """Whether the caller decides for others."""
        return self.role in LEADS

    def require(self, *roles: str) -> None:
        """Refuse every other role."""
        if self.role not in roles:
            raise ForbiddenError(_("Your role on this site does not allow this."))


@runtime_checkable
class KnowsItsSite(Protocol):
    """A principal that is no account: a paired phone."""

    @property
    def site(self) -> Site:
        """Its one site."""
        ...

    def caller_on(self, slug: str) -> Caller | None:
        """Give the caller on a site, None for a stranger."""
        ...


def caller_on(user: User | AnonymousUser | KnowsItsSite, slug: str) -> Caller:
    """Resolve who acts on a site; a stranger hears the same as for a site that is not there."""
    caller = user.caller_on(slug) if isinstance(user, KnowsItsSite) else _account_on(user, slug)
    if caller is None:
        raise NotFoundError(_("There is no such site, or you do not belong to it."))
    return caller


def sites_for(user: User | AnonymousUser | KnowsItsSite) -> QuerySet[Site]:
    """Sites that a caller belongs to: 1 query."""
    if isinstance(user, User):
        return sites_of(user)
    if isinstance(user, KnowsItsSite):
        return Site.objects.filter(pk=user.site.pk)
    return Site.objects.none()


ACCOUNT = Joined(membership=Membership, site=Site, version=SiteVersion, actor=Actor)
OF_ACCOUNT = f"""
    SELECT {ACCOUNT.columns}
    FROM equipment_membership membership
    JOIN equipment_site site ON site.id = membership.site_id
    JOIN equipment_siteversion version ON version.site_id = site.id
    LEFT JOIN LATERAL (
        SELECT * FROM equipment_actor
        WHERE site_id = site.id AND user_id = membership.user_id ORDER BY id LIMIT 1
    ) actor ON true
    WHERE membership.user_id = $1 AND site.slug = $2
"""  # noqa: S608  columns of our own


def _account_on(user: User | AnonymousUser, slug: str) -> Caller | None:
    """Who an account is on a site, with the site as of its version: 1 query."""
    found = ACCOUNT.first(OF_ACCOUNT, user.pk, slug) if isinstance(user, User) else None
    if found is None or not isinstance(user, User):
        return None
    membership, site, version, actor = found
    version.site = site
    actor = actor or actor_of_user(site.pk, user)
    return Caller(site, membership.role, actor, user.language)
