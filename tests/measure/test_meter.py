"""A meter checked against a known load, and parts of a log."""

from pathlib import Path

import pytest

from ridethrough.estimate import Estimate
from ridethrough.measure.layout import LogRefusal
from ridethrough.measure.log import Meter, hand_readings, read_log
from ridethrough.units import Q_, Refusal

LOG = hand_readings([("0:00", "1.00"), ("1:00", "1.06"), ("3:00", "1.30"), ("4:00", "1.36")], unit="kWh")


def test_a_check_moves_the_gain_and_shrinks_its_doubt_to_that_of_the_check() -> None:
    meter = Meter("3 %")
    known = Estimate.within("1000 W", "6 W", "resistance and voltage")
    checked = meter.checked(shown="1020 W", known=known)
    assert checked.gain.value.magnitude == pytest.approx(1000 / 1020)
    assert checked.gain.u.magnitude == pytest.approx(6 / 3**0.5 / 1020)
    assert checked.gain.u < meter.gain.u


def test_the_fixed_part_stays_and_is_one_with_the_check() -> None:
    """A meter with an offset only: what the check took off at 1000 W it shares with later readings."""
    meter = Meter("2 W")
    checked = meter.checked(shown="1000 W", known="1000 W")
    assert checked.offset is meter.offset
    at_the_check = checked.gain * Q_(1000, "W") + checked.offset
    assert at_the_check.u.magnitude == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    ("shown", "known", "says"),
    [("0 W", "1000 W", "above zero"), ("1000 W", "500 W", "50 % apart"), (1000, "1000 W", 'shown="1000 W"')],
)
def test_a_check_that_can_not_be_is_refused(shown: object, known: str, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        Meter("1 %").checked(shown=shown, known=known)


def test_a_part_of_a_log_keeps_its_powers_and_cuts_its_steps() -> None:
    assert LOG.first("1 h").mean_power_w() == pytest.approx(60)
    part = LOG.between("0 h 30 min", "2 h")
    assert part.mean_power_w() == pytest.approx((0.5 * 60 + 1 * 120) / 1.5)
    assert part.start_s.tolist() == pytest.approx([0, 1800])
    assert part.duration_s.tolist() == pytest.approx([1800, 3600])
    assert part.span_s == pytest.approx(5400)
    assert part.coverage == pytest.approx(1)


def test_parts_add_up_to_the_whole() -> None:
    parts = [LOG.between(f"{at} h", f"{at + 1} h") for at in range(4)]
    assert sum(part.mean_power_w() for part in parts) / 4 == pytest.approx(LOG.mean_power_w())


def test_a_days_counter_read_once_a_day_is_asked_about(tmp_path: Path) -> None:
    """0.71, 0.72, ... kWh at each day's end is some 700 Wh a day, not a counter that rises by 10 Wh."""
    file = tmp_path / "daily.csv"
    lines = "".join(f"2026-01-{day:02d} 23:59,{0.7 + 0.01 * day:.2f}\n" for day in range(1, 15))
    file.write_text(f"day,kWh today\n{lines}", encoding="utf-8")
    with pytest.raises(LogRefusal, match='kind="interval energy"'):
        read_log(file)
    assert read_log(file, kind="interval energy").mean_power_w() == pytest.approx(775 / 24, rel=0.01)


def test_a_part_without_readings_is_refused() -> None:
    with pytest.raises(Refusal, match="readings stand for"):
        LOG.between("9 h", "10 h")
