"""What a canvas keeps from one drawing to the next is the same as drawn anew, whatever the pictures do."""

import asyncio
import io
from typing import Any

import numpy as np
import pandas as pd
import pytest
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from ridethrough.teach.figures import canvas
from ridethrough.teach.figures.base import _STYLE, pixels
from ridethrough.teach.panels import Panel, Slider, View


def picture(x: float) -> Any:
    """Draws what lessons and other people draw: marks, labels and limits that stay or change, letters of every kind."""

    def draw(axes: Axes) -> tuple[str, ...]:
        axes.plot([0, 1], [0, x if x > 5 else 1], color="C0")
        axes.text(0.2, 0.5, f"{x:g} Wh", rotation=30 * (x % 2), alpha=0.5 if x == 2 else 1, clip_on=x > 4)
        axes.text(0.4 + x / 97, 0.5, "moves")
        axes.text(0.1, 0.1, "$x^2$\ntwo lines", color="red" if x == 1 else "blue")
        axes.set_xlabel("load (W)", color="green" if x == 4 else "black")
        axes.tick_params(axis="y", labelsize=9 if x == 5 else 12)
        axes.spines["left"].set_visible(x != 3)
        axes.xaxis.set_visible(x != 2)
        axes.set_facecolor("none" if x < 6 else "#eee")
        return (f"about {x // 2:g}",)

    return draw


def test_a_picture_is_the_same_whatever_was_drawn_before() -> None:
    kept = canvas()
    for x in [0, 1, 2, 3, 4, 5, 6, 5, 0, 0, 1]:
        view = View(f"{x}", pd.DataFrame({"x": [x]}), f"Headline {x}", picture(x))
        fresh, file = canvas(), io.BytesIO()
        for figure in (kept, fresh):
            view.draw(figure)
        with rc_context(_STYLE):
            FigureCanvasAgg(fresh)
            fresh.savefig(file, format="png")
        mine, anew = (np.asarray(each).astype(int) for each in (pixels(kept), Image.open(file).convert("RGB")))
        assert np.abs(mine - anew).max() <= 2, x
        assert (anew < 128).any()


def test_another_size_is_drawn_anew() -> None:
    figure = canvas()
    View("", pd.DataFrame(), "Headline", picture(0)).draw(figure)
    assert pixels(figure).size == (960, 540)
    figure.set_dpi(50)
    assert pixels(figure).size == (480, 270)
    assert (np.asarray(pixels(figure)) < 128).any()


@pytest.fixture
def asked() -> list[float]:
    return []


def panel(asked: list[float]) -> Panel:
    def view(x: float) -> View:
        asked.append(x)
        if x > 3:
            raise ValueError("too far")
        return View(f"x is {x:g}", pd.DataFrame({"x": [x]}), "x", picture(x))

    made = Panel(view, x=Slider("x", 0, 5, 0, unit="W"))
    made.widget()
    return made


async def asked_in_the_end(asked: list[float], wanted: list[float]) -> None:
    """Wait until so much was asked, and then until nothing more comes."""
    while len(asked) < len(wanted):
        await asyncio.sleep(0.01)
    await asyncio.sleep(0.1)
    assert asked == wanted


def touch(control: Slider, aim: float | None) -> None:
    control._handle_custom_msg({"aim": aim}, [])


def test_in_a_kernel_it_looks_around_from_where_it_stands(asked: list[float]) -> None:
    async def moves() -> None:
        mine = panel(asked)
        shown, control = mine.widget().children[-1], mine.controls["x"]
        control.value = 2
        assert asked == [0, 2]
        await asked_in_the_end(asked, [0, 2, 3, 1, 4, 5])
        control.value = 1
        assert shown.shown["text"] == "x is 1"
        control.value = 5
        assert "too far" in shown.shown["text"]

    asyncio.run(asyncio.wait_for(moves(), 60))


def test_it_looks_around_where_a_hand_aims_until_it_leaves(asked: list[float]) -> None:
    async def rests() -> None:
        mine = panel(asked)
        control = mine.controls["x"]
        touch(control, 3.2)
        while len(asked) < 3:
            await asyncio.sleep(0.001)
        touch(control, None)
        await asked_in_the_end(asked, [0, 3, 4])

    asyncio.run(asyncio.wait_for(rests(), 60))


def test_outside_a_kernel_it_does_not(asked: list[float]) -> None:
    mine = panel(asked)
    mine.controls["x"].value = 1
    assert asked == [0, 1]
    assert mine.at(x=2).text == "x is 2"
