"""Who decides for others, told by the actor alone: what was said is judged behind its door too."""

from equipment.site.models import LEADS, Actor, Membership

from .models import Worker


def is_lead(actor: Actor) -> bool:
    """Whether an actor is a manager or lead, by its worker or by its account: 2 queries at most."""
    own = Worker.objects.filter(actor=actor, role__in=LEADS, retired_at=None)
    accounts = Membership.objects.filter(site_id=actor.site_id, user__actor=actor, role__in=LEADS)
    return own.exists() or accounts.exists()
