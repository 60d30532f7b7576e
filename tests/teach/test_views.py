"""Every panel at the corners and the middle of its controls, read as a person would, without a kernel."""

import csv
import html
import itertools
import re
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from matplotlib.colors import to_hex

from ridethrough.measure.draw import measure_draw
from ridethrough.measure.log import hand_readings
from ridethrough.teach import pantry, scenario, views
from ridethrough.teach.export import panel_of
from ridethrough.teach.figures import canvas, palette
from ridethrough.teach.figures.palette import ASSUMED
from ridethrough.teach.panels import Choice, Panel, Slider, View
from ridethrough.units import Refusal

# every lesson's panel, as the lesson makes it
LESSONS = {path.stem: path for path in sorted((Path(__file__).parents[2] / "lessons").glob("*.ipynb"))}


@pytest.fixture(scope="module", params=LESSONS)
def panel(request: pytest.FixtureRequest) -> Panel:
    return panel_of(LESSONS[request.param])


def shown(panel: Panel) -> dict[str, Any]:
    """What the live panel shows."""
    return dict(panel.widget().children[-1].shown)


def reads(page: str) -> str:
    """What a person reads in a page's HTML."""
    return html.unescape(re.sub(r"<[^>]+>", "", page)).replace("\u00a0", " ")


