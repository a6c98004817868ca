"""One day of one member, compiled: what happens to sand and basins, in the order of the day."""

import math

from equipment.basins.calc.balance import step_basin
from equipment.site.calc.compiled import compiled
from schedules.outlook.calc.scenario import NEVER_D
from schedules.outlook.calc.state import BOUGHT, LANE, LOST, STOCK, WAITING, Floats, Rules, State
from schedules.sand.calc.step import step_layer

FULL, LINE, RIM, OPEN, SLUDGE, WEEP = range(6)  # columns of Rules.basin


@compiled
def close_piles(day: int, rules: Rules, state: State) -> None:
    """Close the pile that has taken sand for its days; it is cured so many days later."""
    for pile in range(state.pile_kg.size):
        if state.ready_d[pile] == NEVER_D and day - state.opened_d[pile] >= rules.pile_close_d:
            state.ready_d[pile] = day + rules.cure_d


@compiled
def ready_kg(by_day: int, state: State) -> float:
    """Sum what may be bedded by a day: cured piles, and what was bought."""
    kg: float = state.sand[STOCK]
    for pile in range(state.pile_kg.size):
        if state.ready_d[pile] <= by_day:
            kg += state.pile_kg[pile]
    return kg


@compiled
def buy(day: int, need_kg_d: float, rules: Rules, state: State) -> None:
    """Take in what was ordered, and order what will lack once an order of today is here."""
    if rules.lead_d == 0:
        return
    slot = day % rules.lead_d
    state.sand[STOCK] += state.ordered_kg[slot]
    state.sand[BOUGHT] += state.ordered_kg[slot]
    state.ordered_kg[slot] = 0.0
    coming_kg = ready_kg(day + rules.lead_d, state) + state.ordered_kg.sum()
    lacking_kg = rules.safety_kg + need_kg_d * (rules.lead_d + 1) - coming_kg
    if lacking_kg > 0.0:
        state.ordered_kg[slot] = math.ceil(lacking_kg / rules.truck_kg) * rules.truck_kg


@compiled
def bed(day: int, need_kg: float, recovery_frac: float, state: State) -> float:
    """Fill the beds from the oldest cured pile on, bought sand last; the lane gets its share."""
    left_kg = need_kg
    while left_kg > 0.0:
        oldest = -1
        for pile in range(state.pile_kg.size):
            if (
                state.pile_kg[pile] > 0.0
                and state.ready_d[pile] <= day
                and (oldest < 0 or state.ready_d[pile] < state.ready_d[oldest])
            ):
                oldest = pile
        if oldest < 0:
            break
        taken_kg = min(left_kg, state.pile_kg[oldest])
        state.pile_kg[oldest] -= taken_kg
        left_kg -= taken_kg
    taken_kg = min(left_kg, state.sand[STOCK])
    state.sand[STOCK] -= taken_kg
    bedded_kg: float = need_kg - left_kg + taken_kg
    state.sand[LANE] += recovery_frac * bedded_kg
    state.sand[LOST] += bedded_kg - recovery_frac * bedded_kg
    return bedded_kg


@compiled
def place_for(kg: float, day: int, rules: Rules, state: State) -> int:
    """Find the open pile with room, closing a full one, else an empty place; -1 without either."""
    for pile in range(state.pile_kg.size):
        if state.ready_d[pile] == NEVER_D and state.pile_kg[pile] > 0.0:
            if state.pile_kg[pile] + kg <= rules.pile_kg[pile]:
                return pile
            state.ready_d[pile] = day + rules.cure_d
    for pile in range(state.pile_kg.size):
        if state.pile_kg[pile] <= 0.0 and kg <= rules.pile_kg[pile]:
            state.opened_d[pile], state.ready_d[pile] = day, NEVER_D
            return pile
    return -1


