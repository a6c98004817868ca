"""Verbs about machines: readings, services, looks round, defects, repairs."""

from .checks import close_defect, report_defect, submit_check
from .common import locked_machine
from .meters import AddedReading, RecordedService, add_reading, record_service
from .repairs import end_repair, start_repair

__all__ = [
    "AddedReading",
    "RecordedService",
    "add_reading",
    "close_defect",
    "end_repair",
    "locked_machine",
    "record_service",
    "report_defect",
    "start_repair",
    "submit_check",
]
