"""Status: is the service up, is the farm backed up, was every phone heard? Worst first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import IntEnum
from shlex import quote
from typing import Any

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from crews.devices.queries import PairedPhone, paired_phones
from equipment.site import condition
from equipment.site.models import TaskRun
from equipment.site.runs import MAX_ATTEMPTS

from .base import Desk

QUIET_PHONE = timedelta(days=3)
DAY = timedelta(days=1)
EVERY_S = 30  # a page that shows what the clock alone changes is drawn anew
MOST_RUNS = 10  # of those given up that are shown


class Grade(IntEnum):
    """How a thing is, the worst first."""

    WRONG = 0
    MIND = 1
    UNKNOWN = 2
    WELL = 3


GRADES = {
    Grade.WRONG: gettext_lazy("Put right now"),
    Grade.MIND: gettext_lazy("Mind"),
    Grade.UNKNOWN: gettext_lazy("Not known"),
    Grade.WELL: gettext_lazy("Well"),
}
STYLES = {
    Grade.WRONG: "at-once",
    Grade.MIND: "part",
    Grade.UNKNOWN: "waiting",
    Grade.WELL: "done",
}


@dataclass(frozen=True, slots=True)
class StatusLine:
    """One thing that was looked at: how it is, what to do, what to type; `why` is a program's."""

    name: str
    grade: Grade
    figure: str
    words: str
    cure: str = ""
    command: str = ""
    why: str = ""

    @property
    def state(self) -> str:
        """The word of its grade."""
        return str(GRADES[self.grade])

    @property
    def style(self) -> str:
        """The style of its grade; the word stands beside it."""
        return STYLES[self.grade]


@dataclass(frozen=True, slots=True)
class PhoneLine:
    """One paired phone in words."""

    owner: str
    heard: str
    told: str
    is_quiet: bool


def status_context(desk: Desk) -> dict[str, Any]:
    """Look at all: 3 queries, and files."""
    phones = paired_phones(desk.site_id)
    looked = [
        backup_line(desk),
        _phones(desk, phones),
        _certificate(desk),
        _disk(),
        work_line(desk),
        _processes(desk),
    ]
    dead = list(condition.given_up(desk.site_id, desk.now - DAY)[: MOST_RUNS + 1])
    lines = [*looked, *([_given_up(dead)] if dead else [])]
    return {
        "finding": _finding(lines),
        "figures": [(line.name, line.figure) for line in lines],
        "asking": sorted(
            (line for line in lines if line.grade is not Grade.WELL), key=lambda line: line.grade
        ),
        "well": [line for line in lines if line.grade is Grade.WELL],
        "phones": [_phone(desk, phone) for phone in phones],
        "dead": [
            (run, desk.moment(run.finished_at)) for run in dead[:MOST_RUNS] if run.finished_at
        ],
    }


def status_alarms(desk: Desk) -> list[StatusLine]:
    """Say what Today must tell of the service; nothing while all is well: 1 query."""
    told = (backup_line(desk), work_line(desk))
    return [line for line in told if line.grade is Grade.WRONG]


def _finding(lines: list[StatusLine]) -> str:
    n_wrong = sum(line.grade is Grade.WRONG for line in lines)
    n_mind = sum(line.grade is Grade.MIND for line in lines)
    n_unknown = sum(line.grade is Grade.UNKNOWN for line in lines)
    said = [
        ngettext("%d thing must be put right.", "%d things must be put right.", n_wrong) % n_wrong
        if n_wrong
        else _("Nothing must be put right.")
    ]
    if n_mind:
        said.append(ngettext("%d wants minding.", "%d want minding.", n_mind) % n_mind)
    if n_unknown:
        said.append(ngettext("%d is not known.", "%d are not known.", n_unknown) % n_unknown)
    return " ".join(said)


# Backup -----------------------------------------------------------------------------------------


def backup_line(desk: Desk) -> StatusLine:
    """Say how old the last whole backup is, whether one failed since, and what to type."""
    record = condition.backup_record() if condition.is_database_kept_here() else None
    name = _("Last backup")
    if record is None:
        return _backup_unknown(name)
    command = _backup_command(record)
    if record.failed_at:
        failed = _("The backup of %s failed.") % desk.moment(record.failed_at)
        words = f"{failed} {_last_backup(desk, record)}"
        cure = _("Put right what it says, and make one now.")
        figure = _age(desk, record.made_at) if record.made_at else _("failed")
        return StatusLine(name, Grade.WRONG, figure, words, cure, command, record.why)
    if record.made_at is None:
        is_new = desk.now - desk.caller.site.created_at < condition.OLD_BACKUP
        grade = Grade.MIND if is_new else Grade.WRONG
        cure = _("Make one now, on another disk or machine, and let a daily job do it.")
        return StatusLine(name, grade, _("none"), _last_backup(desk, record), cure, command)
    figure, words = _age(desk, record.made_at), _last_backup(desk, record)
    if record.is_old(desk.now):
        cure = _("Make one now, and see why the daily job did not.")
        return StatusLine(name, Grade.WRONG, figure, words, cure, command)
    return StatusLine(name, Grade.WELL, figure, words)


