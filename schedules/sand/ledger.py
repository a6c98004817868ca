"""The double-entry ledger of dry sand: moves are only ever added, balances are summed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, Sum

from equipment.site.models import Actor, Event, Place

from .models import AccountKind, Batch, BatchParent, SandAccount, SandMove

OUTSIDE = (AccountKind.LANE, AccountKind.DELIVERY, AccountKind.COUNT)
GONE = (AccountKind.BEDS, AccountKind.LOSS, AccountKind.DISPOSAL, AccountKind.COUNT)


@dataclass(frozen=True, slots=True)
class Amount:
    """Dry kilograms with their range."""

    dry_kg: float
    low_kg: float
    high_kg: float

    @classmethod
    def exactly(cls, dry_kg: float) -> Amount:
        """An amount without a range: a count, or all that a place holds."""
        return cls(dry_kg, dry_kg, dry_kg)


def account(site_id: int, kind: AccountKind, place: Place | None = None) -> SandAccount:
    """Give the account of a place, or of where sand comes from and goes to; made once."""
    return SandAccount.objects.get_or_create(site_id=site_id, kind=kind, place=place)[0]


def move(
    *,
    batch: Batch,
    source: SandAccount,
    target: SandAccount,
    amount: Amount,
    by: Actor,
    at: datetime,
    event: Event | None = None,
) -> SandMove:
    """Add one move. What a place does not hold comes from the count account, to be looked at.

    A true load is never refused (design, invariant 3): the overdraw is posted as found sand.
    """
    if source.kind == AccountKind.PLACE:
        _post_overdraw(batch, source, amount.dry_kg, by=by, at=at, event=event)
    return SandMove.objects.create(
        site_id=batch.site_id,
        batch=batch,
        source=source,
        target=target,
        dry_kg=amount.dry_kg,
        low_kg=amount.low_kg,
        high_kg=amount.high_kg,
        at=at,
        by=by,
        event=event,
    )


def _post_overdraw(
    batch: Batch,
    source: SandAccount,
    wanted_kg: float,
    *,
    by: Actor,
    at: datetime,
    event: Event | None,
) -> None:
    short_kg = wanted_kg - max(batch_mass_kg(batch), 0)
    if short_kg <= 1e-6:
        return
    SandMove.objects.create(
        site_id=batch.site_id,
        batch=batch,
        source=account(batch.site_id, AccountKind.COUNT),
        target=source,
        dry_kg=short_kg,
        low_kg=short_kg,
        high_kg=short_kg,
        at=at,
        by=by,
        event=event,
        needs_look=True,
    )


def batch_mass_kg(batch: Batch) -> float:
    """Dry mass a batch still has: 3 queries. What came in, less what left, less its children."""
    return batch_masses_kg([batch])[batch.pk]


def batch_masses_kg(batches: Iterable[Batch]) -> dict[int, float]:
    """Dry mass of each batch: 2 queries for any number of batches."""
    ids = [batch.pk for batch in batches]
    masses = dict.fromkeys(ids, 0.0)
    came, gone = Q(source__kind__in=OUTSIDE), Q(target__kind__in=GONE)
    moves = SandMove.objects.filter(came | gone, batch_id__in=ids).values_list("batch_id")
    sums = moves.annotate(came_kg=Sum("dry_kg", filter=came), gone_kg=Sum("dry_kg", filter=gone))
    for batch_id, came_kg, gone_kg in sums:
        masses[batch_id] += (came_kg or 0.0) - (gone_kg or 0.0)
    kin = BatchParent.objects.filter(Q(child_id__in=ids) | Q(parent_id__in=ids))
    for child_id, parent_id, kg in kin.values_list("child_id", "parent_id", "dry_kg"):
        if child_id in masses:
            masses[child_id] += kg
        if parent_id in masses:
            masses[parent_id] -= kg
    return masses


def account_balances_kg(site_id: int) -> dict[int, float]:
    """Dry kilograms in each account; they sum to zero: 2 queries."""
    rows = SandMove.objects.filter(site_id=site_id)
    into = rows.values_list("target_id").annotate(kg=Sum("dry_kg"))
    out = rows.values_list("source_id").annotate(kg=Sum("dry_kg"))
    balances: dict[int, float] = {}
    for account_id, kg in into:
        balances[account_id] = balances.get(account_id, 0.0) + kg
    for account_id, kg in out:
        balances[account_id] = balances.get(account_id, 0.0) - kg
    return balances


def moves_to_look_at(site_id: int) -> int:
    """Count found sand that nobody has looked at: 1 query."""
    return SandMove.objects.filter(site_id=site_id, needs_look=True).count()
