"""The one lock of this room."""

from equipment.parlor.models import Parlor


def lock_parlors(site_id: int) -> None:
    """Make who plans, re-times or reports on a site wait for the other.

    Without it a planning that read a milking as planned could overwrite the one just started,
    and two first plannings would both make it. References to the parlor are not kept waiting.
    """
    rows = Parlor.objects.select_for_update(no_key=True).filter(site_id=site_id)
    list(rows.order_by("pk").values_list("pk"))
