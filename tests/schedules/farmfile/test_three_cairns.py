"""The demo farm's sizes add up, as its file says they do.

The arithmetic is the farm's own, stated in the head of fixtures/three_cairns.yaml; the parlor's is
that of equipment.parlor.calc, which has its own outside checks.
"""

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from equipment.parlor.calc import RotaryParlor
from schedules.farmfile.demo.opening import SECTIONS
from schedules.farmfile.demo.services import FIXTURES, overlays
from schedules.farmfile.document import read_document
from schedules.farmfile.entries import FarmReader
from schedules.farmfile.registry import all_sections

Farm = Mapping[str, Mapping[str, dict[str, Any]]]


def read_farm(*more: Path) -> Farm:
    reader = FarmReader({**all_sections(), **{section.name: section for section in SECTIONS}})
    for name in ("three_cairns.yaml", "three_cairns_opening.yaml"):
        reader.add(read_document(FIXTURES / name), is_overlay=False)
    for path in more:
        reader.add(read_document(path), is_overlay=True)
    return reader.read_all()


@pytest.fixture(scope="module")
def farm() -> Farm:
    return read_farm()


def test_every_overlay_fits_the_farm_and_the_opening() -> None:
    assert overlays() == ["dry", "more_cows", "one_pad_fewer", "short_handed", "wet"]
    for name in overlays():
        read_farm(FIXTURES / "overlays" / f"{name}.yaml")


def test_the_herd_and_its_pens(farm: Farm) -> None:
    pens = farm["pens"].values()
    kinds = [pen["kind"] for pen in pens]

    assert sum(pen["n_cows"] for pen in pens) == 3720
    assert len(pens) == 14
    assert (min(p["n_cows"] for p in pens), max(p["n_cows"] for p in pens)) == (120, 340)
    assert [kinds.count(kind) for kind in ("fresh", "heifer", "hospital")] == [1, 2, 1]


def test_pens_are_milked_in_the_order_of_contagion(farm: Farm) -> None:
    """Fresh and heifers first, treated cows last before the wash (AHDB page on milking groups)."""
    in_order = sorted(farm["pens"].values(), key=lambda pen: int(pen["milking_rank"]))
    kinds = [pen["kind"] for pen in in_order]

    assert kinds == ["fresh", "heifer", "heifer", *["milking"] * 10, "hospital"]


def test_the_day_closes_in_about_22_hours(farm: Farm) -> None:
    parlor = farm["parlors"]["parlor"]
    names = ("n_stalls", "seconds_per_stall_s", "empty_frac", "second_turn_frac")
    deck = RotaryParlor(**{name: parlor[name] for name in names})

    milking_min = deck.milking_min(sum(pen["n_cows"] for pen in farm["pens"].values()))
    day_h = 3 * (milking_min + parlor["wash_min"]) / 60

    assert deck.cows_per_h == pytest.approx(570.9, abs=0.05)
    assert milking_min == pytest.approx(399, abs=0.5)
    assert day_h == pytest.approx(22.2, abs=0.05)
    assert len(parlor["starts_local"]) == 3


def test_no_pen_is_away_too_long(farm: Farm) -> None:
    parlor = farm["parlors"]["parlor"]
    for pen in farm["pens"].values():
        walks_min = 2 * pen["walk_m"] / parlor["cow_walk_m_min"]
        away_min = walks_min + pen["n_cows"] / 570.9 * 60 + 8
        assert away_min < parlor["away_limit_min"]


def test_each_pen_has_its_beds_and_two_alleys(farm: Farm) -> None:
    beds, alleys = farm["bed_groups"].values(), farm["alleys"].values()

    assert (len(beds), sum(group["n_stalls"] for group in beds)) == (54, 3844)
    for key, pen in farm["pens"].items():
        assert len([alley for alley in alleys if alley["pen"] == key]) == 2
        assert sum(group["n_stalls"] for group in beds if group["pen"] == key) >= pen["n_cows"]
    assert len([alley for alley in alleys if alley["pen"] is None]) == 2
    assert {alley["drains_to"] for alley in alleys} == {"lane-west", "lane-east"}


