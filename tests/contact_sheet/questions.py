"""What each screen of the desk is asked, and what on it answers: the 5-second list.

The answer must stand in the first screenful, at a desk and on a phone; `tests/schedules/desk/
test_questions.py` looks, and the contact sheet draws a frame around it.
"""

from __future__ import annotations

from dataclasses import dataclass

LEAD = "p.lead, #page > p.empty"  # what an empty screen says to do is its answer


@dataclass(frozen=True, slots=True)
class Question:
    """A screen's question, and the element that answers it by a selector of CSS."""

    asked: str
    answer: str = LEAD


QUESTIONS = {
    "today": Question("What is behind, who is on it, are the cows back before it is done?"),
    "day-list": Question("What is behind on the whole day?"),
    "alerts": Question("What will go wrong unless I decide, and by when?"),
    "map": Question("Where is everybody planned to be?", "figure figcaption"),
    "wall": Question("Where do I go first?", ".wall tbody tr, .wall .empty"),
    "problems": Question("What was reported and not answered?"),
    "came-late": Question("Did phones bring something I must decide?"),
    "status": Question("Up, backed up, heard from every phone?"),
    "plan": Question("How good is the plan, and who has what nobody had?"),
    "replan": Question("If this is late or broken, what gives?"),
    "week": Question("Which day am I short of people, a loader, sand?"),
    "pens": Question("When is each pen away, and do its beds fit?"),
    "standing-orders": Question("Which rules make the work?"),
    "look-back": Question("Did every bed get its turn, what did it cost?"),
    "records": Question("What can I show of this period, and what is missing?"),
    "crew": Question("Who is here, who may drive what, who has had enough hours?"),
    "roster": Question("Who works when, and where are gaps?"),
    "machines": Question("What can I not count on tomorrow?"),
    "sand": Question("Days of clean dry sand left, which pile next, fit when?"),
    "lane": Question("How much sand does the lane give back, when is it scooped?"),
    "water": Question("Which flush runs when, and does the tank have it?"),
    "basins": Question("Days till the line, what does rain do, when must we pump?"),
    "weather": Question("What do the coming days bring?"),
    "year": Question("What may run short within a year, and how likely?"),
    "set-up": Question("Is the farm told whole, and what is missing?"),
}
