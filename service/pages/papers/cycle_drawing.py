"""A judged cycle drawn for paper: temperature, the set temperature, the plateau, and pressure where it was logged."""

from typing import Any

import numpy as np
from reportlab.graphics.shapes import Drawing, Line, PolyLine, Rect, String
from reportlab.lib import colors

from service.pages.papers.paper import INK, LINE, SOFT, Say
from service.steam.charts import ticks
from service.steam.cycle import Series, extremes
from service.steam.judge import Judged

LEFT, RIGHT, TOP, BOTTOM = 30, 34, 12, 24
_FOLD = colors.HexColor("#ebe6d9")
_MOST_POINTS = 900


def cycle_drawing(judged: Judged, say: Say, *, wide: float, tall: float) -> Drawing:
    """The chart, `wide` × `tall` points: °C to the left, kPa absolute to the right, minutes below."""
    cycle, judgement, programme = judged.cycle, judged.found, judged.programme
    drawing = Drawing(wide, tall)
    minutes = cycle.seconds / 60
    low, high = float(cycle.temperature_c.min()) - 2, max(float(cycle.temperature_c.max()), programme.set_c) + 5
    across, up = wide - LEFT - RIGHT, tall - TOP - BOTTOM

    def x(values: Series | float) -> Any:
        return LEFT + (np.asarray(values) - minutes[0]) / (minutes[-1] - minutes[0]) * across

    def y(values: Series | float, least: float = low, most: float = high) -> Any:
        return BOTTOM + (np.asarray(values) - least) / (most - least) * up

    if judgement.plateau:
        left, right = float(x(judgement.plateau.start_s / 60)), float(x(judgement.plateau.end_s / 60))
        drawing.add(Rect(left, BOTTOM, max(right - left, 1), up, fillColor=_FOLD, strokeColor=None))
    for value in ticks(low, high, 6):
        drawing.add(Line(LEFT, float(y(value)), wide - RIGHT, float(y(value)), strokeColor=LINE, strokeWidth=0.3))
        drawing.add(_word(LEFT - 4, float(y(value)) - 2.5, f"{value:g}", "end"))
    for value in ticks(float(minutes[0]), float(minutes[-1]), 10):
        drawing.add(Line(float(x(value)), BOTTOM, float(x(value)), BOTTOM - 3, strokeColor=INK, strokeWidth=0.5))
        drawing.add(_word(float(x(value)), BOTTOM - 11, f"{value:g}", "middle"))
    drawing.add(_word(LEFT, tall - 8, "°C", "end"))
    drawing.add(_word(wide - RIGHT, 3, say("minutes"), "end"))
    level = float(y(programme.set_c))
    drawing.add(Line(LEFT, level, wide - RIGHT, level, strokeColor=INK, strokeWidth=0.8, strokeDashArray=[4, 3]))
    drawing.add(_word(LEFT + 4, level + 3, say(f"programme at {programme.set_c:g} °C"), "start"))
    if cycle.pressure_kpa is not None:
        most = max(float(cycle.pressure_kpa.max()) * 1.05, 1.0)
        drawing.add(_line(x(minutes), y(cycle.pressure_kpa, 0.0, most), 0.5, [1.5, 1.5]))
        for value in ticks(0.0, most, 4):
            drawing.add(_word(wide - RIGHT + 4, float(y(value, 0.0, most)) - 2.5, f"{value:g}", "start"))
        drawing.add(_word(wide - 2, tall - 8, say("kPa, dotted"), "end"))
    if cycle.second_c is not None:
        drawing.add(_line(x(minutes), y(cycle.second_c), 0.7, [5, 2]))
    drawing.add(_line(x(minutes), y(cycle.temperature_c), 1.2))
    drawing.add(PolyLine([LEFT, BOTTOM + up, LEFT, BOTTOM, wide - RIGHT, BOTTOM], strokeColor=INK, strokeWidth=0.6))
    return drawing


def _word(x: float, y: float, text: str, anchor: str) -> String:
    return String(x, y, text, fontName="foldmark-regular", fontSize=7.5, fillColor=SOFT, textAnchor=anchor)


def _line(x: Series, y: Series, width: float, dashes: list[float] | None = None) -> PolyLine:
    points = [float(value) for row in extremes(y, _MOST_POINTS).tolist() for value in (x[row], y[row])]
    ink = SOFT if dashes else INK
    return PolyLine(points, strokeColor=ink, strokeWidth=width, strokeDashArray=dashes, strokeLineJoin=1)
