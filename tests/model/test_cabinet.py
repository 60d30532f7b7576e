"""A cabinet's inside by hand, and what must hold of any: less heat never warms more."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridethrough.estimate import Estimate
from ridethrough.measure.draw import measure_draw
from ridethrough.measure.log import hand_readings
from ridethrough.measure.meter import Meter
from ridethrough.model.cabinet import Cabinet
from ridethrough.model.inside import Inside, steps_h
from ridethrough.model.load import Load
from ridethrough.sampling import Sampler
from ridethrough.sources import lookup
from ridethrough.units import Refusal

ROOM_C = 21.0


def load(kind: str = "freezer", running: str = "84 W", duty: str = "35 %") -> Load:
    return Load.cycling(running, duty, kind).in_a_room_of("21 degC", kind)


def inside(**told: Any) -> Inside:
    """A small refrigerator: 36 W of heat through its walls, 18 W taken, 80 W while it runs."""
    return Inside(**{
        "keeps_c": 3.0, "most_w": 80.0, "cop": 2.0, "walls": 2.0, "between": 6.0, "air_cap": 4.0, "food_cap": 20.0,
        "thawing_wh": 0.0, "thaw_c": 0.0, "limit_c": 4.4, "allowed_h": 2.0,
    } | told)  # fmt: skip


def frozen(**told: Any) -> Inside:
    return inside(**{
        "keeps_c": -18.0, "walls": 1.0, "food_cap": 30.0, "thawing_wh": 2500.0, "thaw_c": -1.0, "limit_c": -1.0,
        "allowed_h": 0.0,
    } | told)  # fmt: skip


def room(at: Any) -> Any:
    return np.full(np.shape(at), ROOM_C)


def off(at: Any) -> bool:
    return False


def on(at: Any) -> bool:
    return True


# -- by hand -------------------------------------------------------------------------------------------


def test_what_is_cold_stays_cold_at_its_mean_power() -> None:
    cold = inside()
    assert cold.through(steps_h(0, 5), room, on) == pytest.approx(np.full(30, 18.0))
    assert (cold.air_c, cold.food_c, cold.owed_wh) == pytest.approx((3.0, 3.0, 0.0))


def test_a_cabinet_draws_what_its_load_draws() -> None:
    """The walls follow from the draw, so that heat moved over COP is the mean power again, draw by draw."""
    given = Cabinet(load())
    found = given.at(Sampler(50, 1))
    assert found.steady_w(ROOM_C) == pytest.approx(np.full(51, 84 * 0.35))
    assert np.ptp(found.walls) > 0


def test_air_and_food_that_are_one_warm_as_one() -> None:
    """With much exchange both are one node of 24 Wh/K behind 2 W/K: 12 h, and 1.4 K of 18 K are gone by its log."""
    warm = inside(between=1e5, allowed_h=0.0)
    warm.through(steps_h(0, 5), room, off)
    assert warm.broken_h == pytest.approx(12 * np.log(18 / (18 - 1.4)), rel=1e-3)
    assert warm.food_c == pytest.approx(ROOM_C - 18 * np.exp(-5 / 12), rel=1e-4)


def test_hours_above_the_limit_add_up() -> None:
    """Two hours above it are allowed in all, in one gap or in two."""
    once, twice = inside(), inside()
    once.through(steps_h(0, 24), room, off)
    gaps = steps_h(0, 24)
    twice.through(gaps, room, lambda at: 2.0 < at < 12.0)
    first = inside(allowed_h=0.0)
    first.through(steps_h(0, 24), room, off)
    assert once.broken_h == pytest.approx(first.broken_h + 2, abs=0.01)
    assert 12 < twice.broken_h < 12 + float(first.broken_h) + 2
    assert twice.above_h > 2


def test_what_is_warm_may_yet_be_lost_in_a_cold_room() -> None:
    """Food of 6 degC in a room of 4 degC is above its limit until it has cooled."""
    warm = Cabinet(load("refrigerator"), inside="6 degC").hours_until(room="4 degC", draws=2)
    assert warm.magnitude == pytest.approx(2)


def test_what_thaws_stays_at_its_thawing_point_until_it_has_thawed() -> None:
    """22 K over 1/1 + 1/6 K/W are 18.9 W: 2,500 Wh thaw in 132.6 h."""
    thaws = frozen()
    thaws.through(steps_h(0, 400), room, off)
    begins = float(thaws.broken_h)
    through = frozen(limit_c=-0.9, allowed_h=0.0)
    through.through(steps_h(0, 400), room, off)
    assert float(through.broken_h) - begins == pytest.approx(2500 / (22 / (1 + 1 / 6)), rel=0.01)


def test_a_gap_is_paid_at_the_running_power_and_takes_time() -> None:
    """What leaked in must go out again by 160 W of cooling less what still leaks."""
    gap = inside(between=1e5)
    gap.through(steps_h(0, 6), room, off)
    owed_wh, warm_c = float(gap.owed_wh), float(gap.food_c)
    power_w = gap.through(steps_h(0, 12), room, on)
    aim = ROOM_C - 160 / 2
    hours = 12 * np.log((warm_c - aim) / (3 - aim))
    assert power_w[: int(6 * hours)] == pytest.approx(80.0)
    assert power_w[int(6 * hours) + 2 :] == pytest.approx(18.0, rel=1e-3)
    extra_wh = float(np.sum(power_w - 18) / 6)
    assert extra_wh == pytest.approx(80 * hours - 18 * hours, rel=1e-3)
    assert extra_wh < owed_wh  # while it is warmer less leaks in


def test_a_compressor_too_weak_for_the_room_runs_all_the_time() -> None:
    weak = inside(most_w=15.0)
    assert weak.through(steps_h(0, 30), room, on) == pytest.approx(15.0)
    assert weak.air_c == pytest.approx(ROOM_C - 15, abs=1.0)


def test_a_room_colder_than_the_inside_asks_for_nothing() -> None:
    cold = inside()
    assert cold.through(steps_h(0, 30), lambda at: np.zeros(np.shape(at)), on) == pytest.approx(0.0)
    assert 0 < cold.food_c < 1


def test_longer_steps_say_the_same() -> None:
    fine, coarse = inside(), inside()
    fine.through(np.linspace(0, 8, 97), room, off)
    coarse.through(np.linspace(0, 8, 3), room, off)
    assert np.array([coarse.air_c, coarse.food_c]) == pytest.approx(np.array([fine.air_c, fine.food_c]), rel=1e-9)
    back = [float(np.sum(each.through(edges, room, on) * np.diff(edges)))
            for each, edges in ((fine, np.linspace(0, 6, 73)), (coarse, np.linspace(0, 6, 4)))]  # fmt: skip
    assert back[1] == pytest.approx(back[0], rel=1e-5)  # four steps of Newton's within two hours


def test_rows_do_not_know_of_each_other() -> None:
    walls, caps = np.array([1.0, 2.0, 3.0]), np.array([10.0, 20.0, 40.0])

    def used(**told: Any) -> np.ndarray:
        made = inside(**told)
        return made.through(steps_h(0, 30), room, lambda at: at % 6 > 3)

    together = used(walls=walls, food_cap=caps)
    for row in range(3):
        assert used(walls=walls[row], food_cap=caps[row]) == pytest.approx(together[:, row], rel=1e-12)


# -- what must hold of any -----------------------------------------------------------------------------

WALLS, FOOD, EXCHANGE = st.floats(0.5, 5), st.floats(3, 60), st.floats(1, 20)


def kept_h(one: Inside, celsius: float = ROOM_C) -> float:
    one.through(steps_h(0, 72), lambda at: np.full(np.shape(at), celsius), off)
    return float(one.broken_h)


@settings(max_examples=30, deadline=None)
@given(walls=WALLS, food=FOOD, between=EXCHANGE, less=st.floats(0, 400), more=st.floats(0, 800))
def test_more_ice_never_hurts(walls: float, food: float, between: float, less: float, more: float) -> None:
    told = {"walls": walls, "food_cap": food, "between": between}
    few, many = (inside(**told, ice_wh=wh, ice=wh / 100) for wh in (less, less + more))
    assert kept_h(many) >= kept_h(few) - 1e-6


@settings(max_examples=30, deadline=None)
@given(walls=WALLS, food=FOOD, between=EXCHANGE, celsius=st.floats(5, 35), colder=st.floats(0, 20))
def test_a_colder_room_never_hurts(walls: float, food: float, between: float, celsius: float, colder: float) -> None:
    told = {"walls": walls, "food_cap": food, "between": between}
    assert kept_h(inside(**told), celsius - colder) >= kept_h(inside(**told), celsius) - 1e-6


@settings(max_examples=30, deadline=None)
@given(walls=WALLS, food=FOOD, between=EXCHANGE, gap=st.floats(0.2, 20), longer=st.floats(0, 10))
def test_a_shorter_gap_never_warms_more(walls: float, food: float, between: float, gap: float, longer: float) -> None:
    told, spent = {"walls": walls, "food_cap": food, "between": between, "thawing_wh": 50.0, "thaw_c": 4.0}, []
    for hours in (gap, gap + longer):
        one = inside(**told)
        one.through(steps_h(0, hours), room, off)
        warm, owed = float(one.food_c), float(one.owed_wh)
        one.through(steps_h(0, 24), room, on)
        spent.append((warm, owed, float(one.above_h)))
    assert all(shorter <= other + 1e-6 for shorter, other in zip(*spent, strict=True))


@pytest.mark.parametrize("kind", ["refrigerator", "freezer"])
def test_a_full_one_keeps_longer_and_a_colder_one_too(kind: str) -> None:
    full, half = (Cabinet(load(kind), full=each).hours_until(draws=200) for each in (True, False))
    assert (full.rows > half.rows).all()
    cold = Cabinet(load(kind)).hours_until(room="12 degC", draws=200)
    assert (cold.rows > full.rows).all()


# -- what a log tells ----------------------------------------------------------------------------------


def test_cycles_tell_the_air() -> None:
    """COP 1.5 moves 44.1 W; in 40 minutes of rest that is 29.4 Wh, over a swing of 5 K 5.88 Wh/K."""
    draw = measure_draw(hand_readings([("0:00", "2.00"), ("100:00", "4.94")], unit="kWh", meter=Meter("1 %")),
                        room="21 degC", cabinet="freezer")  # fmt: skip
    assert (
        Cabinet.from_draw(draw).air.value.m_as("Wh/kelvin") == lookup("heat capacity of air and lining, freezer").value
    )
    cycles = pd.DataFrame({"off_min": [38.0, 40.0, 45.0]})
    cop = Estimate.within("150 %", "20 %", "COP")
    found = Cabinet.from_draw(replace(draw, cycles=cycles), cop=cop, food="40 kg")
    assert found.air.value.m_as("Wh/kelvin") == pytest.approx(1.5 * 29.4 * (40 / 60) / 5)
    assert (found.food.value.m_as("kg"), found.cop.value.magnitude, found.kind) == (40, 1.5, "freezer")
    given = Cabinet.from_draw(replace(draw, cycles=cycles), air="3 Wh/kelvin")
    assert given.air.value.m_as("Wh/kelvin") == 3


def test_a_thermometer_narrows() -> None:
    wide, narrow = (Cabinet(load("refrigerator"), inside=each).hours_until() for each in (None, "3 degC"))
    assert narrow.expanded() < wide.expanded() / 1.2


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: Cabinet(Load.steady("5 W")), "and the room its draw was measured in"),
        (lambda: Cabinet(load() + load()), "one cold appliance"),
        (lambda: Cabinet(load(), food="0 kg"), "Leave food out"),
        (lambda: Cabinet(load(), food=40), "Write the unit with it"),
        (lambda: Cabinet(load(), cop=1.5), "Write cop=Estimate"),
        (lambda: Cabinet(load(), inside="20 degC"), "a room that is warmer than the inside"),
        (lambda: Cabinet.from_draw(load()), "Write draw=measure_draw"),
        (lambda: Cabinet(load()).hours_until("4 W"), "a temperature"),
    ],
)
def test_what_is_no_cabinet_is_refused(call: Any, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        call()
