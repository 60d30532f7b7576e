"""The reader of quantity text, the guards and the display."""

import contextlib
import csv
import pickle
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridethrough import quantity_text
from ridethrough.estimate import Estimate
from ridethrough.units import Q_, Refusal, display, number, quantity, read_quantity, registry, show


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("38 W", 38, "W"),
        ("1.3kWh", 1300, "Wh"),
        (".5 kW", 500, "W"),
        ("2 KWH", 2000, "Wh"),
        ("1 h 30 min", 90, "min"),
        ("1h30min", 1.5, "h"),
        ("3 days", 72, "h"),
        ("1 week", 168, "h"),
        ("5 degC", 5, "degC"),
        ("−5 °C", -5, "degC"),
        ("41 degF", 5, "degC"),
        ("90%", 0.9, "1"),
        ("390 kWh per year", 390, "kWh/year"),
        ("1.2e3 W", 1.2, "kW"),
        ("100 Ah", 100, "Ah"),
        ("20 ft3", 20, "ft3"),
        ("760 watt hours", 760, "Wh"),
        ("1.2 Kilowatt hours", 1200, "Wh"),
        ("100 amp hours", 100, "Ah"),
    ],
)
def test_reads(text: str, value: float, unit: str) -> None:
    assert number(text, unit, "x") == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1,3 kWh", 'Write "1.3 kWh" if the comma is a decimal mark, "13 kWh" if the comma groups thousands.'),
        ("1,300 Wh", 'Write "1.300 Wh" if the comma is a decimal mark, "1300 Wh" if the comma groups thousands.'),
        ("1,300.5 Wh", 'Write "1300.5 Wh" if the comma groups thousands.'),
        ("0,76 kWh", 'Write "0.76 kWh" if the comma is a decimal mark.'),
        ("1,0 h 30 min", 'Write "1.0 h 30 min" if'),
        ("3 watts per hour", "A watt is already energy per time"),
        ("watts per hour", "A watt is already energy per time"),
        ("2 kW/h", "A watt is already energy per time"),
        ("5 C", "For a temperature write degC."),
        ("3 mw", "Write one of: MW or mW."),
        ("3 bananas", "Write W, kW"),
        ("12 W 3 W", "only times have parts"),
        ("1 h -30 min", "only times have parts"),
        ("1 h 1 h", "the longest first"),
        ("30 min 1 h", "the longest first"),
        ("38", "a number and a unit"),
        ("W", "a number and a unit"),
        ("", "a number and a unit"),
        ("1 300 Wh", "a number and a unit"),
        ("1e999 W", "a finite number"),
        ("1 - 3 h", "a number and a unit"),
        ("1.2.3 W", "a number and a unit"),
        ("3:40", 'Write "3 h 40 min" or "3 min 40 s".'),
        ("03:40:10", 'Write "03 h 40 min 10 s".'),
        ("3:75", "a number and a unit"),
    ],
)
def test_refuses_what_could_be_read_in_two_ways(text: str, says: str) -> None:
    with pytest.raises(Refusal) as refusal:
        read_quantity(text)
    assert says in str(refusal.value)


def test_volt_amperes_are_not_watts() -> None:
    with pytest.raises(Refusal, match="the two differ by the power factor"):
        quantity("300 VA", "W", "power")
    with pytest.raises(Refusal, match="the two differ by the power factor"):
        quantity("300 W", "VA", "rated")
    assert number("0.3 kVA", "VA", "rated") == 300


@pytest.mark.parametrize("value", [12, 12.5, None, True, [1], float("nan")])
def test_a_bare_number_is_refused_with_the_line_to_type(value: object) -> None:
    with pytest.raises(Refusal, match='standby="') as refusal:
        quantity(value, "W", "standby")
    assert "standby" in refusal.value.given


def test_a_share_is_between_nothing_and_the_whole() -> None:
    assert number(0.97, "1", "start") == number("97 %", "1", "start") == 0.97
    for wrong in (97, "120 %", -0.1, "5 W"):
        with pytest.raises(Refusal):
            quantity(wrong, "1", "start")
    with pytest.raises(Refusal, match='write start="97 %"'):
        quantity(97, "1", "start")


def test_the_wrong_dimension_is_named() -> None:
    with pytest.raises(Refusal, match="a time"):
        quantity("5 h", "W", "power")


def test_quantities_of_another_registry_come_home() -> None:
    import pint

    other = pint.UnitRegistry()
    assert number(other.Quantity(2, "kilowatt_hour"), "Wh", "energy") == 2000
    assert number(other.Quantity(2, "metric_horsepower"), "W", "power") == pytest.approx(2 * 75 * 9.80665)
    with pytest.raises(Refusal):
        quantity(other.Quantity(300, "volt_ampere"), "W", "power")