def _backup_unknown(name: str) -> StatusLine:
    if condition.is_database_kept_here():
        words = _("What is remembered of backups cannot be read.")
        cure = _("See whether a backup is there, and make one.")
        command = _backup_command(condition.BackupRecord())
        return StatusLine(name, Grade.UNKNOWN, _("not known"), words, cure, command)
    words = _("The database is on a server of the farm's own, whose backups are not seen here.")
    cure = _("Back it up by that server's means, and the folder of photos with it.")
    return StatusLine(name, Grade.UNKNOWN, _("not known"), words, cure)


def _last_backup(desk: Desk, record: condition.BackupRecord) -> str:
    if record.made_at is None:
        return _("No whole backup of this farm is on record here.")
    told = {"age": _age(desk, record.made_at), "at": desk.moment(record.made_at)}
    return _("The last whole one is from %(at)s, %(age)s.") % told


def _backup_command(record: condition.BackupRecord) -> str:
    where = [quote(str(path)) for path in (condition.data_root(), record.to or "FOLDER")]
    return "python3 manage.py backup --data {} --out {}".format(*where)


def _age(desk: Desk, at: datetime) -> str:
    return desk.ago(at)


# Phones -----------------------------------------------------------------------------------------


def _phones(desk: Desk, phones: list[PairedPhone]) -> StatusLine:
    name = _("Phones heard within a day")
    if not phones:
        return StatusLine(name, Grade.WELL, "–", _("No phone is paired yet."))
    quiet = [phone for phone in phones if _is_quiet(desk, phone)]
    n_heard = sum(phone.is_heard and desk.now - phone.heard_at < DAY for phone in phones)
    figure = _("%(n)s of %(all)s") % {"n": f"{n_heard:,}", "all": f"{len(phones):,}"}
    longest = _("The longest silent is %(who)s's: %(age)s.") % {
        "who": phones[0].owner,
        "age": desk.ago(phones[0].heard_at),
    }
    if not quiet:
        return StatusLine(name, Grade.WELL, figure, longest)
    days = QUIET_PHONE.days
    n = len(quiet)
    words = ngettext(
        "%(n)d phone was not heard of for %(days)d days.",
        "%(n)d phones were not heard of for %(days)d days.",
        n,
    ) % {"n": n, "days": days}
    cure = _(
        "Open Penround on it within signal: it sends by itself. Is it lost? Take its access away."
    )
    return StatusLine(name, Grade.MIND, figure, f"{words} {longest}", cure)


def _is_quiet(desk: Desk, phone: PairedPhone) -> bool:
    return desk.now - phone.heard_at > QUIET_PHONE


def _phone(desk: Desk, phone: PairedPhone) -> PhoneLine:
    heard = f"{desk.moment(phone.heard_at)} · {desk.ago(phone.heard_at)}"
    if not phone.is_heard:
        heard = _("never since it was paired, %s") % desk.moment(phone.heard_at)
    return PhoneLine(
        owner=_("%s, shared") % phone.owner if phone.is_shared else phone.owner,
        heard=heard,
        told=_told(desk, phone),
        is_quiet=_is_quiet(desk, phone),
    )


def _told(desk: Desk, phone: PairedPhone) -> str:
    """Say what came from it last, and how long that had waited on the phone."""
    if phone.told_at is None or phone.word_of is None:
        return _("nothing yet")
    said = desk.moment(phone.word_of)
    if phone.told_at - phone.word_of < timedelta(minutes=5):
        return said
    return _("%(said)s, came in %(came)s") % {"said": said, "came": desk.moment(phone.told_at)}


# Certificate, disk ------------------------------------------------------------------------------


def _certificate(desk: Desk) -> StatusLine:
    name = _("Certificate")
    found = condition.certificate()
    if found is None:
        return _no_certificate(name)
    days = max((found.ends_at - desk.now).days, 0)
    figure = ngettext("%d day left", "%d days left", days) % days
    words = _("Phones trust it until %s.") % desk.day(found.ends_at)
    if found.ends_at <= desk.now:
        words = _("It ended on %s: phones send nothing.") % desk.day(found.ends_at)
    if found.ends_at - desk.now > condition.CERTIFICATE_ENDS:
        return StatusLine(name, Grade.WELL, figure, words)
    if found.is_farms:
        cure = _("Stop the service and start it again as before: it makes a new one.")
    else:
        cure = _("Have a new one signed, and start the service again with it.")
    return StatusLine(name, Grade.WRONG, figure, words, cure)


