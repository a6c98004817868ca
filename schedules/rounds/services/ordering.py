"""The order of pens, as a person decides it."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from equipment.barns.models import Pen
from equipment.site.calc import local_time
from equipment.site.errors import InvalidInputError, NotFoundError
from equipment.site.models import Site
from equipment.site.writes import site_write

from .locking import lock_parlors
from .planning import plan_milkings

PLANNED_AHEAD = timedelta(days=15)


def set_milking_order(*, site_id: int, pen_ids: Sequence[int], at: datetime) -> None:
    """Milk the pens in this order from the next planned milking on.

    Refused: other pens than those milked, or one twice. Tells as `plan_milkings`.
    """
    with site_write(site_id, at) as write:
        lock_parlors(site_id)
        pens = {p.pk: p for p in Pen.objects.filter(site_id=site_id, place__retired_at=None)}
        milked = {pk for pk, pen in pens.items() if pen.n_cows}
        if not set(pen_ids) <= pens.keys():
            raise NotFoundError(_("There is no such pen here."))
        if set(pen_ids) != milked or len(pen_ids) != len(milked):
            raise InvalidInputError(_("The pens have changed since. Look at the order again."))
        order = [*pen_ids, *sorted(pens.keys() - milked)]
        for rank, pen_id in enumerate(order, start=1):
            pens[pen_id].milking_rank = rank
        Pen.objects.bulk_update(pens.values(), ["milking_rank"])
        write.touch()
        today = local_time.local_date_of(at, Site.objects.get(pk=site_id).zone)
        plan_milkings(site_id=site_id, from_on=today, until_on=today + PLANNED_AHEAD, at=at)
