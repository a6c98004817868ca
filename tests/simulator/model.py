"""The protocol of phones and farm, small enough to look at every state of it.

Phones say events, send what waits, and hear or do not hear the answers; a request comes again, a
phone is cut off before it has written the answer down, the farm goes back to its last backup, and a
phone lets go of what a backup has. The rules are those of the shipped program and intake, each said
in one place below; what must hold is held in every state.

What one phone does touches nothing of another's: their steps only share when a backup is taken and
when the farm goes back to it. So a state of the whole is a phase of the farm with one state of each
phone, and every choice of those can be met: `composed` counts them from the states of one phone,
each of which was looked at. `walked` walks the whole one step after another, phones taken for each
other where they stand alike, and a test holds that both give the same number.

`python -m tests.simulator.model [--phones 3 --events 4 --restores 1] [--walk]` prints both.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from math import comb
from typing import NamedTuple

BATCH = 2


class Kept(NamedTuple):
    """An event on its phone: which it is, its number as sent, whether the farm has answered it."""

    event: int
    seq: int
    is_settled: bool


class Farm(NamedTuple):
    """What came in from one phone, in its order, and the phone's last number."""

    came: tuple[int, ...] = ()
    last: int = 0


Request = tuple[tuple[int, int], ...]  # events with their numbers


class Side(NamedTuple):
    """All that is of one phone: what it keeps, what the farm and its backup have of it."""

    n_said: int = 0
    last_said: int = 0
    kept: tuple[Kept, ...] = ()
    life: int = 0  # of the farm, that the phone knows
    farm: Farm = Farm()
    backup: Farm | None = None
    under_way: Request | None = None  # a request that comes again


class Phase(NamedTuple):
    """What all phones share: the farm's life, and whether there is a backup."""

    life: int = 0
    has_backup: bool = False


@dataclass(frozen=True, slots=True)
class Rules:
    """What may be switched off to see that the model finds it."""

    dedupes: bool = True
    counts: bool = True
    says_again: bool = True
    keeps_until_backed_up: bool = True


class BrokenError(Exception):
    """Something that must hold does not."""


def take(farm: Farm, batch: Request, rules: Rules) -> tuple[Farm, list[str], int]:
    """Take a batch in: the farm after it, each event's answer, and the number expected next."""
    came, last, answers, is_overtaken = list(farm.came), farm.last, [], False
    for event, seq in batch:
        if rules.dedupes and event in came:
            answers.append("applied")
            if seq == last + 1:
                last = seq
        elif rules.counts and (seq != last + 1 or is_overtaken):
            answers.append("gap" if seq > last else "seq_used")
            is_overtaken = True
        else:
            answers.append("applied")
            came.append(event)
            last = max(seq, last)
    return Farm(tuple(came), last), answers, last + 1


def hear(side: Side, life: int, answers: dict[int, str], expected: int, rules: Rules) -> Side:
    """Write answers down; of another life of the farm none counts, and all goes out again."""
    if side.life != life:
        again = side._replace(life=life)
        if not rules.says_again:
            return again
        return again._replace(kept=tuple(k._replace(is_settled=False) for k in side.kept))
    kept = [
        k._replace(is_settled=True) if answers.get(k.event) == "applied" else k for k in side.kept
    ]
    waiting = [k for k in kept if not k.is_settled]
    last_said = side.last_said
    if any(answer != "applied" for answer in answers.values()) and waiting[0].seq != expected:
        numbers = {k.event: expected + n for n, k in enumerate(waiting)}
        kept = [k._replace(seq=numbers.get(k.event, k.seq)) for k in kept]
        last_said = expected + len(waiting) - 1
    return side._replace(kept=tuple(kept), last_said=last_said)


def own_steps(side: Side, life: int, rules: Rules, n_events: int) -> Iterator[Side]:
    """Everything that can happen next to one phone alone."""
    if side.n_said < n_events:
        said = Kept(side.n_said, side.last_said + 1, is_settled=False)
        yield side._replace(n_said=side.n_said + 1, last_said=said.seq, kept=(*side.kept, said))
    yield from _sent(side, life, rules)
    if side.under_way is not None:
        farm, _answers, _expected = take(side.farm, side.under_way, rules)
        yield side._replace(farm=farm, under_way=None)
    if side.life == life and side.backup is not None:
        has = side.backup.came
        kept = tuple(
            k
            for k in side.kept
            if not (k.is_settled and (k.event in has or not rules.keeps_until_backed_up))
        )
        yield side._replace(kept=kept)


def _sent(side: Side, life: int, rules: Rules) -> Iterator[Side]:
    """A request comes in and its answer is lost (or the phone is cut off), or is answered.

    One that is lost on its way changes nothing. An answered one may come a second time, later.
    """
    batch = tuple((k.event, k.seq) for k in side.kept if not k.is_settled)[:BATCH]
    if not batch:
        return
    farm, answers, expected = take(side.farm, batch, rules)
    lost = side._replace(farm=farm)
    yield lost
    told = {event: answer for (event, _seq), answer in zip(batch, answers, strict=True)}
    heard = hear(lost, life, told, expected, rules)
    yield heard
    if side.under_way is None:
        yield heard._replace(under_way=batch)