def test_units_are_those_of_the_whole_table() -> None:
    """pint 0.25's own table of definitions, which has the watt for the volt-ampere and a Btu_it of its own making."""
    import pint

    whole = pint.UnitRegistry()
    with Path(quantity_text.__file__).with_name("spellings.csv").open(encoding="utf-8") as file:
        names = [row["unit"] for row in csv.DictReader(file) if "voltampere" not in row["unit"]]
    for name in names:
        ours, theirs = (each.Quantity(1, name).to_base_units() for each in (registry(), whole))
        assert (ours.magnitude, f"{ours.units}") == (pytest.approx(theirs.magnitude, rel=1e-9), f"{theirs.units:~P}")
    assert len(names) > 30


def test_quantities_survive_pickling() -> None:
    assert pickle.loads(pickle.dumps(Q_(300, "VA"))) == Q_(300, "VA")
    assert pickle.loads(pickle.dumps(Q_(3, "W"))).units == registry().Unit("watt")


def test_display_is_chosen_once() -> None:
    try:
        display(temperature="degF", volume="gal")
        assert show(Q_(5, "degC")) == "41 °F"
        assert show(Q_(3.785411784, "L")) == "1 gal"
    finally:
        display(temperature="degC", volume="L")
    assert show(Q_(41, "degF")) == "5 °C"
    with pytest.raises(Refusal, match="degC"):
        display(temperature="kelvin")


@pytest.mark.parametrize(
    ("value", "text"),
    [(1179.4, "1,179 Wh"), (11.0, "11 Wh"), (9.51, "9.5 Wh"), (0.123, "0.12 Wh"), (0, "0 Wh"), (-43.2, "-43.2 Wh"),
     (-0.001, "0 Wh")],
)  # fmt: skip
def test_shows_three_figures(value: float, text: str) -> None:
    assert show(Q_(value, "Wh")) == text


def test_kelvin_may_be_a_difference_and_stay_what_they_are() -> None:
    assert show(Q_(5, "K")) == "5 K"
    swing = Estimate.within("5 K", "2 degC", "swing")
    assert str(swing) == "5.0 K, give or take 2.3 K"
    assert show(Q_(8, "degC") - Q_(5, "degC")) == "3 °C"


def test_days_and_years_have_their_names() -> None:
    assert show(Q_(7.4, "day")) == "7.4 days"
    assert show(Q_(390, "kWh/year")) == "390 kWh/year"


def test_a_product_of_watt_and_time_shows_as_watt_hours() -> None:
    assert show(Q_(3, "W") * Q_(2, "day")) == "144 Wh"


@given(st.text(max_size=20))
def test_any_text_is_a_quantity_or_a_refusal(text: str) -> None:
    with contextlib.suppress(Refusal):
        read_quantity(text)


@given(st.floats(0.001, 1e6), st.sampled_from(["W", "kW", "Wh", "h", "min", "degC", "VA"]))
def test_text_and_quantity_agree(value: float, unit: str) -> None:
    assert number(f"{value!r} {unit}", unit, "x") == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("3:40", "W", 'Needed: a power with its unit. Write for example x="38 W".'),
        ("3:40", "h", 'Needed: a time with its units. Write "3 h 40 min" or "3 min 40 s".'),
        ("12 March 07:10", "h", 'Needed: a time with its unit. Write for example x="12 h".'),
        ("12", "h", 'Write the unit with it, for example x="12 h".'),
        ("2,41", "Wh", 'Write "2.41" if the comma is a decimal mark, "241" if the comma groups thousands. Write for '
                       'example x="1.2 kWh".'),
        ("2,41 Wh", "Wh", 'Write "2.41 Wh" if the comma is a decimal mark, "241 Wh" if the comma groups thousands.'),
        ("half", "1", 'Write for example x="90 %".'),
        ("5 C", "degC", "For a temperature write degC."),
    ],
)  # fmt: skip
def test_a_text_that_is_none_is_refused_in_the_arguments_own_terms(text: str, unit: str, says: str) -> None:
    with pytest.raises(Refusal) as caught:
        quantity(text, unit, "x")
    assert str(caught.value).endswith(says)
    assert "x" in caught.value.given


def test_text_brings_its_own_unit() -> None:
    assert Q_("3 W") == Q_(3, "W") == Q_("3 W", "mW")
    for one in (("3 W", "Wh"), ("3", "W"), (3,)):
        with pytest.raises(Refusal):
            Q_(*one)
