"""What a new farm can begin from: rows to paste, and standing orders that most farms have.

The minutes are common practice, no time study: 0.15 to 0.4 a stall by hand, 0.03 to 0.08 mounted.
Cautions are the usual ones and no procedure: local codes and licensed practice govern.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.urls import reverse
from django.utils.translation import gettext_lazy

from equipment.site.farmfields import Values

from .base import Desk
from .set_up_words import own_words

if TYPE_CHECKING:
    from equipment.site.farmfields import Text

SAMPLES: dict[str, tuple[str, ...]] = {  # tab-separated, as a spreadsheet copies them
    "pens": (
        "label\tkind\tn_cows\twalk_m\tmilking_rank\treturn_mode\treturn_hold_min",
        "1\tfresh\t180\t190\t1\tgate_held\t20",
        "2\tmilking\t300\t190\t2\tgate_held\t20",
    ),
    "bed_groups": (
        "label\tpen\tn_stalls",
        "1A\tpen-1\t50",
        "1B\tpen-1\t50",
    ),
    "workers": (
        "name\trole\tlanguage\tskills",
        "Ona Fernbrook\tlead\ten\tbeds-by-hand 2024-01-01; cattle 2024-01-01",
    ),
    "rotations": (
        "worker\tpattern\tdays_on\tdays_off\tanchor_on",
        "ona-fernbrook\tday\t6\t2\t2026-01-05",
    ),
    "machines": (
        "name\tkind\thome\tdriver_skill\tbucket_m3",
        "Loader 1\tloader\tyard\tdrives-loaders\t3.1",
    ),
}


@dataclass(frozen=True, slots=True)
class Usual:
    """A standing order to begin from: what it is called in a link, and what its form holds."""

    title: Text
    values: Values


LOCK = {
    "en": "Your own lock on the flush valve. Be out before the first cow.",
    "es": "Su propio candado en la válvula. Salga antes de la primera vaca.",
}
USUAL_ORDERS: dict[str, Usual] = {
    "by-hand": Usual(
        gettext_lazy("Beds by hand, at each visit"),
        {
            "title": {"en": "Rake beds by hand", "es": "Rastrillar camas a mano"},
            "trigger": "pen_visit",
            "trigger_rule": {"within": "usable"},
            "target": {"kind": "bed_group"},
            "duration": {"base_min": 2, "per_stall_min": 0.4},
            "n_people": 2,
            "priority": 2,
            "needs_lock": True,
            "caution": LOCK,
        },
    ),
    "mounted": Usual(
        gettext_lazy("Beds by a mounted groomer, at each visit"),
        {
            "title": {"en": "Groom beds", "es": "Peinar camas con máquina"},
            "trigger": "pen_visit",
            "trigger_rule": {"within": "usable"},
            "target": {"kind": "bed_group"},
            "duration": {"base_min": 2, "per_stall_min": 0.05},
            "machine_kinds": ["groomer"],
            "priority": 2,
            "effort": "light",
            "needs_lock": True,
            "caution": {
                "en": f"{LOCK['en']} No people and no cows in the alley with the machine.",
                "es": (
                    f"{LOCK['es']} Ni personas ni vacas en el pasillo mientras trabaja la máquina."
                ),
            },
        },
    ),
    "gate": Usual(
        gettext_lazy("Somebody at the return gate, at each visit"),
        {
            "title": {"en": "Hold the return gate", "es": "Detener la puerta de regreso"},
            "trigger": "pen_visit",
            "trigger_rule": {"within": "gate", "length_min": 24},
            "target": {"kind": "pen"},
            "duration": {"base_min": 22},
            "priority": 1,
            "effort": "light",
            "caution": {
                "en": "Stand beside the flow of cows and never in it.",
                "es": "Párese al lado del paso de vacas y nunca en medio.",
            },
        },
    ),
    "walk": Usual(
        gettext_lazy("Something at a set time each day"),
        {
            "title": {"en": "Walk the lane and pads", "es": "Recorrer canal y patios"},
            "trigger": "calendar",
            "trigger_rule": {
                "rrule": "FREQ=DAILY",
                "at_local": "07:00",
                "from_on": "2026-01-01",
                "window_h": 3,
            },
            "target": {"kind": "parlor"},
            "duration": {"base_min": 20},
            "effort": "light",
        },
    ),
}


def usual_links(desk: Desk, section: str) -> list[tuple[str, str]]:
    """Give what a new entry of a section can begin from: address and words."""
    if section != "standing_orders":
        return []
    at = reverse("set-up-new", args=[desk.caller.site.slug, section])
    return [
        (f"{at}?from={name}", own_words(desk, str(usual.title)))
        for name, usual in USUAL_ORDERS.items()
    ]


def usual_values(section: str, name: str) -> Values:
    """Give what the form of a new entry holds at first, nothing where no such thing is known."""
    known = USUAL_ORDERS if section == "standing_orders" else {}
    return known[name].values if name in known else {}
