"""The ledger sums, its verdict follows the chance, and more of a loss never helps."""

from dataclasses import dataclass, field

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridethrough.answer.ledger import Ledger, ledger
from ridethrough.answer.outage import Outage
from ridethrough.estimate import Estimate
from ridethrough.model.battery import CHEMISTRIES
from ridethrough.model.load import Load
from ridethrough.model.temperature import TemperatureCurve
from ridethrough.model.unit import BackupUnit
from ridethrough.units import Q_, Refusal


def unit(capacity: float = 1000, standby: float = 9, chemistry: str = "iron phosphate") -> BackupUnit:
    printed = Q_(capacity, "Wh")
    return BackupUnit.from_print(
        "mine", capacity=printed, chemistry=chemistry, standby="9 W", rated="800 W", efficiency="88 %", at="300 W"
    ).with_standby(Q_(standby, "W"))


def wh(estimate: Estimate) -> float:
    return float(estimate.value.to("Wh").magnitude)


def total(account: Ledger) -> float:
    """The printed capacity and every gain and loss after it; sums in between are left out."""
    return wh(account.lines[0].energy) + sum(wh(line.energy) for line in account.lines if line.kind != "total")


@settings(max_examples=200)
@given(
    capacity=st.floats(50, 20_000), standby=st.floats(0, 60), running=st.floats(0, 800), duty=st.floats(0, 1),
    steady=st.floats(0, 300), hours=st.floats(0.5, 200), start=st.floats(0, 1), chemistry=st.sampled_from(CHEMISTRIES),
)  # fmt: skip
def test_the_lines_sum_to_what_is_left(capacity, standby, running, duty, steady, hours, start, chemistry) -> None:  # type: ignore[no-untyped-def]
    load = Load.cycling(Q_(running, "W"), duty) + Load.steady(Q_(steady, "W"))
    account = ledger(load, unit(capacity, standby, chemistry), Outage(Q_(hours, "h"), start=start))
    assert total(account) == pytest.approx(wh(account.left), abs=1e-9 * (capacity + 1000 * hours))
    assert wh(account.left) == pytest.approx(wh(account.available) - wh(account.needed), abs=1e-6)
    assert account.lines[-1].energy is account.left


def test_by_hand() -> None:
    """1000 Wh x 90 % x 50 % = 450 Wh; 10 h of 20 W + 9 W standby + k1 20 W + k2 400/800 W."""
    account = ledger(Load.steady("20 W"), unit(chemistry="sealed lead-acid"), Outage("10 h", start="90 %"))
    k1 = 1 / 0.88 - 1 - 9 / 300 - 0.02 * 300 / 800
    assert wh(account.available) == pytest.approx(450)
    assert wh(account.needed) == pytest.approx(10 * (20 + 9 + 20 * k1 + 0.02 * 400 / 800))
    assert account.lasts.value.magnitude == pytest.approx(450 / (wh(account.needed) / 10))


@pytest.mark.parametrize(
    ("more", "less"),
    [
        (ledger(Load.steady("30 W"), unit(standby=5), "12 h"), ledger(Load.steady("30 W"), unit(standby=20), "12 h")),
        (ledger(Load.steady("30 W"), unit(), "12 h"), ledger(Load.steady("31 W"), unit(), "12 h")),
        (ledger(Load.steady("30 W"), unit(), "12 h"), ledger(Load.steady("30 W"), unit(), "13 h")),
        (
            ledger(Load.steady("30 W"), unit(), Outage("12 h", start="100 %")),
            ledger(Load.steady("30 W"), unit(), Outage("12 h", start="80 %")),
        ),
    ],
)
def test_more_standby_load_or_hours_and_less_charge_never_help(more: Ledger, less: Ledger) -> None:
    assert wh(more.left) > wh(less.left)
    assert more.lasts.value > less.lasts.value or wh(more.needed) < wh(less.needed)


def test_the_verdict_follows_the_chance_to_last() -> None:
    load = Load.cycling("80 W", "40 %", day_spread="60 Wh")
    verdicts = [ledger(load, unit(capacity), "24 h") for capacity in (950, 1130, 1200, 1500)]
    assert [account.verdict for account in verdicts] == ["short", "tight", "tight", "covered"]
    for account in verdicts:
        expected = "covered" if account.chance >= 0.9 else "tight" if account.chance >= 0.5 else "short"
        assert account.verdict == expected


def test_a_reserve_is_kept() -> None:
    load = Load.steady("30 W")
    plain, kept = ledger(load, unit(), "12 h"), ledger(load, unit(), Outage("12 h", reserve="450 Wh"))
    assert plain.verdict == "covered"
    assert kept.verdict == "short"
    assert wh(plain.left) - wh(kept.left) == pytest.approx(450)
    assert total(kept) == pytest.approx(wh(kept.left))
    assert "missing" in kept.headline
    assert kept.lasts.value.magnitude < 12 < plain.lasts.value.magnitude
    with pytest.raises(Refusal, match="zero or more"):
        Outage("12 h", reserve="-5 Wh")