def shared_steps(phase: Phase, n_restores: int) -> Iterator[tuple[str, Phase]]:
    """What can happen to all at once: a backup is taken, the farm goes back to the last one."""
    yield "backup", phase._replace(has_backup=True)
    if phase.has_backup and phase.life < n_restores:
        yield "restore", phase._replace(life=phase.life + 1)


def met(side: Side, step: str) -> Side:
    """Give what a shared step does to one phone's side."""
    if step == "backup":
        return side._replace(backup=side.farm)
    assert side.backup is not None
    return side._replace(farm=side.backup)


def check(side: Side, phase: Phase) -> None:
    """Hold what must hold in every state."""
    came = side.farm.came
    if len(set(came)) != len(came):
        raise BrokenError("an event came in twice")
    if list(came) != sorted(came):
        raise BrokenError("events came in out of their order")
    here = {kept.event for kept in side.kept}
    if any(event not in came and event not in here for event in range(side.n_said)):
        raise BrokenError("an event is nowhere any more")
    for kept in side.kept:
        if kept.is_settled and side.life == phase.life and kept.event not in came:
            raise BrokenError("a phone thinks that the farm has what it has not")


# All states -------------------------------------------------------------------------------------


@dataclass
class States:
    """The states of one phone in each phase, as numbers, and the steps between them."""

    n_events: int
    n_restores: int = 1
    rules: Rules = field(default_factory=Rules)
    numbers: dict[Phase, dict[Side, int]] = field(default_factory=dict)
    own: dict[Phase, list[tuple[int, ...]]] = field(default_factory=dict)
    shared: dict[Phase, list[tuple[Phase, list[int]]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Look at every state of one phone."""
        waiting = [(Phase(), Side())]
        self._number(*waiting[0])
        while waiting:
            phase, side = waiting.pop()
            check(side, phase)
            waiting += [new for new in self._following(phase, side) if self._number(*new)]
        self._link()

    def _following(self, phase: Phase, side: Side) -> Iterator[tuple[Phase, Side]]:
        for after in own_steps(side, phase.life, self.rules, self.n_events):
            yield phase, after
        for step, then in shared_steps(phase, self.n_restores):
            yield then, met(side, step)

    def _number(self, phase: Phase, side: Side) -> bool:
        known = self.numbers.setdefault(phase, {})
        is_new = side not in known
        known.setdefault(side, len(known))
        return is_new

    def _link(self) -> None:
        for phase, sides in self.numbers.items():
            life, known = phase.life, self.numbers
            self.own[phase] = [
                tuple({sides[s] for s in own_steps(side, life, self.rules, self.n_events)})
                for side in sides
            ]
            self.shared[phase] = [
                (then, [known[then][met(side, step)] for side in sides])
                for step, then in shared_steps(phase, self.n_restores)
            ]

    def composed(self, n_phones: int) -> int:
        """Count the states of so many phones, phones taken for each other: every choice of them."""
        return sum(comb(len(s) + n_phones - 1, n_phones) for s in self.numbers.values())

    def walked(self, n_phones: int) -> int:
        """Walk the whole step after step; give how many states were met."""
        first = (Phase(), (0,) * n_phones)
        seen, waiting = {first}, [first]
        while waiting:
            phase, sides = waiting.pop()
            for following in self._whole_steps(phase, sides):
                if following not in seen:
                    seen.add(following)
                    waiting.append(following)
        return len(seen)

    def _whole_steps(
        self, phase: Phase, sides: tuple[int, ...]
    ) -> Iterator[tuple[Phase, tuple[int, ...]]]:
        for place, side in enumerate(sides):
            others = sides[:place] + sides[place + 1 :]
            for after in self.own[phase][side]:
                yield phase, tuple(sorted((*others, after)))
        for then, after_of in self.shared[phase]:
            yield then, tuple(sorted(after_of[side] for side in sides))


def main() -> None:
    """Print how many states there are."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulator.model")
    parser.add_argument("--phones", type=int, default=3)
    parser.add_argument("--events", type=int, default=4)
    parser.add_argument("--restores", type=int, default=1)
    parser.add_argument("--walk", action="store_true", help="also step by step: memory and minutes")
    given = parser.parse_args()
    began = time.monotonic()
    states = States(given.events, given.restores)
    n_one, n_all = states.composed(1), states.composed(given.phones)
    print(
        f"one phone, {given.events} events, {given.restores} restores: {n_one:,} states, all hold"
    )
    print(f"{given.phones} phones: {n_all:,} states, {time.monotonic() - began:.1f} s")
    if given.walk:
        n_walked = states.walked(given.phones)
        print(f"walked step after step: {n_walked:,} states, {time.monotonic() - began:.1f} s")


if __name__ == "__main__":
    main()
