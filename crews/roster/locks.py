"""The lock of a site's roster: whoever reads its facts to change it takes this first."""

from .models import ShiftPattern


def lock_roster(site_id: int) -> None:
    """Wait until nobody else changes the site's roster; held until the transaction ends.

    It is the first shift pattern's row: a site without one has no roster.
    """
    rows = ShiftPattern.objects.select_for_update(no_key=True).filter(site_id=site_id)
    rows.order_by("pk").first()
