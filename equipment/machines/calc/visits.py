"""Which services of a machine to do in one visit to the shop: each visit costs, and so does early.

Exact: on one machine the best visits are runs of services in the order of their dates.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from equipment.site.calc.refusal import RefusedValueError


@dataclass(frozen=True, slots=True)
class VisitService:
    """A service to be fitted into a visit.

    Parameters
    ----------
    key : str
        Which.
    due_d : int
        Days from now until it is due; 0 for one due or overdue. [d]
    early_cost_per_d : float
        What each day before its date costs: its price over its interval. [money d⁻¹]
    most_early_d : int
        Days by which it may be early at most. [d]
    """

    key: str
    due_d: int
    early_cost_per_d: float
    most_early_d: int

    def __post_init__(self) -> None:
        """Refuse what cannot be weighed."""
        for name in ("due_d", "early_cost_per_d", "most_early_d"):
            value = getattr(self, name)
            if not 0 <= value < float("inf"):
                raise RefusedValueError("out_of_range", f"{self.key}.{name}", value)


@dataclass(frozen=True, slots=True)
class Visit:
    """Services done together.

    Parameters
    ----------
    on_d : int
        Days from now: the date of the first that is due. [d]
    keys : tuple of str
        The services, in the order of their dates.
    early_cost : float
        What doing the others early costs. [money]
    """

    on_d: int
    keys: tuple[str, ...]
    early_cost: float


def best_visits(services: Sequence[VisitService], visit_cost: float) -> list[Visit]:
    """Choose which services to do together, at the least cost, none of them late.

    Parameters
    ----------
    services : sequence of VisitService
        The next of each item of one machine.
    visit_cost : float
        To bring the machine in, clean it and take it back, once. [money]

    Returns
    -------
    list of Visit
        In order of their dates; the sum of visit and early costs is the least there is. [money]

    Raises
    ------
    RefusedValueError
        ``out_of_range`` for a visit cost below zero, ``duplicate`` for a key named twice.

    Notes
    -----
    A visit falls on the date of the first service that is due in it. Of two visits a service
    belongs to the later one that is not after its date, since early costs by the day; so the
    services of a visit are a run in the order of dates, and the best way through all runs is found
    by dynamic programming over their ends, without trying all groupings.

    Valid: for the next service of each item; what moving one does to those after it is not weighed.
    Checked: tests/equipment/machines/test_visits.py::test_no_grouping_is_cheaper,
    test_two_services_ten_days_apart_by_hand

    References
    ----------
    .. [1] H. M. Wagner, T. M. Whitin, "Dynamic version of the economic lot size model", Management
       Science 5 (1958), 89-96: theorem 1 and the forward recursion.
    """
    if not 0 <= visit_cost < float("inf"):
        raise RefusedValueError("out_of_range", "visit_cost", visit_cost)
    if len({service.key for service in services}) < len(services):
        raise RefusedValueError("duplicate", "services")
    ordered = sorted(services, key=lambda service: (service.due_d, service.key))
    best: list[tuple[float, list[Visit]]] = [(0.0, [])]
    for end in range(1, len(ordered) + 1):
        ways = [
            (best[start][0] + visit_cost + visit.early_cost, [*best[start][1], visit])
            for start in range(end)
            if (visit := _visit(ordered[start:end])) is not None
        ]
        best.append(min(ways, key=lambda way: (way[0], len(way[1]))))
    return best[-1][1]


def _visit(together: Sequence[VisitService]) -> Visit | None:
    """Make a visit of them; None when one would be too early."""
    on_d = together[0].due_d
    if any(service.due_d - on_d > service.most_early_d for service in together):
        return None
    early = sum((service.due_d - on_d) * service.early_cost_per_d for service in together)
    return Visit(on_d, tuple(service.key for service in together), early)


def saved_by(visits: Sequence[Visit], visit_cost: float) -> float:
    """Compute what doing services together saves against a visit for each.

    Parameters
    ----------
    visits : sequence of Visit
        From `best_visits`.
    visit_cost : float
        As given there. [money]

    Returns
    -------
    float
        Visits saved, less what early costs. [money]

    Notes
    -----
    Valid: any visits; never below zero for the best ones.
    Checked: tests/equipment/machines/test_visits.py::test_two_services_ten_days_apart_by_hand

    References
    ----------
    .. [1] Arithmetic.
    """
    return sum((len(v.keys) - 1) * visit_cost - v.early_cost for v in visits)
