"""What is still missing for a first day's plan, in order, each with where to give it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from equipment.site.farmrows import Farm
from equipment.site.models import Role
from schedules.farmfile.guide import SECTIONS, Facts, Lack, Line, State, Step, guide, next_of
from schedules.farmfile.queries import guide_facts
from schedules.farmfile.registry import all_sections

from .base import Desk
from .set_up_words import own_words, title_of

N_NAMED = 3  # standing orders that a line names

WHAT = {
    Step.PARLOR: gettext_lazy(
        "How many stalls, how fast, and when each milking begins: from it come the times at "
        "which pens are away."
    ),
    Step.PENS: gettext_lazy(
        "Cows, way to the parlor, place in the milking order, and what each does to have time "
        "for its beds. They can be pasted from a spreadsheet."
    ),
    Step.BEDS: gettext_lazy("The rows of stalls of each pen. They can be pasted."),
    Step.SKILLS: gettext_lazy("What work asks for, such as Beds by hand or Drives loaders."),
    Step.PEOPLE: gettext_lazy(
        "Who works here, and what each is qualified for. They can be pasted."
    ),
    Step.SHIFTS: gettext_lazy("When shifts begin and how long they last."),
    Step.DAYS: gettext_lazy("Who works which shift, and on which days. These lines can be pasted."),
    Step.WORK: gettext_lazy(
        "What is done at each visit of a pen to the parlor, such as raking beds. Begin with one "
        "of the usual ones there."
    ),
    Step.QUALIFIED: gettext_lazy("Somebody who may do it, for every standing order."),
    Step.MACHINES: gettext_lazy(
        "Those that standing orders ask for. Each has a place where it stands, such as a yard."
    ),
    Step.PLAN: gettext_lazy("The service plans by itself; Today shows who does what."),
}
TITLES = {
    Step.QUALIFIED: gettext_lazy("Who may do it"),
    Step.PLAN: gettext_lazy("The first plan"),
}
STATES = {
    State.DONE: gettext_lazy("Done"),
    State.NEXT: gettext_lazy("Next"),
    State.AFTER: gettext_lazy("After that"),
}
STYLES = {State.DONE: "done", State.NEXT: "at-once", State.AFTER: "waiting"}

LACKS = {
    Lack.NONE_FOR_VISITS: gettext_lazy(
        "None comes with a pen's visit to the parlor. Begin with one of the usual ones there."
    ),
    Lack.NOBODY_QUALIFIED: gettext_lazy(
        "Nobody is qualified for: %(names)s. Open a person and choose the skill."
    ),
    Lack.NO_MACHINE: gettext_lazy("There is no machine for: %(names)s."),
    Lack.NO_MILKING: gettext_lazy(
        "The service makes the milkings of the coming days now: wait a minute."
    ),
    Lack.NOT_PLANNED: gettext_lazy(
        "The service makes the work and its plan now: wait a minute or two."
    ),
}
OF_THE_SERVICE = (Lack.NO_MILKING, Lack.NOT_PLANNED)  # said only when it is its turn


@dataclass(frozen=True, slots=True)
class GuideLine:
    """One step in words; `url` is empty for who may not change it."""

    title: str
    state: str
    style: str
    what: str
    count: str
    url: str
    section: str
    is_next: bool


@dataclass(frozen=True, slots=True)
class Guide:
    """The way to a first plan; nobody needs it once there is one."""

    lines: list[GuideLine]
    finding: str

    @property
    def next(self) -> GuideLine | None:
        """The one thing to do now."""
        return next((line for line in self.lines if line.is_next), None)


def guide_of(desk: Desk) -> Guide | None:
    """Give the guide while no plan has given anybody work: 2 queries."""
    facts = guide_facts(Farm(desk.caller.site, all_sections(), desk.now), desk.language)
    return None if facts.has_first_plan else say_guide(desk, facts)


def say_guide(desk: Desk, facts: Facts) -> Guide:
    """Say every step in the farm's own words."""
    lines = guide(facts)
    return Guide([_line(desk, line, facts) for line in lines], _finding(desk, lines))


def _finding(desk: Desk, lines: Sequence[Line]) -> str:
    to_do = next_of(lines)
    if to_do is None:
        return _("Nothing is missing for a plan.")
    if to_do.step is Step.PLAN:
        return _("All that a first plan needs is given.")
    n = sum(line.state is not State.DONE for line in lines if line.step is not Step.PLAN)
    words = ngettext(
        "%d thing is missing before a first plan.",
        "%d things are missing before a first plan.",
        n,
    )
    return words % n


def _line(desk: Desk, line: Line, facts: Facts) -> GuideLine:
    is_done = line.state is State.DONE
    what = own_words(desk, str(WHAT[line.step]))
    return GuideLine(
        title=_title(desk, line.step),
        state=str(STATES[line.state]),
        style=STYLES[line.state],
        what="" if is_done else _say_lack(line, facts) or what,
        count=f"{line.n:,}" if is_done and line.n and line.step not in TITLES else "",
        url=_url(desk, line),
        section=SECTIONS.get(line.step, ""),
        is_next=line.state is State.NEXT,
    )


def _title(desk: Desk, step: Step) -> str:
    return str(TITLES[step]) if step in TITLES else title_of(desk, SECTIONS[step])


def _url(desk: Desk, line: Line) -> str:
    slug = desk.caller.site.slug
    if line.step is Step.PLAN:
        return reverse("today", args=[slug])
    if desk.caller.role != Role.MANAGER:
        return ""
    return reverse("set-up-section", args=[slug, SECTIONS[line.step]])


def _say_lack(line: Line, facts: Facts) -> str:
    """Say why a step is not done, where that is more than that there is nothing yet."""
    if line.lack is Lack.NOBODY_HAS_IT and facts.plan is not None:
        n = facts.plan[1]
        words = ngettext(
            "A plan was made, but nobody was free for %d job. Today says why.",
            "A plan was made, but nobody was free for any of %d jobs. Today says why.",
            n,
        )
        return words % n
    if line.lack is None or line.lack not in LACKS:
        return ""
    if line.lack in OF_THE_SERVICE and line.state is State.AFTER:
        return ""
    words = str(LACKS[line.lack])
    return words % {"names": _named(line.of)} if line.of else words


def _named(titles: Sequence[str]) -> str:
    said = ", ".join(titles[:N_NAMED])
    n_more = len(titles) - N_NAMED
    return said if n_more <= 0 else _("%(named)s and %(n)d more") % {"named": said, "n": n_more}
