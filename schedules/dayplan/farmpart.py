"""What the plan of the day brings to the farm file: what it weighs how much."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _

from equipment.site.farmfields import Field, Kind
from equipment.site.farmrows import Section, SingleRows

from .models import PlanPractice


def _price(name: str, help_text: Any, default: float) -> Field:
    return Field(name, Kind.NUMBER, help_text, default, low=0, high=1000)


PLAN_RULES = Section(
    name="plan_rules",
    help=_("What the plan of the day weighs, each in minutes of a person's walking"),
    is_single=True,
    rows=SingleRows(PlanPractice),
    fields=(
        Field(
            "keep_chance_frac", Kind.NUMBER,
            _("How likely each job should end in its window"), 0.9, low=0.5, high=0.999,
        ),
        _price("slack_price", _("Each minute less of the slack that this takes"), 0.5),
        _price("change_price", _("Each job changed that people know of"), 20),
        _price("off_crew_price", _("Each job of a pen given to another crew"), 5),
        _price("overtime_price", _("Each minute of overtime"), 3),
        _price("balance_price", _("Each minute of work beyond an even share"), 0),
    ),
)  # fmt: skip

SECTIONS = (PLAN_RULES,)
