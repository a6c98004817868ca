"""Refusals of the schedules app. No Django here."""

from equipment.site.errors import DomainError


class UnknownMomentError(DomainError):
    """Not one of the moments of a pen's visit."""

    code = "unknown_moment"


class TimeInFutureError(DomainError):
    """Reported as happened, yet later than now."""

    code = "time_in_future"


class TimePassedError(DomainError):
    """Foretold for a time that has passed."""

    code = "time_passed"


class OtherVisitError(DomainError):
    """So far from the expected time that another milking must be meant."""

    code = "not_this_milking"


class VisitOrderError(DomainError):
    """Contradicts what was recorded of the same visit."""

    code = "visit_out_of_order"


class MilkingStateError(DomainError):
    """The milking is not in the state that this step starts from."""

    code = "milking_state"


class BatchStageError(DomainError):
    """The batch is not in the stage that this step starts from."""

    code = "batch_stage"


class BatchHeldError(DomainError):
    """A named person holds the batch."""

    code = "batch_held"


class PlaceTakenError(DomainError):
    """Another batch lies there, or the pile there is closed."""

    code = "place_taken"


class PlaceFullError(DomainError):
    """More sand than there is room for."""

    code = "place_full"


class TooEarlyError(DomainError):
    """Before the batch's date, and no reason given."""

    code = "too_early"


class NotOldestError(DomainError):
    """An older released batch goes first, and no reason given."""

    code = "not_oldest"


class WorkOrderClosedError(DomainError):
    """The work order is done or taken back."""

    code = "work_order_closed"


class AlreadyUnderWayError(DomainError):
    """Others are on it, as many as it needs."""

    code = "already_under_way_by_other"


class ReasonNeededError(DomainError):
    """What was not done, or is taken back, needs a reason."""

    code = "reason_needed"


class CountNeededError(DomainError):
    """How many stalls are left was not said, or cannot be."""

    code = "n_left_needed"


class WaitingOnError(DomainError):
    """Something must come first, or is held by a named person."""

    code = "waiting_on"


class ServiceRecordNeededError(DomainError):
    """A service is done by its record: reading, parts, minutes."""

    code = "service_record_needed"


class NothingToUndoError(DomainError):
    """The person said nothing of this work order that still stands."""

    code = "nothing_to_undo"


class UndoTooLateError(DomainError):
    """Others have planned on it meanwhile."""

    code = "undo_too_late"


class CannotUndoError(DomainError):
    """What followed from it stands already."""

    code = "cannot_undo"


class NoDecisionError(DomainError):
    """Nothing of this work order waits for a decision."""

    code = "no_decision"


class NothingLearnedError(DomainError):
    """The record of done work is too short to put a number into a standing order."""

    code = "nothing_learned"


class StandingOrderError(DomainError):
    """The standing order cannot be as it was sent; `errors` lists every fault."""

    code = "standing_order_invalid"
    status = 400


class AlreadyBookedError(DomainError):
    """A person, machine or place is on other work at that time."""

    code = "already_booked"


class CannotAssignError(DomainError):
    """The work order, the person or the machine cannot be assigned as asked."""

    code = "cannot_assign"


class NoSearchError(DomainError):
    """There is no running search for a plan to stop."""

    code = "no_search_running"


class NoYearError(DomainError):
    """A year ahead cannot be reckoned, or not be gone on with; nothing is invented."""

    code = "no_year_ahead"


class YearStateError(DomainError):
    """The year ahead is not in the state that this step starts from."""

    code = "year_ahead_state"


class HandoverError(DomainError):
    """More in a box of a handover than anybody reads."""

    code = "handover"


class AlertOverError(DomainError):
    """Decided by somebody already, or over by itself."""

    code = "alert_over"


class NoAnswerError(DomainError):
    """None of the answers that were offered, and no words."""

    code = "no_answer"
