"""What keeps work out of the plan, and what would help, in the trade's words."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from crews.people.models import Worker
from equipment.machines.models import Machine
from equipment.site.errors import NotFoundError
from schedules.dayplan.calc.remedies import Clashing, Remedy, RemedyKind
from schedules.dayplan.calc.solution import Assignment
from schedules.dayplan.help import help_for
from schedules.work.models import WorkOrder

from .base import Desk
from .wording import say_said

CLASHING = {
    Clashing.WINDOW: gettext_lazy("its window"),
    Clashing.PLACE: gettext_lazy("its place being closed or taken"),
    Clashing.ORDER: gettext_lazy("what must come before or after it"),
    Clashing.MACHINES: gettext_lazy("the machines there are"),
    Clashing.PEOPLE: gettext_lazy("the people there are"),
    Clashing.OTHER_WORK: gettext_lazy("the work they have already"),
}


@dataclass(frozen=True, slots=True)
class HelpWords:
    """The clash in one sentence, and what would help, the cheapest first."""

    clash: str
    remedies: list[str]


def help_words(desk: Desk, order: WorkOrder) -> HelpWords:
    """Reckon and say it: 35 queries and a few seconds."""
    try:
        found = help_for(site_id=desk.site_id, work_order_id=order.pk, at=desk.now)
    except NotFoundError as error:
        return HelpWords(str(error), [])
    if not found.clash:
        return HelpWords(_("There is room for it; the next plan will have it."), [])
    facts = ", ".join(str(CLASHING[kind]) for kind in found.clash)
    clash = _("These clash: %s. With any one of them otherwise there would be room.") % facts
    return HelpWords(clash, [_say(desk, remedy) for remedy in found.remedies])


def _say(desk: Desk, remedy: Remedy) -> str:
    if remedy.kind == RemedyKind.LATER:
        what = _("A window that ends %d minutes later") % (remedy.later_min or 0)
    elif remedy.kind == RemedyKind.ONE_MORE_PERSON:
        what = _("One more person who may do it")
    elif remedy.kind == RemedyKind.ONE_MORE_MACHINE:
        what = _("One more machine for it, or one back in use")
    else:
        what = _("Leaving out what matters less: %s") % _other(desk, remedy)
    return f"{what}: {_who(desk, remedy.given)}"


def _other(desk: Desk, remedy: Remedy) -> str:
    order = WorkOrder.objects.select_related("place__parent").get(pk=int(remedy.instead_of or 0))
    return f"{say_said(order.title, desk.language)} {desk.place(order.place)}"


def _who(desk: Desk, given: Assignment) -> str:
    """Name who would have it; somebody or something that is not there yet is named so."""
    known = [int(person) for person in given.people if person.isdecimal()]
    people = Worker.objects.filter(site_id=desk.site_id, pk__in=known)
    names = dict(people.values_list("pk", "name"))
    said = [names.get(int(p), "") if p.isdecimal() else _("one more") for p in given.people]
    if given.machine is not None and given.machine.isdecimal():
        said.append(Machine.objects.get(site_id=desk.site_id, pk=int(given.machine)).name)
    return f"{', '.join(said)} · {desk.span(given.start, given.end)}"
