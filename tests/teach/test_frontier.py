"""The picture of the cheapest choice: steps where the table has them, named, on axes that people read."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pandas as pd
import pytest

from ridethrough.answer.choice import FRONTIER, NONE, frontier
from ridethrough.answer.nothing import NOTHING
from ridethrough.answer.outage import Outage
from ridethrough.measure.candidates import read_units
from ridethrough.model.load import Load
from ridethrough.teach import scenario
from ridethrough.teach.figures import canvas, paint
from ridethrough.teach.views import choice_panel, frontier_view
from ridethrough.units import Refusal

STEPS = [(NOTHING, 0, 4, 0), ("One", 4, 20, 480), ("Two", 20, 50, 500), ("Two with 1 pack", 50, 90, 4000)]


def table(rows: list[tuple[Any, ...]]) -> pd.DataFrame:
    told = [(*row, "SEK with tax", "unit of 2026-01-05", row[2], row[2], f"{row[0]} in words") for row in rows]
    return pd.DataFrame(told, columns=list(FRONTIER))


@pytest.mark.parametrize("rows", [STEPS, STEPS[1:], STEPS[1:2], [*STEPS, (NONE, 90, 336, None)],
                                  [*STEPS, (NONE, 90, 336, None), ("Left", None, None, None)]])  # fmt: skip
def test_each_step_stands_at_its_price_and_is_named(rows: list[tuple[Any, ...]]) -> None:
    view = frontier_view(table(rows))
    figure = canvas()
    paint(figure, view.headline, "", view.picture)
    (axes,) = figure.axes
    flat = {tuple(line.get_xdata()): line.get_ydata()[0] for line in axes.lines if line.get_linewidth() > 3}
    begins = axes.get_xlim()[0]
    assert flat == {(max(start, begins), end): price for _, start, end, price in rows if price}
    drawn = [name for name, start, *_ in rows if start is not None]
    assert sorted(text.get_text() for text in axes.texts) == sorted(drawn)
    heights = sorted(text.get_position()[1] for text in axes.texts if text.get_rotation() == 0)
    assert all(high / low > 1.1 for low, high in pairwise(heights))
    ticks = [tick.get_text() for tick in axes.get_xticklabels()]
    assert "12 h" in ticks
    assert ("7 days" in ticks) is any(row[2] == 336 for row in rows)
    said = [f"{name} to {end} h." if price else f"{name} in words" for name, _, end, price in rows]
    assert all(each in view.text for each in said)
    assert list(view.table["in words"]) == [f"{name} in words" for name, *_ in rows]


def test_the_headline_names_the_choice_for_a_day_and_three() -> None:
    assert frontier_view(table(STEPS)).headline == "For a day Two, for three days Two with 1 pack"
    assert frontier_view(table(STEPS[:2])).headline == f"{NOTHING} comes first"
    with pytest.raises(Refusal, match="no unit is part"):
        frontier_view(table([(NONE, 0, 336, None)]))


def test_a_length_is_marked_up_to_its_step() -> None:
    view, figure = frontier_view(table(STEPS)), canvas()
    for at, top in ((30.0, 500.0), (2.0, None)):
        paint(figure, "", "", lambda axes, at=at: view.picture(axes, at=at))
        (axes,) = figure.axes
        (marked,) = (line for line in axes.lines if set(line.get_xdata()) == {at})
        assert max(marked.get_ydata()) == (axes.get_ylim()[1] if top is None else top)


def test_the_panel_shows_the_frontier_with_the_standby_it_stands_at() -> None:
    units = read_units(scenario.path("units.csv"), prices=scenario.path("prices.csv"))
    few = {name: units[name] for name in ("Unit B", "Unit D", "Unit F")}
    terms = {"prices": units.listed, "on": "2026-02-10", "tax_rate": "20 %"}
    load, longest = Load.steady("33 W", "bench lamp"), Outage("14 days", start="97 %")
    panel = choice_panel(load, few, moves="Unit D", start="97 %", **terms)
    for watts in (16, 31):
        moved = few | {"Unit D": few["Unit D"].with_standby(few["Unit D"].standby * (watts / 31))}
        found = frontier(load, moved, longest, **terms).dropna(subset="price")
        shown = panel.at(hours=84, standby_w=watts)
        assert list(shown.table["choice"]) == list(found["choice"])
        assert list(shown.table["to (h)"]) == pytest.approx(list(found["to (h)"]))
        row = found[(found["from (h)"] < 84) & (found["to (h)"] >= 84)].iloc[0]
        assert shown.headline.startswith(f"84 h: {row['choice']}, {row['price']:,.0f} ")
    assert "Unit D with 2 packs comes first" in panel.at(standby_w=16).text
    assert "Unit D comes first nowhere" in panel.at(standby_w=46).text
    with pytest.raises(Refusal, match="Write one of: Unit B, Unit D, Unit F"):
        choice_panel(load, few, moves="Unit C", **terms)