def test_the_next_days_are_one_influence_of_the_appliance() -> None:
    """Two units compared on one load meet the same days: the days' doubt cancels in their difference."""
    load = Load.cycling("80 W", "40 %", day_spread="60 Wh")
    base = unit()
    one, two = ledger(load, base, "24 h"), ledger(load, base.with_standby("10 W"), "24 h")
    assert one.needed.u.magnitude > 60
    assert (one.needed - two.needed).u.magnitude == pytest.approx(0, abs=1e-9)


def test_nothing_asked_for_has_no_end() -> None:
    with pytest.raises(Refusal, match="something that takes energy"):
        _ = ledger(Load.steady("0 W"), unit(standby=0), "24 h").lasts
    with pytest.raises(Refusal, match=r"Load\.steady"):
        ledger("38 W", unit(), "24 h")  # type: ignore[arg-type]


def test_one_meter_measures_both_loads() -> None:
    """A gain error shared by two loads adds; two meters' errors add in squares."""
    gain = Estimate.within(Q_(1, "1"), Q_(0.03, "1"), "gain")
    same = Load.steady(gain * Q_(40, "W")) + Load.steady(gain * Q_(40, "W"))
    apart = Load.steady(gain * Q_(40, "W")) + Load.steady(
        Estimate.within(Q_(1, "1"), Q_(0.03, "1"), "gain") * Q_(40, "W")
    )
    ratio = same.energy_over("24 h").u / apart.energy_over("24 h").u
    assert ratio.magnitude == pytest.approx(2**0.5)


def test_it_reads_as_text_and_table() -> None:
    account = ledger(Load.steady("30 W", "router"), unit(), "24 h")
    assert "router, 24 h" in str(account)
    assert account.headline in account._repr_html_()
    assert list(account.rows["side"].unique()) == ["battery"]


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Outage(24), 'duration="24 h"'),
        (lambda: Outage("0 h"), "above zero"),
        (lambda: Outage("24 h", start=97), 'start="97 %"'),
        (lambda: Outage("24 Wh"), "an energy"),
    ],
)
def test_an_outage_refuses(make, says: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(Refusal, match=says):
        make()


def test_facts_of_the_trade() -> None:
    """Common practice, no source: 18 W of standby take another 216 Wh in 12 h, with 650 Wh of load 866 Wh together."""
    account = ledger(Load.steady(Q_(1300 / 24, "W")), unit(standby=18), "12 h")
    standby, load = -wh(account.lines[-2].energy), -wh(account.lines[-4].energy)
    assert standby == pytest.approx(216)
    assert load + standby == pytest.approx(866)


@dataclass(frozen=True)
class Line:
    """What a fit of run-downs brings: energy and standby at the outlet, found together."""

    energy: Estimate
    standby: Estimate
    room: pint.Quantity | None = None
    curve: TemperatureCurve = field(default_factory=lambda: TemperatureCurve("iron phosphate"))

    def delivers(self, load: Load, *, times: float = 1.0) -> Estimate:
        return self.energy * times


LINE = Line(*Estimate.jointly([900, 16], [[100, 4], [4, 0.5]], ["Wh", "W"], "run-downs", dof=3))
MEASURED = BackupUnit.from_rundowns("mine", LINE, printed="1000 Wh", rated="800 W", pack="500 Wh", packs_max=1)


def test_the_measured_route_stands_at_the_outlet_and_charges_nothing_twice() -> None:
    account = ledger(Load.steady("30 W"), MEASURED, Outage("10 h", start="90 %"))
    assert wh(account.left) == pytest.approx(0.9 * 900 - 10 * (30 + 16))
    assert total(account) == pytest.approx(wh(account.left))
    assert set(account.rows["side"]) == {"outlet"}
    labels = " ".join(line.label for line in account.lines)
    assert "printed to measured at the outlet" in labels
    assert "conversion" not in labels
    assert "depth" not in labels
    with pytest.raises(Refusal, match="count it twice"):
        _ = MEASURED.inverter


def test_the_measured_energy_and_standby_keep_their_correlation() -> None:
    """u of E - 10 h S with covariance 4 Wh W: sqrt(100 - 2 x 10 x 4 + 100 x 0.5)."""
    account = ledger(Load.steady("30 W"), MEASURED, "10 h")
    assert account.left.u.magnitude == pytest.approx((100 - 80 + 50) ** 0.5)


def test_a_pack_delivers_the_share_that_was_measured() -> None:
    assert wh(ledger(Load.steady("30 W"), MEASURED.with_packs(1), "10 h").available) == pytest.approx(1350)


def test_both_routes_agree_when_the_print_is_true() -> None:
    """E = usable / (1 + k1) and S = P_0 / (1 + k1) at the outlet give the same hours as the battery's side."""
    printed = BackupUnit.from_print(
        "mine", capacity="1 kWh", chemistry="iron phosphate", standby="9 W", rated="8 kW", efficiency="88 %", at="300 W"
    )
    factor = 1 + printed.inverter.k1
    usable = ledger(Load.steady("30 W"), printed, "10 h").available
    true = Line(usable / factor, printed.standby / factor)
    measured = BackupUnit.from_rundowns("mine", true, printed="1 kWh", rated="8 kW")
    hours = [float(ledger(Load.steady("30 W"), unit, "10 h").lasts.value.magnitude) for unit in (printed, measured)]
    assert hours[0] == pytest.approx(hours[1], rel=1e-4)
