"""What a roster breaks and lacks, in words: the judge gives codes with facts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from crews.people.models import Skill, Worker

from .build import Kinds
from .calc.check import Broken
from .calc.limits import Limit

BROKEN = {
    "unknown_person": gettext_lazy("%(person)s does not work here any more."),
    "unknown_kind": gettext_lazy("The shift %(kind)s is not in use any more."),
    "outside_period": gettext_lazy("%(day)s is outside of the roster."),
    "two_shifts_a_day": gettext_lazy("%(person)s has two shifts on %(day)s."),
    "away": gettext_lazy("%(person)s is away on %(day)s."),
    "skill_not_held": gettext_lazy("%(person)s is not qualified for %(skill)s on %(day)s."),
    "fixed_moved": gettext_lazy("%(person)s: what is worked on %(day)s is settled already."),
    "kind_forbidden_next": gettext_lazy("%(person)s, %(day)s: not this shift after %(after)s."),
    "least_not_met": gettext_lazy(
        "%(day)s, %(kind)s: %(n_there)g of at least %(least)d for %(skill)s."
    ),
    "most_exceeded": gettext_lazy(
        "%(day)s, %(kind)s: %(n_there)g where at most %(most)d may be (%(skill)s)."
    ),
    "lead_missing": gettext_lazy("%(day)s, %(kind)s: nobody leads the crew %(crew)s."),
}
RULES = {
    "rest": gettext_lazy("%(person)s rests %(hours).1f h before %(day)s; %(least_h).0f h are due."),
    "week_most": gettext_lazy(
        "%(person)s works %(hours).1f h in the week of %(day)s; at most %(most_h).0f h."
    ),
    "days_in_row": gettext_lazy(
        "%(person)s works %(counted)d days in a row from %(day)s; at most %(most)d."
    ),
    "nights_in_row": gettext_lazy(
        "%(person)s works %(counted)d nights in a row from %(day)s; at most %(most)d."
    ),
    "weekends": gettext_lazy("%(person)s works %(counted)d weekends of four; at most %(most)d."),
}
LIMITS = {
    "away": gettext_lazy("%(person)s is away on %(day)s"),
    "fixed": gettext_lazy("what %(person)s works on %(day)s, which is settled"),
    "kind_forbidden_next": gettext_lazy("what may not follow %(kind)s"),
    "least": gettext_lazy("the least for %(day)s, %(kind)s, %(skill)s"),
    "most": gettext_lazy("the most for %(day)s, %(kind)s, %(skill)s"),
    "lead": gettext_lazy("a lead on %(day)s, %(kind)s"),
}
LIMIT_RULES = {
    "rest": gettext_lazy("the rest of %(person)s"),
    "week_most": gettext_lazy("the hours a week of %(person)s"),
    "week_least": gettext_lazy("the hours a week of %(person)s"),
    "days_in_row": gettext_lazy("the days in a row of %(person)s"),
    "nights_in_row": gettext_lazy("the nights in a row of %(person)s"),
    "weekends": gettext_lazy("the weekends of %(person)s"),
}
CAUSES = {
    "under": gettext_lazy("too few people on a shift"),
    "over": gettext_lazy("too many people on a shift"),
    "wish": gettext_lazy("turns and wishes not met"),
    "minutes": gettext_lazy("weeks with fewer hours than agreed"),
    "crew_apart": gettext_lazy("crews parted over several shifts"),
    "lead_missing": gettext_lazy("crews without their lead"),
    "unfair": gettext_lazy("nights or weekends shared unevenly"),
    "changed": gettext_lazy("changes to what was published"),
}
FAILED = {
    "facts": gettext_lazy(
        "The farm file names no shifts or nobody who could work them, or contradicts itself."
    ),
    "search": gettext_lazy(
        "The search broke off each time. Ask for it again; if that fails too, tell whoever runs "
        "the program."
    ),
}


def say_day(on: date) -> str:
    """Say a date without its year."""
    return formats.date_format(on, "D j M")


@dataclass(frozen=True, slots=True)
class Names:
    """What people call workers, skills and kinds of shift, by the problem's ids."""

    workers: Mapping[str, str]
    skills: Mapping[str, str]
    kinds: Mapping[str, str]

    @classmethod
    def of(cls, site_id: int, kinds: Kinds) -> Names:
        """Read them: 2 queries."""
        return cls(
            dict(Worker.objects.filter(site_id=site_id).values_list("key", "name")),
            dict(Skill.objects.filter(site_id=site_id).values_list("key", "name")),
            {kind: kind_name(group) for kind, group in kinds.patterns.items()},
        )

    def skill(self, key: str | None) -> str:
        """Name a skill; none is any work."""
        return self.skills.get(key, key) if key else _("any work")


def kind_name(group: Iterable[Any]) -> str:
    """Name patterns of the same hours: by what their names have in common, else the first's."""
    names = [row.name for row in group]
    if len(names) == 1:
        return str(names[0])
    words = [name.replace(",", " ").split() for name in names]
    common = []
    for column in zip(*words, strict=False):
        if len(set(column)) > 1:
            break
        common.append(column[0])
    return " ".join(common) or str(names[0])


def say_broken(broken: Iterable[Broken], names: Names) -> list[str]:
    """Say each broken rule once."""
    return list(dict.fromkeys(_say(one, names) for one in broken if one.code in TOLD))


TOLD = (*BROKEN, "rule_broken")


def _say(one: Broken, names: Names) -> str:
    facts: dict[str, Any] = dict(one.facts)
    told = facts | {
        "person": names.workers.get(one.person or "", one.person),
        "day": say_day(one.on) if one.on else "",
        "kind": names.kinds.get(one.kind or "", one.kind),
        "skill": names.skill(facts.get("skill")),
    }
    if "after" in facts:
        told["after"] = names.kinds.get(facts["after"], facts["after"])
    if one.code != "rule_broken":
        return str(BROKEN[one.code]) % told
    told |= {
        "hours": (facts["counted"] or 0) / 60,
        "least_h": (facts["least"] or 0) / 60,
        "most_h": (facts["most"] or 0) / 60,
    }
    return str(RULES[str(facts["rule"])]) % told


def say_limit(limit: Limit, names: Names) -> str:
    """Say a fact that clashes with others."""
    told = {
        "person": names.workers.get(limit.person, limit.person),
        "day": say_day(limit.on),
        "kind": names.kinds.get(limit.kind, limit.kind),
        "skill": names.skill(limit.skill),
    }
    words = LIMIT_RULES[limit.rule] if limit.code == "rule" else LIMITS[limit.code]
    return str(words) % told


def say_why(why: Iterable[Mapping[str, Any]], names: Names) -> list[dict[str, list[str]]]:
    """Say what a run stored of why there is no roster: clashes, and what giving up would break."""
    return [
        {
            key: say_broken((Broken(**_dated(each)) for each in documents), names)
            if key == "then"
            else [say_limit(Limit(**_dated(each)), names) for each in documents]
            for key, documents in one.items()
        }
        for one in why
    ]


def _dated(document: Mapping[str, Any]) -> dict[str, Any]:
    on = document["on"]
    return {**document, "on": date.fromisoformat(on) if on else None}
