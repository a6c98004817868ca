"""Documents of the rooms beside: handovers, walk-rounds, levels of basins."""

from collections.abc import Iterator

from equipment.basins.models import Basin
from equipment.basins.queries import latest_levels
from schedules.handover.queries import handover_documents, walk_documents

from .documents import SITE, Document, Look, crew_scope, time_of


def more_documents(look: Look) -> Iterator[Document]:
    """Each crew's latest handover for the crew; lines and basins for all: 5 queries."""
    crews = {str(crew.pk) for crew in look.crews}
    for key, body in handover_documents(look.site).items():
        if key in crews:
            yield Document(crew_scope(int(key)), "handover", key, body)
    for key, body in walk_documents(look.site).items():
        yield Document(SITE, "walk_line", key, body)
    yield from _basins(look)


def _basins(look: Look) -> Iterator[Document]:
    """What a level is read of, how deep that is, and how it stood last: 2 queries."""
    levels = latest_levels(look.site.pk, look.now)
    for basin in Basin.objects.filter(site=look.site, place__retired_at=None).order_by("pk"):
        last = levels.get(basin.pk)
        body = {
            "name": look.name(basin.pk),
            "depth_m": basin.depth_m,
            "must_act_depth_m": basin.must_act_depth_m,
            "level_m": last.depth_m if last else None,
            "read_at": time_of(last.read_at) if last else None,
        }
        yield Document(SITE, "basin", str(basin.pk), body)