def test_pens_large_enough_to_need_a_return_mode_have_one(farm: Farm) -> None:
    without = [p["n_cows"] for p in farm["pens"].values() if p["return_mode"] == "none"]

    assert without == [120]


def test_people_and_their_days(farm: Farm) -> None:
    rotations = farm["rotations"]
    day = date(2026, 11, 25)

    def is_on(worker: str, on: date) -> bool:
        turn = rotations[worker]
        since = (on - date.fromisoformat(turn["anchor_on"])).days
        return bool(since % (turn["days_on"] + turn["days_off"]) < turn["days_on"])

    leads = [key for key, worker in farm["workers"].items() if worker["role"] == "lead"]
    shifts = [rotations[w]["pattern"].partition("-")[0] for w in rotations if is_on(w, day)]
    assert len(farm["workers"]) == len(rotations) == 64
    assert [14 <= shifts.count(shift) <= 18 for shift in ("day", "evening", "night")] == [True] * 3
    assert len(leads) == 6
    for n in range(8):
        on = date.fromordinal(day.toordinal() + n)
        here = {rotations[w]["pattern"].partition("-")[0] for w in leads if is_on(w, on)}
        assert here == {"day", "evening", "night"}
    assert {worker["language"] for worker in farm["workers"].values()} == {"en", "es"}


def test_sand_in_and_out_and_where_it_lies(farm: Farm) -> None:
    practice = farm["sand_practice"]["sand_practice"]
    use_t_d = 3844 * practice["use_kg_stall_d"] / 1000
    recovered_t_d = use_t_d * practice["recovery_frac"]
    bay = next(iter(farm["bays"].values()))
    room_t = bay["area_m2"] * practice["layer_depth_m"] * practice["bulk_density_kg_m3"] / 1000
    pile_t = practice["pile_close_d"] * recovered_t_d
    life_d = practice["pile_close_d"] * 2 + practice["cure_d"]

    assert use_t_d == pytest.approx(84.6, abs=0.05)
    assert recovered_t_d == pytest.approx(66.0, abs=0.05)
    assert bay["capacity_kg"] / 1000 <= room_t == pytest.approx(103.6, abs=0.05)
    assert len(farm["bays"]) * 100 / recovered_t_d == pytest.approx(18, abs=0.3)
    assert pile_t == pytest.approx(528, abs=1)
    assert life_d / practice["pile_close_d"] == 9.5
    assert len(farm["pile_places"]) == 12


def test_flushes_fit_the_tanks(farm: Farm) -> None:
    by_tank = dict.fromkeys(farm["tanks"], 0.0)
    for timer in farm["flush_timers"].values():
        n_a_day = 3 if timer["trigger"] == "at_visit" else len(timer["times_local"])
        by_tank[timer["tank"]] += n_a_day * timer["open_s"] * timer["flow_m3_s"]

    assert sum(by_tank.values()) == pytest.approx(1143, abs=0.5)
    for key, volume_m3 in by_tank.items():
        assert volume_m3 < 24 * farm["tanks"][key]["refill_m3_h"]


def test_machines_are_those_of_the_farm(farm: Farm) -> None:
    kinds = [machine["kind"] for machine in farm["machines"].values()]

    assert kinds.count("loader") + kinds.count("skid_loader") == 7
    assert [kinds.count(kind) for kind in ("groomer", "truck", "spreader")] == [3, 3, 1]


def test_every_look_round_is_short_and_begins_with_what_can_kill(farm: Farm) -> None:
    for kind in {machine["kind"] for machine in farm["machines"].values()}:
        items = [item for item in farm["check_items"].values() if item["machine_kind"] == kind]
        safety = [item["is_safety"] for item in sorted(items, key=lambda i: int(i["position"]))]
        assert 1 <= len(items) <= 9
        assert safety == sorted(safety, reverse=True)


def test_nothing_says_that_a_place_is_safe_to_enter() -> None:
    for path in FIXTURES.rglob("*.yaml"):
        text = path.read_text().lower()
        assert "safe to enter" not in text
        assert "seguro entrar" not in text
