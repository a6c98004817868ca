"""What the opening file may hold: how the invented farm stands on the day it is loaded."""

from django.utils.translation import gettext_lazy as _

from crews.people.models import LeaveKind
from equipment.site.farmfields import Field, Kind
from equipment.site.farmrows import Rows, Section
from equipment.site.models import Language, Role
from schedules.farmfile.models import LoadedEntry

NO_ROWS = Rows(LoadedEntry)  # history is written by the rooms' verbs, not entry by entry

ACCOUNTS = Section(
    name="accounts",
    help=_("Who signs in at the desk"),
    rows=NO_ROWS,
    key_fields=("username",),
    fields=(
        Field("username", Kind.KEY, _("Sign-in name")),
        Field("name", Kind.TEXT, _("Name of one who is no worker"), ""),
        Field("role", Kind.CHOICE, _("What they may do"), choices=tuple(Role.values)),
        Field("language", Kind.CHOICE, _("Language"), "en", choices=tuple(Language.values)),
        Field("worker", Kind.ROW, _("Worker the account belongs to"), None, refers_to="workers"),
    ),
)
LEAVE = Section(
    name="leave",
    help=_("Who is away"),
    rows=NO_ROWS,
    key_fields=("worker",),
    fields=(
        Field("worker", Kind.ROW, _("Who"), refers_to="workers"),
        Field("kind", Kind.CHOICE, _("Why"), choices=tuple(LeaveKind.values)),
        Field("from_d", Kind.WHOLE, _("First day, counted from today"), low=-60, high=60),
        Field("days", Kind.WHOLE, _("How many days"), low=1, high=60),
    ),
)
METERS = Section(
    name="meters",
    help=_("Hour meters and how much machines run"),
    rows=NO_ROWS,
    key_fields=("machine",),
    fields=(
        Field("machine", Kind.ROW, _("Machine"), refers_to="machines"),
        Field("meter_h", Kind.NUMBER, _("What the meter shows now"), above=0),
        Field("use_h_d", Kind.NUMBER, _("Hours it runs on a usual day"), above=0, high=24),
        Field("left_h", Kind.DOCUMENT, _("Hours left to services, by service item"), {}),
        Field("by", Kind.ROW, _("Who reads it and services it"), refers_to="workers"),
    ),
)
DEFECTS = Section(
    name="defects",
    help=_("What is wrong with machines and not yet put right"),
    rows=NO_ROWS,
    key_fields=("machine",),
    fields=(
        Field("machine", Kind.ROW, _("Machine"), refers_to="machines"),
        Field("text", Kind.TEXT, _("What is wrong"), high=300),
        Field("by", Kind.ROW, _("Who reported it"), refers_to="workers"),
        Field("h_ago", Kind.NUMBER, _("Hours ago"), above=0),
    ),
)
LEVELS = Section(
    name="levels",
    help=_("Depth of the basins now, and how it came there"),
    rows=NO_ROWS,
    key_fields=("basin",),
    fields=(
        Field("basin", Kind.ROW, _("Basin"), refers_to="basins"),
        Field("depth_m", Kind.NUMBER, _("Depth now"), low=0),
        Field("rise_m_w", Kind.NUMBER, _("Rise in a week")),
    ),
)
SAND = Section(
    name="sand",
    help=_("How the sand loop ran up to now"),
    rows=NO_ROWS,
    is_single=True,
    fields=(
        Field("history_d", Kind.WHOLE, _("Days played through"), low=1, high=400),
        Field("buckets", Kind.NUMBER, _("Buckets of each scoop in turn"), is_list=True, above=0),
        Field("loads_a_day", Kind.WHOLE, _("Loads bedded a day"), low=0, high=40),
        Field("load_kg", Kind.NUMBER, _("Dry sand of a load"), above=0),
        Field("bought_place", Kind.ROW, _("Where bought sand lies"), refers_to="pile_places"),
        Field("bought_kg", Kind.NUMBER, _("Dry sand of a delivery"), above=0),
        Field("scooped_by", Kind.ROW, _("Who moves sand"), refers_to="workers"),
        Field("tested_by", Kind.ROW, _("Who tests it"), refers_to="workers"),
        Field("released_by", Kind.ROW, _("Who releases it"), refers_to="workers"),
    ),
)
BED_WORK = Section(
    name="bed_work",
    help=_("Beds groomed in the last weeks, as it was told"),
    rows=NO_ROWS,
    key_fields=("standing_order",),
    fields=(
        Field("standing_order", Kind.ROW, _("Kind of work"), refers_to="standing_orders"),
        Field("jobs_a_day", Kind.WHOLE, _("Jobs told a day"), low=1, high=40),
        Field("times", Kind.NUMBER, _("How many times the said minutes they take"), above=0),
        Field("by", Kind.ROW, _("Who tells of it"), refers_to="workers"),
        Field(
            "machines", Kind.ROW, _("With what, in turn"), [], is_list=True, refers_to="machines"
        ),
    ),
)

SECTIONS = (ACCOUNTS, LEAVE, METERS, DEFECTS, LEVELS, SAND, BED_WORK)
