"""The views of lesson 07 against the account, and against rides counted one by one."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from ridethrough import BackupUnit, Generator, Load, Outage, Recharge, ledger, spread
from ridethrough.teach.views.outages import outage_panel, past_view, rides_view
from ridethrough.units import show

LOAD = Load.cycling("90 W", "40 %", "fridge", day_spread="60 Wh")
SMALL = BackupUnit.from_print("small", capacity="1 kWh", chemistry="iron phosphate", standby="9 W", rated="700 W",
                              efficiency="88 %", at="300 W", pack="800 Wh", packs_max=2)  # fmt: skip


def counted(text: str) -> int:
    return int(text.split(": ")[1].split(" of 2,000")[0].replace(",", ""))


@pytest.mark.parametrize("hours", [15, 20, 21, 30])
def test_the_sentence_counts_rides(hours: int) -> None:
    outage = Outage(f"{hours} h")
    rides = spread(LOAD, SMALL, outage, draws=2000)
    text = rides_view(LOAD, SMALL, outage).text
    assert counted(text) == np.isinf(rides.walk.state.empty_h[1:]).sum()
    assert rides.verdict in text
    assert ("missing" in text) == (np.median(ledger(LOAD, SMALL, outage).left.draws) < 0)


def test_a_ride_that_empties_says_when_and_one_that_lasts_says_at_least() -> None:
    low, high = spread(LOAD, SMALL, "40 h", draws=2000).interval()
    assert f"runs for {show(low)} to {show(high)}" in rides_view(LOAD, SMALL, "40 h").text
    assert f"runs for {show(low)} to {show(high)}" in rides_view(LOAD, SMALL, "8 h").text
    mains = Outage("8 h", recharge=Recharge.mains([("1 h", "2 h")], power="300 W"))
    assert "runs for at least 8 h" in rides_view(LOAD, SMALL, mains).text


def test_a_reserve_is_said_and_makes_fewer_rides_last() -> None:
    plain, kept = (rides_view(LOAD, SMALL, Outage("20 h", reserve=reserve)).text for reserve in ("0 Wh", "80 Wh"))
    assert counted(kept) < counted(plain)
    assert ("in reserve" in plain, "keep 80 Wh in reserve" in kept) == (False, True)


def test_the_table_ends_with_the_outage_and_never_rises() -> None:
    table = rides_view(LOAD, SMALL, "40 h").table
    assert table["time (h)"].iloc[-1] == 40
    assert (np.diff(table["middle (Wh)"]) <= 0).all()


def test_the_mains_are_drawn_where_they_carry() -> None:
    from ridethrough.teach.figures import canvas

    mains = Recharge.mains([("10 h", "12 h"), ("20 h", "23 h")], power="300 W")
    figure = canvas()
    rides_view(LOAD, SMALL, Outage("30 h", recharge=mains)).draw(figure)
    patches: Any = figure.axes[0].patches
    spans = [(patch.get_x(), patch.get_x() + patch.get_width()) for patch in patches]
    assert spans == [pytest.approx((10, 12)), pytest.approx((20, 23))]


def test_a_generator_is_drawn_by_the_clock_and_named() -> None:
    from ridethrough.teach.figures import canvas

    figure = canvas()
    often = Generator("900 W", hours="18:00-19:30")
    view = rides_view(LOAD, SMALL, Outage("2 days", begins="12:00", recharge=often))
    view.draw(figure)
    assert "Caution: carbon monoxide kills" in view.text
    patches: Any = figure.axes[0].patches
    spans = [(patch.get_x(), patch.get_x() + patch.get_width()) for patch in patches]
    assert spans == [pytest.approx((6, 7.5)), pytest.approx((30, 31.5))]
    assert [text.get_text() for text in figure.axes[0].texts].count("generator") == 2


def test_the_panel_offers_every_pack() -> None:
    panel = outage_panel(LOAD, SMALL)
    assert panel.controls["on"].options == ["small", "small with 1 pack", "small with 2 packs"]
    lasting = [counted(panel.at(hours=36, on=each).text) for each in panel.controls["on"].options]
    assert lasting == sorted(lasting)
    assert lasting[0] < lasting[-1]


def test_past_outages_get_the_fewest_packs_that_cover_them() -> None:
    view = past_view(LOAD, SMALL, ["30 h", "3 h", "400 h", "19 h"])  # 19 h: tight without a pack
    assert list(view.table["outage (h)"]) == [3, 19, 30, 400]
    for hours, packs in zip(view.table["outage (h)"], view.table["packs"], strict=True):
        verdicts = [ledger(LOAD, SMALL.with_packs(n), f"{hours} h").verdict for n in range(3)]
        assert (verdicts.index("covered") if "covered" in verdicts else None) == (None if pd.isna(packs) else packs)
    assert "mean 113.0 h, half of them under 24.5 h, the longest 400 h. small alone covers 1" in view.text
