"""What the room brings to the farm file: what a lead looks at on the way round."""

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import ANY_PLACE, Complaint, Entry, Field, Kind
from equipment.site.farmrows import Section, TitledRows

from .models import WalkLine

MAX_LINES_A_PLACE = 9  # nobody reads more at one stand


def check_walk_line(entry: Entry) -> Iterator[Complaint]:
    lines = entry.everything["walk_lines"]
    stand, position = entry.values["stand"], entry.values["position"]
    same = [key for key, line in lines.items() if line["stand"] == stand]
    if same.index(entry.key) >= MAX_LINES_A_PLACE:
        text = _("is one of %(n)d lines at this place; nobody reads more than %(max)d")
        words = {"n": len(same), "max": MAX_LINES_A_PLACE}
        yield Complaint("stand", text % words, _("Keep the nine that matter most."))
    if [line["position"] for line in lines.values()].count(position) > 1:
        clash = _("is the position of another line too")
        yield Complaint("position", clash, _("Number the lines in walking order."))


WALK_LINES = Section(
    name="walk_lines",
    help=_("What a lead looks at on the way round: each line says the good state"),
    rows=TitledRows(WalkLine, "text"),
    check=check_walk_line,
    fields=(
        Field("stand", Kind.ROW, _("Where one stands to see it"), refers_to=ANY_PLACE),
        Field("position", Kind.WHOLE, _("Order of the walk"), low=1, high=999),
        Field("text", Kind.WORDS, _("The good state")),
    ),
)

SECTIONS = (WALK_LINES,)