def positions(control: Slider | Choice) -> Sequence[Any]:
    """Both ends and the middle of a slider, every option of a choice."""
    if isinstance(control, Choice):
        return list(control.options)
    places = control.places()
    return places[0], places[len(places) // 2], places[-1]


def test_every_corner_and_the_middle_answers(panel: Panel) -> None:
    names = list(panel.controls)
    for position in itertools.product(*(positions(panel.controls[name]) for name in names)):
        for name, value in zip(names, position, strict=True):
            panel.controls[name].value = value
        seen = shown(panel)
        assert "picture" in seen, seen["text"]
        assert len(seen["text"]) < 300, "more than three lines at a width of 1280"
        assert panel.now.text == seen["text"] == reads(seen["sentence"]), position
        numbers = [cell for column in panel.now.table.select_dtypes("number") for cell in panel.now.table[column]]
        assert numbers
        assert all(abs(number) < 1e6 for number in numbers)


def test_no_line_leaves_the_axes(panel: Panel) -> None:
    """As no end of an interval that a panel's fixed axes cut off."""
    figure = canvas()
    for position in itertools.product(*map(positions, panel.controls.values())):
        panel.at(**dict(zip(panel.controls, position, strict=True))).draw(figure)
        axes, to_data = figure.axes[0], figure.axes[0].transData
        lines = [line for line in axes.lines if line.get_transform() == to_data and len(line.get_xdata()) == 2]
        (left, right), drawn = axes.get_xlim(), [float(x) for line in lines for x in line.get_xdata()]
        assert all(left - 1e-9 <= x <= right + 1e-9 for x in drawn), position


def test_each_control_changes_the_answer(panel: Panel) -> None:
    for control in panel.controls.values():
        first, *_, last = positions(control)
        control.value = first
        before = panel.now.text
        control.value = last
        assert panel.now.text != before


def test_it_reads_without_a_kernel(panel: Panel) -> None:
    data, _ = panel._repr_mimebundle_()
    page = data["text/html"]
    assert "Run All Cells" in page
    assert panel.now.text in reads(page)
    alt = re.search(r'<img alt="([^"]+)"', page)
    assert alt is not None
    assert html.unescape(alt[1]) == panel.now.text
    assert panel.now.text in data["text/plain"]
    assert "application/vnd.jupyter.widget-view+json" in data
    assert "0x" not in data["text/plain"]


def test_hatched_means_assumed_and_the_grey_line_says_so(panel: Panel) -> None:
    figure = canvas()
    panel.now.draw(figure)
    _, about = (text.get_text() for text in figure.texts)
    hatched = [artist for axes in figure.axes for artist in (*axes.patches, *axes.collections) if artist.get_hatch()]
    assert bool(hatched) == bool(re.search("hatched: (assumed|not measured)", about))
    assert {to_hex(artist.get_facecolor()) for artist in hatched} <= {ASSUMED["color"].lower()}
    assert about.endswith("invented data")


def test_the_stored_picture_is_stable() -> None:
    one, two = (panel_of(LESSONS["00-start-here"])._repr_mimebundle_()[0]["text/html"] for _ in range(2))
    assert one == two


def test_an_exception_is_shown_and_then_gone() -> None:
    import pandas as pd

    def view(x: float) -> View:
        if x > 1:
            raise ValueError("no such <position>")
        return View(f"x is {x:g}", pd.DataFrame({"x": [x]}), "x", lambda axes: ())

    panel = Panel(view, x=Slider("x", 0, 2, 1, unit="W"))
    assert shown(panel)["text"] == "x is 1"
    panel.controls["x"].value = 2
    assert shown(panel) == {"text": "No answer here. ValueError: no such <position>"}
    panel.controls["x"].value = 0
    assert shown(panel)["text"] == "x is 0"


def test_controls_keep_to_what_they_offer() -> None:
    import traitlets

    slider, choice = Slider("x", 0, 2, 1, unit="W"), Choice("which", ["one", "two"])
    slider.value = 99
    assert slider.value == 2
    with pytest.raises(traitlets.TraitError, match="not one of"):
        choice.value = "three"
    assert (repr(slider), repr(choice)) == ("x: 2 W", "which: one")


def test_the_sentence_is_the_ledgers() -> None:
    """The sentence of the first panel and the ledger that it stands for say the same."""
    account = pantry.account("00")
    text = views.sentence(account)
    assert account.verdict in text
    assert f"{account.lasts.value.magnitude:.1f} h" in text


def test_what_is_measured_stays_measured_from_lesson_to_lesson() -> None:
    accounts = [pantry.account(lesson) for lesson in ("00", "01", "02", "03", "07")]
    new = [{line.topic.split(",")[0] for line, _ in now.new_since(then)} for then, now in pairwise(accounts)]
    assert new == [{"fridge-freezer"}, {"standby"}, {"printed to measured at the outlet"}, set()]
    assert {line.topic.split(",")[0] for line in accounts[-1].lines if line.basis == "measured"} == set.union(*new)
    doubts = [now.left.u for now in accounts]
    assert doubts[0] > 1.3 * doubts[1] > doubts[1] > doubts[2] > doubts[3]
    for (line, was), now in zip(accounts[1].new_since(accounts[0]), accounts[1:2], strict=True):
        assert was is not None
        text = views.ledger_view(now, accounts[0]).text
        assert str(-line.energy) in text
        assert str(-was.energy) in text


def test_at_its_own_load_each_unit_delivers_what_the_file_states() -> None:
    with open(scenario.path("units.csv"), newline="") as file:
        rows = {row["name"]: row for row in csv.DictReader(file)}
    panel = panel_of(LESSONS["03-conversion-loss-and-start-surge"])
    for row in panel.at(load=420).table.itertuples(index=False):
        assert row[1] == pytest.approx(float(rows[row[0]]["efficiency_percent"]), abs=1e-6)
        assert row[2] == float(rows[row[0]]["efficiency_at_w"])


def test_a_unit_keeps_its_colour_and_no_load_has_that_of_another_thing() -> None:
    colours: dict[str, set[str]] = {}
    for lesson in ("02-standby-loss", "03-conversion-loss-and-start-surge"):
        figure = canvas()
        panel_of(LESSONS[lesson]).now.draw(figure)
        for text in figure.axes[0].texts:
            colours.setdefault(text.get_text(), set()).add(to_hex(text.get_color()))
    assert set(colours) == {"Unit A", "Unit B", "Unit D"}
    assert len(set.union(*colours.values())) == len(colours), "one for each, the same in both lessons"
    taken = {palette.OWN, palette.HELD, palette.KEPT, palette.LEFT, palette.SHORT, palette.MAINS, palette.INK}
    assert not taken & set(palette.LOADS)
    mine = palette.of_units(["Unit B", "mine", "Unit D", "other"])
    assert len(set(mine)) == 4
    assert mine[::2] == [palette.UNITS["Unit B"], palette.UNITS["Unit D"]]


def test_the_view_of_starts_counts_what_the_draw_found() -> None:
    draw = pantry.kitchen_draw()
    (finding,) = (text for text in draw.findings if "inrush caught" in text)
    table = views.starts_view(pantry.kitchen_log(), draw).table
    assert f"inrush caught in {len(table)}:" in finding
    assert max(table["highest reading (W)"]) == pytest.approx(draw.surge.to("W").magnitude)


def test_starts_of_hand_readings_are_refused() -> None:
    log = hand_readings([("0:00", "2.05"), ("100:00", "5.15")], unit="kWh")
    with pytest.raises(Refusal, match="no cycles"):
        views.starts_view(log, measure_draw(log))
