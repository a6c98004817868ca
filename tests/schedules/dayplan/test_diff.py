"""Who must be told of a new plan."""

from schedules.dayplan.calc.diff import ChangeKind, diff_plans

from .tiny import a_day, a_job, a_machine, a_person, booked, plan_of, span

DAY = a_day(
    a_person("ana"),
    a_person("ben"),
    a_machine(),
    a_machine("loader-2"),
    *(a_job(key, windows=(span(0, 400),), machine_kinds=("loader",)) for key in "abcdef"),
)
OLD = plan_of(
    DAY,
    a=booked("ana", 0, 20, "loader-1"),
    b=booked("ana", 40, 60, "loader-1"),
    c=booked("ana", 80, 100, "loader-1"),
    d=booked("ana", 120, 140, "loader-1"),
    e=booked("ana", 160, 180, "loader-1"),
)
NEW = plan_of(
    DAY,
    a=booked("ana", 0, 20, "loader-1"),
    b=booked("ben", 40, 60, "loader-1"),
    c=booked("ana", 80, 100, "loader-2"),
    d=booked("ana", 123, 143, "loader-1"),
    f=booked("ben", 200, 220, "loader-1"),
)


def test_each_change_has_its_kind_and_they_come_in_order_of_time() -> None:
    assert [
        (change.job, change.kind) for change in diff_plans(OLD.assignments, NEW.assignments)
    ] == [
        ("b", ChangeKind.REASSIGNED),
        ("c", ChangeKind.MACHINE_CHANGED),
        ("d", ChangeKind.MOVED),
        ("e", ChangeKind.REMOVED),
        ("f", ChangeKind.ADDED),
    ]


def test_a_small_shift_in_time_is_tolerated_when_asked() -> None:
    assert "d" not in [
        change.job for change in diff_plans(OLD.assignments, NEW.assignments, tolerance_min=3)
    ]


def test_both_who_had_and_who_has_the_job_are_told() -> None:
    changes = diff_plans(OLD.assignments, NEW.assignments)

    assert [c.people for c in changes] == [("ana", "ben"), ("ana",), ("ana",), ("ana",), ("ben",)]


def test_the_same_plan_concerns_nobody() -> None:
    assert diff_plans(OLD.assignments, OLD.assignments) == ()
