"""A draw carried to another room: a band, until a second measurement pins it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridethrough.estimate import Estimate
from ridethrough.model.load import Load
from ridethrough.model.room import in_room
from ridethrough.units import Q_, Refusal

FRIDGE = Load.cycling("80 W", "40 %", "fridge", day_spread="50 Wh")


def mean(load: Load) -> float:
    return float(load.mean_power.value.to("W").magnitude)


def test_a_hot_week_draws_more_with_a_wide_band() -> None:
    hot = in_room(FRIDGE, measured_at="20 degC", room="32 degC")
    assert mean(hot) == pytest.approx(32 * (1 + 0.04 * 12))
    assert hot.mean_power.u.magnitude == pytest.approx(32 * 12 * 0.02 / 3**0.5)


def test_a_second_measurement_pins_it() -> None:
    warm = Load.cycling("80 W", "50 %", "fridge")
    pinned = in_room(FRIDGE, measured_at="20 degC", room="32 degC", second=(warm, "26 degC"))
    assert mean(pinned) == pytest.approx(32 + (40 - 32) * 2)
    assert pinned.mean_power.u.magnitude == 0


def test_one_meter_for_both_measurements_cancels_in_the_slope() -> None:
    gain = Estimate.within(Q_(1, "1"), Q_(0.05, "1"), "gain")
    one, two = Load.steady(gain * Q_(30, "W")), Load.steady(gain * Q_(36, "W"))
    carried = in_room(one, measured_at="20 degC", room="30 degC", second=(two, "25 degC"))
    assert (carried.mean_power.u / carried.mean_power.value).magnitude == pytest.approx(0.05 / 3**0.5)


def test_at_most_it_runs_all_the_time() -> None:
    busy = Load.cycling("80 W", "70 %", "fridge")
    assert mean(in_room(busy, measured_at="20 degC", room="40 degC")) == pytest.approx(80)


def test_a_steady_load_takes_its_peak_along() -> None:
    assert in_room(Load.steady("30 W"), measured_at="20 degC", room="30 degC").peak == Q_(42, "W")


def test_where_nothing_changes_nothing_changes() -> None:
    assert in_room(FRIDGE, measured_at="20 degC", room="20 degC") is FRIDGE


@given(st.floats(10, 43), st.floats(10, 43))
def test_warmer_never_draws_less_and_the_levels_follow(one: float, two: float) -> None:
    low, high = sorted((one, two))
    cold, hot = (in_room(FRIDGE, measured_at="21 degC", room=Q_(t, "degC")) for t in (low, high))
    assert mean(cold) <= mean(hot) + 1e-9
    for load in (cold, hot):
        appliance = load.appliances[0]
        assert float(np.dot(appliance.levels_w, appliance.shares)) == pytest.approx(mean(load))
        assert appliance.shares.sum() == pytest.approx(1)


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"room": "5 degC"}, "compressor may stop"),
        ({"room": "60 degC"}, "between 10 °C and 43 °C"),
        ({"room": 30}, 'room="30 degC"'),
        ({"room": "30 degC", "second": (FRIDGE, "21 degC")}, "2 K apart"),
        ({"room": "40 degC", "second": (Load.steady("10 W"), "30 degC")}, "falls to"),
    ],
)
def test_refusals(how: dict, says: str) -> None:  # type: ignore[type-arg]
    with pytest.raises(Refusal, match=says):
        in_room(FRIDGE, measured_at="20 degC", **how)
    with pytest.raises(Refusal, match="one appliance"):
        in_room(FRIDGE + FRIDGE, measured_at="20 degC", room="25 degC")
