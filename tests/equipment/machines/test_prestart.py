"""The pre-start verdict, on items of published pre-shift lists."""

from itertools import product

import pytest

from equipment.machines.calc.prestart import Answer, CheckItem, Verdict, prestart_verdict
from equipment.site.calc.refusal import RefusedValueError

# Items of the pre-shift lists of OSHA training material for wheeled loaders (brakes, seat belt,
# horn and alarm; leaks, lights): which of them park a machine is the farm's to set.
BRAKES = CheckItem("brakes", is_safety=True)
LIGHTS = CheckItem("lights", is_safety=False)
LEAKS = CheckItem("leaks", is_safety=False)
ITEMS = [BRAKES, LIGHTS, LEAKS]
OK = Answer(is_ok=True)
CAN_WORK = Answer(is_ok=False, can_work_today=True)
CANNOT = Answer(is_ok=False, can_work_today=False)


@pytest.mark.parametrize(
    ("brakes", "lights", "leaks", "verdict", "faults"),
    [
        (OK, OK, OK, Verdict.RUN, ()),
        (OK, CAN_WORK, OK, Verdict.WITH_CARE, ("lights",)),
        (OK, CAN_WORK, CANNOT, Verdict.PARK, ("lights", "leaks")),
        (CANNOT, OK, OK, Verdict.PARK, ("brakes",)),
        (CAN_WORK, OK, OK, Verdict.PARK, ("brakes",)),
    ],
)
def test_the_verdict_follows_the_worst_answer(
    brakes: Answer, lights: Answer, leaks: Answer, verdict: Verdict, faults: tuple[str, ...]
) -> None:
    found = prestart_verdict(ITEMS, {"brakes": brakes, "lights": lights, "leaks": leaks})
    assert (found.verdict, found.faults) == (verdict, faults)
    assert found.safety_faults == (() if brakes.is_ok else ("brakes",))


def test_no_answer_can_make_a_verdict_milder_than_a_safety_fault() -> None:
    for others in product([OK, CAN_WORK, CANNOT], repeat=2):
        answers = dict(zip(("lights", "leaks"), others, strict=True))
        found = prestart_verdict(ITEMS, {"brakes": CAN_WORK, **answers})
        assert found.verdict is Verdict.PARK


def test_a_safety_fault_needs_no_second_answer() -> None:
    answers = {"brakes": Answer(is_ok=False), "lights": OK, "leaks": OK}
    assert prestart_verdict(ITEMS, answers).verdict is Verdict.PARK


@pytest.mark.parametrize(
    ("answers", "code", "part"),
    [
        ({"brakes": OK, "lights": OK}, "missing", "answers"),
        ({"brakes": OK, "lights": OK, "leaks": Answer(is_ok=False)}, "missing", "can_work_today"),
        ({"brakes": OK, "lights": OK, "leaks": OK, "horn": OK}, "unknown", "answers"),
        ({}, "missing", "answers"),
    ],
)
def test_a_look_round_with_holes_is_refused(
    answers: dict[str, Answer], code: str, part: str
) -> None:
    with pytest.raises(RefusedValueError) as refused:
        prestart_verdict(ITEMS, answers)
    assert (refused.value.code, refused.value.part) == (code, part)


@pytest.mark.parametrize("n_items", [0, 16])
def test_a_list_that_is_empty_or_too_long_is_refused(n_items: int) -> None:
    items = [CheckItem(f"item{n}", is_safety=False) for n in range(n_items)]
    with pytest.raises(RefusedValueError, match="out_of_range"):
        prestart_verdict(items, {item.key: OK for item in items})