def _no_certificate(name: str) -> StatusLine:
    if settings.TLS_CERTIFICATE is not None:
        words = _("It is set, and cannot be read.")
        cure = _("Look at the file, or stop the service and start it again as before.")
        return StatusLine(
            name, Grade.WRONG, _("not known"), words, cure, str(settings.TLS_CERTIFICATE)
        )
    if settings.SERVED_BY_TLS:
        words = _(
            "Something in front of this service speaks TLS: its certificate is not seen here."
        )
        cure = _("Look there how long it lasts.")
        return StatusLine(name, Grade.UNKNOWN, _("not known"), words, cure)
    words = _("There is none: phones keep and send work with this machine alone.")
    cure = _("Start the service with the name that phones call:")
    data = quote(str(condition.data_root() or "DIR"))
    command = f"python3 manage.py up --no-demo --tls NAME --data {data}"
    return StatusLine(name, Grade.MIND, _("none"), words, cure, command)


def _disk() -> StatusLine:
    name = _("Room on the disk")
    free = condition.free_bytes()
    if free is None:
        words = _("The folder of the farm's data is not there.")
        return StatusLine(name, Grade.UNKNOWN, _("not known"), words, _("See where its disk is."))
    figure = f"{free / 1e9:,.1f} GB"
    words = _("%s are free where the farm's data lie.") % figure
    cure = _("Make room there: with nothing left the database stops.")
    if free < condition.LEAST_BYTES:
        return StatusLine(name, Grade.WRONG, figure, words, cure)
    if free < condition.SCARCE_BYTES:
        return StatusLine(name, Grade.MIND, figure, words, cure)
    return StatusLine(name, Grade.WELL, figure, words)


# The service's own work -------------------------------------------------------------------------


def work_line(desk: Desk) -> StatusLine:
    """Say whether work that the service does by itself stands still: 1 query."""
    name = _("Own work late")
    work = condition.own_work(desk.site_id, desk.now)
    figure = f"{work.n_late:,}"
    if work.late_since is None:
        words = _("%(waiting)s wait for their time, %(running)s are being done.") % {
            "waiting": f"{work.n_waiting:,}",
            "running": f"{work.n_running:,}",
        }
        return StatusLine(name, Grade.WELL, figure, words)
    words = ngettext(
        "%(n)d piece of the service's own work stands still, since %(at)s.",
        "%(n)d pieces of the service's own work stand still, the first since %(at)s.",
        work.n_late,
    ) % {"n": work.n_late, "at": desk.moment(work.late_since)}
    cure = _(
        "Plans and figures grow old meanwhile. Ask what is wrong, then start the service again:"
    )
    return StatusLine(name, Grade.WRONG, figure, words, cure, _doctor())


def _doctor() -> str:
    return f"python3 manage.py doctor --data {condition.data_root() or 'DIR'}"


def _processes(desk: Desk) -> StatusLine:
    name = _("Background processes")
    signs = condition.signs_of_life()
    if signs is None:
        words = _("The service was not started by `up`, so nobody watches them here.")
        cure = _("Look at what started them.")
        return StatusLine(name, Grade.UNKNOWN, _("not known"), words, cure)
    seen = [at for at in signs.values() if at is not None]
    alive = [at for at in seen if desk.now - at <= condition.SILENT_AFTER]
    told = {"n": len(alive), "all": len(signs)}
    figure = _("%(n)s of %(all)s") % told
    if len(alive) == len(signs):
        words = _("All show signs of life, the last %s.") % desk.ago(max(seen))
        return StatusLine(name, Grade.WELL, figure, words)
    words = _("%(n)d of %(all)d show signs of life.") % told
    cure = _("Those without are started anew by themselves; if they stay silent, ask why:")
    grade = Grade.WRONG if len(seen) == len(signs) else Grade.MIND
    return StatusLine(name, grade, figure, words, cure, _doctor())


def _given_up(dead: list[TaskRun]) -> StatusLine:
    n = len(dead)
    figure = f"{MOST_RUNS}+" if n > MOST_RUNS else f"{n:,}"
    words = _("Tried %(n)d times and given up since yesterday: %(kinds)s.") % {
        "n": MAX_ATTEMPTS,
        "kinds": ", ".join(sorted({run.kind for run in dead})),
    }
    cure = _("What each says stands below. Tell whoever looks after the service.")
    return StatusLine(_("Given up"), Grade.MIND, figure, words, cure)
