"""How much there is to do, as a code and a number that each language has its own words for."""

STALLS = "stalls"


def amount_of(n_stalls: int) -> str:
    """Write an amount of stalls; empty when it is no work on beds."""
    return f"{STALLS}:{n_stalls}" if n_stalls else ""


def stalls_in(amount: str) -> int:
    """Read an amount of stalls; 0 when it is of anything else."""
    kind, _, number = amount.partition(":")
    return int(number) if kind == STALLS and number.isdigit() else 0