@compiled
def pick_up(day: int, rules: Rules, state: State) -> tuple[float, bool]:
    """Bring layers that have been dry long enough to a pile; tell whether one found none."""
    moved_kg, is_stuck = 0.0, False
    for bay in range(state.bay_kg.size):
        if state.bay_kg[bay] <= 0.0 or state.held_d[bay] < rules.hold_d:
            continue
        kg = state.bay_kg[bay] * (1.0 - rules.screening_loss_frac)
        pile = place_for(kg, day, rules, state)
        if pile < 0:
            is_stuck = True
            continue
        moved_kg += state.bay_kg[bay]
        state.pile_kg[pile] += kg
        state.sand[LOST] += state.bay_kg[bay] - kg
        state.bay_kg[bay] = 0.0
    return moved_kg, is_stuck


@compiled
def scoop(day: int, rules: Rules, state: State) -> float:
    """Take sand out of the lane as far as the slab has room; what drained its days waits."""
    slot = day % state.draining_kg.size
    state.sand[WAITING] += state.draining_kg[slot]
    state.draining_kg[slot] = 0.0
    room_kg = rules.slab_kg - state.sand[WAITING] - state.draining_kg.sum()
    scooped_kg: float = min(state.sand[LANE], max(room_kg, 0.0))
    state.sand[LANE] -= scooped_kg
    if rules.drain_d == 0:
        state.sand[WAITING] += scooped_kg
    else:
        state.draining_kg[slot] = scooped_kg
    return scooped_kg


@compiled
def spread(rules: Rules, state: State) -> tuple[float, int]:
    """Spread drained loads on free bays, one whole load each; count bays that stay free."""
    spread_kg, n_free = 0.0, 0
    zones_m = rules.zone_m
    for bay in range(state.bay_kg.size):
        if state.bay_kg[bay] > 0.0:
            continue
        kg = rules.bay_kg[bay]
        if state.sand[WAITING] < kg:
            n_free += 1
            continue
        state.sand[WAITING] -= kg
        state.bay_kg[bay], state.held_d[bay] = kg, 0
        for zone in range(zones_m.size):
            state.zone_mm[bay, zone] = rules.spread_mm * zones_m[zone] / zones_m.sum()
        spread_kg += kg
    return spread_kg, n_free


@compiled
def dry_bays(  # noqa: PLR0917  compiled code takes no keyword-only arguments
    day: int,
    rules: Rules,
    state: State,
    sand: Floats,
    et0_mm: float,
    rain_mm: float,
    begin_h: int,
    length_h: int,
) -> tuple[int, int, float]:
    """Step every layer through the day; count turns and steps, and give the worst water gap.

    `sand` holds the member's field capacity, falling stage and kc times rate.
    """
    n_turned, n_stepped, worst_mm = 0, 0, 0.0
    is_worked = rain_mm < rules.skip_rain_mm
    n_steps = rules.n_turns.size
    for bay in range(state.bay_kg.size):
        if state.bay_kg[bay] <= 0.0:
            continue
        zone_mm = state.zone_mm[bay]
        peak_mm, water_mm = 0.0, zone_mm[0] + zone_mm[1] + zone_mm[2]
        for step in range(n_steps):
            is_wet = begin_h <= step < begin_h + length_h
            fell_mm = rain_mm / length_h if is_wet else 0.0
            turns = rules.n_turns[step] if is_worked else 0
            sun_mm, ran_mm = step_layer(
                zone_mm,
                rules.zone_m,
                sand[0],
                rules.pores_frac,
                rules.floor_mm,
                sand[1],
                rules.drained_frac,
                fell_mm,
                sand[2] * et0_mm * rules.sun[day, step],
                turns,
                True,
            )
            due_mm = water_mm + fell_mm - sun_mm - ran_mm
            water_mm = zone_mm[0] + zone_mm[1] + zone_mm[2]
            worst_mm = max(worst_mm, abs(due_mm - water_mm))
            peak_mm = max(peak_mm, water_mm)
            n_turned += turns
        n_stepped += n_steps
        if water_mm > rules.dry_mm:
            state.held_d[bay] = 0
        else:
            state.held_d[bay] = 1 + (state.held_d[bay] if peak_mm <= rules.dry_mm else 0)
    return n_turned, n_stepped, worst_mm


