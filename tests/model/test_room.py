"""A draw carried to another room: a band, until a second measurement pins it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridethrough.estimate import Estimate
from ridethrough.model.load import Load
from ridethrough.model.nameplate import in_room
from ridethrough.units import Q_, Refusal

FRIDGE = Load.cycling("80 W", "40 %", "fridge", day_spread="50 Wh")


def mean(load: Load) -> float:
    return float(load.mean_power.value.to("W").magnitude)


def test_a_hot_week_draws_more_with_a_wide_band() -> None:
    """12 K at 5.5 % each: 32 W exp(0.66), and as uncertain as the band of the 5.5 % makes it."""
    hot = in_room(FRIDGE, measured_at="20 degC", room="32 degC")
    assert mean(hot) == pytest.approx(32 * 1.934792)
    assert hot.mean_power.u.magnitude == pytest.approx(mean(hot) * 12 * 0.025 / 3**0.5, rel=1e-6)
    assert hot.appliances[0].day_spread.magnitude == pytest.approx(50 * 1.934792)


def test_a_freezer_leaks_less() -> None:
    cold = in_room(FRIDGE, measured_at="20 degC", room="10 degC")
    chest = in_room(FRIDGE.in_a_room_of("20 degC", "freezer"), room="10 degC")
    assert (mean(cold), mean(chest)) == (pytest.approx(32 * 0.576950), pytest.approx(32 * 0.670320))


@pytest.mark.parametrize(
    ("cabinet", "inside_c", "evaporator_c", "rooms_c"),
    [("refrigerator", 4, -10, (25, 32)), ("freezer", -18, -28, (2, 10, 16, 25, 32))],
)
def test_the_band_holds_what_heat_and_lift_make_of_it(
    cabinet: str, inside_c: float, evaporator_c: float, rooms_c: tuple[float, ...]
) -> None:
    """Heat goes with room less inside, work with the lift to 15 K above the room. Of a refrigerator that is the upper
    end, since doors and fans follow less, and it falls faster still in the cold, where more is counted than drawn."""
    slope = FRIDGE.in_a_room_of("20 degC", cabinet).appliances[0].room_slope
    assert slope is not None
    for room_c in rooms_c:
        asked = [(t - inside_c) * (t + 15 - evaporator_c) for t in (20, room_c)]
        off = np.log(asked[1] / asked[0]) / (room_c - 20) - slope.value.magnitude
        assert abs(off) < slope.u.magnitude * 3**0.5


@given(st.floats(10, 43), st.floats(10, 43), st.floats(10, 43))
def test_it_is_its_own_inverse_whatever_lies_between(measured_c: float, one: float, two: float) -> None:
    calm = Load.steady("30 W")
    there = in_room(calm, measured_at=Q_(measured_c, "degC"), room=Q_(one, "degC"))
    back = in_room(there, room=Q_(measured_c, "degC"))
    assert mean(back) == pytest.approx(30)
    assert back.mean_power.u.magnitude == pytest.approx(0, abs=1e-9)
    by_way = in_room(there, room=Q_(two, "degC"))
    assert mean(by_way) == pytest.approx(mean(in_room(calm, measured_at=Q_(measured_c, "degC"), room=Q_(two, "degC"))))


def test_a_second_measurement_pins_it() -> None:
    """40 W where it was 32 W, 6 K warmer: 6 K more multiply by 40 / 32 again, with nothing left in doubt."""
    warm = Load.cycling("80 W", "50 %", "fridge")
    pinned = in_room(FRIDGE, measured_at="20 degC", room="32 degC", second=(warm, "26 degC"))
    assert mean(pinned) == pytest.approx(32 * (40 / 32) ** 2)
    assert pinned.mean_power.u.magnitude == 0
    assert mean(in_room(pinned, room="26 degC")) == pytest.approx(40)  # it stays pinned


def test_one_meter_for_both_measurements_cancels_in_the_slope() -> None:
    gain = Estimate.within(Q_(1, "1"), Q_(0.05, "1"), "gain")
    one, two = Load.steady(gain * Q_(30, "W")), Load.steady(gain * Q_(36, "W"))
    carried = in_room(one, measured_at="20 degC", room="30 degC", second=(two, "25 degC"))
    assert (carried.mean_power.u / carried.mean_power.value).magnitude == pytest.approx(0.05 / 3**0.5)


def test_at_most_it_runs_all_the_time() -> None:
    busy = Load.cycling("80 W", "70 %", "fridge")
    assert mean(in_room(busy, measured_at="20 degC", room="40 degC")) == pytest.approx(80)


def test_what_it_draws_at_most_does_not_follow_the_room() -> None:
    there = in_room(FRIDGE, measured_at="20 degC", room="30 degC").appliances[0]
    assert (there.peak, there.motor) == (Q_(80, "W"), Q_(80, "W"))
    assert there.pattern is FRIDGE.appliances[0].pattern


def test_where_nothing_changes_nothing_changes() -> None:
    known = FRIDGE.in_a_room_of("20 degC")
    assert in_room(known, room="20 degC") is known


@given(st.floats(10, 43), st.floats(10, 43))
def test_warmer_never_draws_less(one: float, two: float) -> None:
    low, high = sorted((one, two))
    cold, hot = (in_room(FRIDGE, measured_at="21 degC", room=Q_(t, "degC")) for t in (low, high))
    assert 0 < mean(cold) <= mean(hot) + 1e-9 <= 80 + 1e-6


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"room": "-16 degC"}, "between -15 °C and 43 °C"),
        ({"room": "60 degC"}, "where it stands"),
        ({"room": 30}, 'room="30 degC"'),
        ({"room": "30 degC", "second": (FRIDGE, "21 degC")}, "2 K apart"),
    ],
)
def test_refusals(how: dict, says: str) -> None:  # type: ignore[type-arg]
    with pytest.raises(Refusal, match=says):
        in_room(FRIDGE, measured_at="20 degC", **how)
    with pytest.raises(Refusal, match="one appliance"):
        in_room(FRIDGE + FRIDGE, measured_at="20 degC", room="25 degC")
