"""Verbs of the ground floor: who acts, and taking things out of use."""

from datetime import datetime

from django.utils.text import slugify
from django.utils.translation import gettext as _

from .errors import NotFoundError
from .models import Actor, ActorKind, Hold, HoldSubject, Membership, Site, SiteVersion, User
from .writes import site_write


def create_site(*, slug: str, **facts: object) -> Site:
    """Create a site with its version row, so that its first write finds one."""
    site = Site.objects.create(slug=slug, **facts)
    SiteVersion.objects.create(site=site)
    return site


def make_account(
    site: Site, username: str, password: str, *, role: str, language: str, name: str = ""
) -> User:
    """Make an account that signs in at the desk, and its place on a site."""
    first_name, _space, last_name = name.partition(" ")
    user = User(username=username, language=language, first_name=first_name, last_name=last_name)
    user.set_password(password)
    user.save()
    Membership.objects.create(site=site, user=user, role=role)
    return user


def service_actor(site_id: int) -> Actor:
    """Give the actor that stands for Penround itself; made once."""
    return Actor.objects.get_or_create(
        site_id=site_id,
        key="penround",
        defaults={"kind": ActorKind.SERVICE, "name": "Penround"},
    )[0]


def actor_of_user(site_id: int, user: User) -> Actor:
    """Give the actor of an account that acts at the desk: its worker's own, or one made once."""
    own = Actor.objects.filter(site_id=site_id, user=user).order_by("id").first()
    if own is not None:
        return own
    return Actor.objects.get_or_create(
        site_id=site_id,
        key=f"user-{user.pk}-{slugify(user.username)}"[:80],
        defaults={
            "kind": ActorKind.PERSON,
            "name": user.get_full_name() or user.username,
            "user": user,
        },
    )[0]


def put_hold(
    *,
    site_id: int,
    subject_kind: HoldSubject,
    subject_id: int,
    reason: str,
    by: Actor,
    at: datetime,
) -> Hold:
    """Take a machine, pen or batch out of use. An open hold of the same reason is kept."""
    with site_write(site_id, at) as write:
        hold, made = Hold.objects.get_or_create(
            site_id=site_id,
            subject_kind=subject_kind,
            subject_id=subject_id,
            reason=reason,
            cleared_at=None,
            defaults={"put_by": by, "put_at": at},
        )
        if made:
            write.change(f"hold.{subject_kind}", subject_id, put=True, reason=reason)
    return hold


def clear_hold(*, site_id: int, hold_id: int, by: Actor, at: datetime, note: str = "") -> Hold:
    """Give it back to use, by a named person. Clearing twice changes nothing."""
    with site_write(site_id, at) as write:
        hold = (
            Hold.objects.select_for_update(no_key=True).filter(site_id=site_id, id=hold_id).first()
        )
        if hold is None:
            raise NotFoundError(_("There is no hold %d here.") % hold_id)
        if hold.cleared_at is None:
            hold.cleared_by, hold.cleared_at, hold.clear_note = by, at, note
            hold.save(update_fields=["cleared_by", "cleared_at", "clear_note"])
            write.change(f"hold.{hold.subject_kind}", hold.subject_id, put=False)
    return hold