@compiled
def switch_gates(day: int, rules: Rules, state: State) -> bool:
    """Let a basin at its line rest and the emptiest take its part; tell whether one stays there."""
    is_at_line = False
    for basin in range(state.solids_m3.size):
        held_m3 = state.solids_m3[basin] + state.liquid_m3[basin]
        if state.rests_since_d[basin] >= 0 or held_m3 < rules.basin[basin, LINE]:
            continue
        best, best_share = -1, 1.0
        for other in range(state.solids_m3.size):
            there_m3 = state.solids_m3[other] + state.liquid_m3[other]
            share = there_m3 / rules.basin[other, LINE]
            if state.rests_since_d[other] >= 0 and share < best_share:
                best, best_share = other, share
        if best < 0:
            is_at_line = True
            continue
        state.rests_since_d[basin], state.rests_since_d[best] = day, -1
    return is_at_line


@compiled
def basin_to_clean(day: int, rules: Rules, state: State) -> int:
    """Find the basin that has rested longest and holds more than it may keep; -1 if none."""
    found = -1
    if not rules.can_clean[day]:
        return found
    for basin in range(state.solids_m3.size):
        since_d = state.rests_since_d[basin]
        if since_d < 0 or day - since_d < rules.rest_d:
            continue
        held_m3 = state.solids_m3[basin] + state.liquid_m3[basin]
        is_longer = found < 0 or since_d < state.rests_since_d[found]
        if held_m3 > rules.basin[basin, SLUDGE] + 1e-9 and is_longer:
            found = basin
    return found


@compiled
def fill_basins(  # noqa: PLR0917  compiled code takes no keyword-only arguments
    day: int, rules: Rules, state: State, solids_frac: float, et0_mm: float, rain_mm: float
) -> tuple[float, float, float]:
    """Step every basin through the day; give what was taken out, what ran over, the worst gap."""
    cleaned = basin_to_clean(day, rules, state)
    taken_m3, over_m3, worst_m3 = 0.0, 0.0, 0.0
    settled_m3 = solids_frac * rules.settled_m3_d
    for basin in range(state.solids_m3.size):
        fills = 1.0 if state.rests_since_d[basin] < 0 else 0.0
        before_m3 = state.liquid_m3[basin] + state.solids_m3[basin]
        row = rules.basin[basin]
        stays = step_basin(
            state.liquid_m3[basin],
            state.solids_m3[basin],
            row[FULL],
            row[SLUDGE],
            fills * rules.liquid_m3_d,
            fills * settled_m3,
            fills * rules.wash_m3_d,
            rain_mm,
            et0_mm,
            row[RIM],
            row[OPEN],
            row[WEEP],
            rules.clean_m3_d if basin == cleaned else 0.0,
        )
        state.liquid_m3[basin], state.solids_m3[basin] = stays[0], stays[1]
        came_m3 = fills * (rules.liquid_m3_d + settled_m3 + rules.wash_m3_d) + stays[2]
        went_m3 = stays[3] + stays[4] + stays[5] + stays[6]
        gap_m3 = before_m3 + came_m3 - went_m3 - stays[0] - stays[1]
        worst_m3 = max(worst_m3, abs(gap_m3))
        taken_m3 += stays[5]
        over_m3 += stays[6]
    return taken_m3, over_m3, worst_m3


@compiled
def sand_kg(state: State) -> float:
    """Sum all sand that is on the farm outside the beds."""
    held_kg: float = state.sand[LANE] + state.sand[WAITING] + state.sand[STOCK]
    held_kg += state.draining_kg.sum() + state.bay_kg.sum() + state.pile_kg.sum()
    return held_kg


@compiled
def fullest_frac(rules: Rules, state: State) -> float:
    """Tell how near its line the fullest of the basins that fill is."""
    most = 0.0
    for basin in range(state.solids_m3.size):
        if state.rests_since_d[basin] < 0:
            held_m3 = state.solids_m3[basin] + state.liquid_m3[basin]
            most = max(most, held_m3 / rules.basin[basin, LINE])
    return most
