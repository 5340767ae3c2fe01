"""A control chart drawn as inline SVG: the values above, their moving ranges below, every limit with its value."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from service.steam.charts import FONT, ticks
from service.steam.control import Chart
from service.steam.cycle import Series

WIDTH, HEIGHT = 1000, 470
_LEFT, _RIGHT = 64, 150
_UPPER, _LOWER = (56, 290), (336, 420)
"""Top and bottom of the chart of values, and of the chart of ranges."""
_INK, _SOFT = "var(--ink,#1b2430)", "var(--soft,#5a6573)"
_STOP, _FOLD, _SHEET = "var(--stop,#a3172b)", "var(--fold,#ebe6d9)", "var(--sheet,#fffdf8)"
_MOST_DOTS = 150
"""A longer series is a line without dots; what lies outside keeps its mark."""
_MOST_DATES = 8
_APART = 110
"""Units between two written values, so that none covers another."""
_LINE_HEIGHT = 17
_LIMITS = ("lower limit {value}", "mean {value}", "upper limit {value}")


@dataclass(frozen=True, slots=True)
class Shown:
    """What stands beside a chart: its title, the unit of its values and their decimals, a label for each value."""

    title: str
    unit: str
    decimals: int
    labels: Sequence[str]


def control_svg(chart: Chart, shown: Shown) -> str:
    """The chart, scaling with its page; it also stands alone as a file."""
    limits = chart.limits
    outside = {signal.at for signal in chart.signals}
    marked = sorted(outside), sorted(chart.wide)
    summary = _summary(chart, shown, len(outside))
    values = _Panel(chart.values, _UPPER, shown, (limits.lower, limits.mean, limits.upper))
    ranges = _Panel(
        np.concatenate(([np.nan], chart.ranges)), _LOWER, shown, (0.0, limits.mean_range, limits.range_upper)
    )
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" font-family="{FONT}" '
        f'font-size="14" fill="{_INK}"><title>{escape(shown.title)}</title><desc>{escape(summary)}</desc>'
    )
    return "".join(
        (
            head,
            _loud(_LEFT, 20, shown.title),
            _text(_LEFT, 42, summary, _SOFT),
            *_baseline(chart, values.x),
            *values.drawn(marked[0], (shown.unit, *_LIMITS), "outside {value}"),
            _text(_LEFT, _LOWER[0] - 8, "Moving range: how far from the value before", _SOFT),
            *ranges.drawn(marked[1], ("", "", *_LIMITS[1:]), "jump {value}"),
            *_dates(shown.labels, values.x),
            "</svg>",
        )
    )


def _summary(chart: Chart, shown: Shown, outside: int) -> str:
    limits = chart.limits
    lower, mean, upper = (f"{value:.{shown.decimals}f}" for value in (limits.lower, limits.mean, limits.upper))
    latest = f"{chart.values[-1]:.{shown.decimals}f}"
    return (
        f"{len(chart.values)} loads, {outside} outside (rules: {chart.rules.name}). "
        f"Mean {mean}, limits {lower} to {upper}, latest {latest} {shown.unit}."
    )


def _text(x: float, y: float, words: str, colour: str = _INK, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{colour}">{escape(words)}</text>'


def _loud(x: float, y: float, words: str, colour: str = _INK, anchor: str = "start") -> str:
    """Text in bold with a rim of the sheet's colour, so that a line behind it does not cross it."""
    rim = f'paint-order="stroke" stroke="{_SHEET}" stroke-width="4" font-weight="700"'
    return f"<text {rim} {_text(x, y, words, colour, anchor).removeprefix('<text ')}"


def _baseline(chart: Chart, x: Callable[[float], float]) -> list[str]:
    """The stretch that the limits were drawn from, shaded."""
    first, end, _ = chart.baseline.indices(len(chart.values))
    left, right = x(first), x(end - 1)
    top, bottom = _UPPER
    return [
        f'<rect x="{left:.1f}" y="{top}" width="{right - left:.1f}" height="{bottom - top}" fill="{_FOLD}"/>',
        _text(left + 4, bottom - 6, "baseline", _SOFT),
    ]


class _Panel:
    """One of the two charts: `series` between the two heights, with its limits drawn and written."""

    def __init__(self, series: Series, heights: tuple[int, int], shown: Shown, limits: tuple[float, ...]) -> None:
        self.series, self.shown, self.limits = series, shown, limits
        self.top, self.bottom = heights
        low, high = min(float(np.nanmin(series)), limits[0]), max(float(np.nanmax(series)), limits[-1])
        room = (high - low) * 0.14
        self.low, self.high = max(low - room, 0.0) if limits[0] == 0 else low - room, high + room

    def x(self, at: float) -> float:
        return _LEFT + 10 + at / max(len(self.series) - 1, 1) * (WIDTH - _LEFT - _RIGHT - 20)

    def y(self, value: float) -> float:
        return self.bottom - (value - self.low) / (self.high - self.low) * (self.bottom - self.top)

    def drawn(self, marked: list[int], names: tuple[str, ...], word: str) -> list[str]:
        """The chart; `names` are the unit and what each limit is called, `word` what a mark is, with its {value}."""
        unit, *lines = names
        parts = [*self._axis(unit), *self._limits(lines)]
        seen = np.flatnonzero(~np.isnan(self.series)).tolist()
        path = "L".join(f"{self.x(at):.1f} {self.y(self.series[at]):.1f}" for at in seen)
        parts.append(f'<path d="M{path}" fill="none" stroke="{_INK}" stroke-width="1.5" stroke-linejoin="round"/>')
        if len(seen) <= _MOST_DOTS:
            dots = "".join(
                f"M{self.x(at) - 3.5:.1f} {self.y(self.series[at]):.1f}a3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0 -7 0"
                for at in seen
                if at not in marked
            )
            parts.append(f'<path d="{dots}" fill="{_INK}"/>')
        return [*parts, *(self._mark(at) for at in marked), *self._written(marked, word)]

    def _axis(self, unit: str) -> list[str]:
        found = []
        for value in ticks(self.low, self.high, 5 if self.bottom - self.top > 100 else 3):
            found.append(f'<path d="M{_LEFT} {self.y(value):.1f}h-6" stroke="{_INK}"/>')
            found.append(_text(_LEFT - 10, self.y(value) + 5, f"{value:g}", _SOFT, "end"))
        axis = f"M{_LEFT} {self.top}V{self.bottom}H{WIDTH - _RIGHT}"
        found.append(f'<path d="{axis}" fill="none" stroke="{_INK}"/>')
        return [*found, _text(_LEFT - 10, self.top - 8, unit, _SOFT, "end")] if unit else found

    def _limits(self, names: list[str]) -> list[str]:
        found, middle = [], self.y(self.limits[1])
        for value, name, aside in zip(self.limits, names, (1, 0, -1), strict=True):
            if name:
                dashes = ' stroke-dasharray="7 5"' if aside else ""
                height = self.y(value)
                found.append(f'<path d="M{_LEFT} {height:.1f}H{WIDTH - _RIGHT}" stroke="{_SOFT}"{dashes}/>')
                apart = max((height - middle) * aside, _LINE_HEIGHT) * aside if aside else 0.0
                words = name.format(value=f"{value:.{self.shown.decimals}f}")
                found.append(_text(WIDTH - _RIGHT + 8, middle + apart + 5, words))
        return found

    def _mark(self, at: int) -> str:
        """A value outside: a diamond, never only a colour."""
        x, y = self.x(at), self.y(self.series[at])
        shape = f"M{x:.1f} {y - 8:.1f}l8 8l-8 8l-8 -8z"
        return f'<path d="{shape}" fill="{_SHEET}" stroke="{_STOP}" stroke-width="3" class="outside"/>'

    def _written(self, marked: list[int], word: str) -> list[str]:
        """The value and the word beside each mark that has room, the latest first."""
        found, last = [], float("inf")
        for at in reversed(marked):
            x, value = self.x(at), self.series[at]
            if last - x >= _APART:
                last = x
                near = [self.y(self.series[other]) for other in marked if x - _APART < self.x(other) <= x]
                height = min(near) - 14 if value >= self.limits[1] else max(near) + 26
                words = word.format(value=f"{value:.{self.shown.decimals}f}")
                anchor = "end" if x > WIDTH / 4 else "start"
                found.append(_loud(x + 8, max(height, self.top - 9), words, _STOP, anchor))
        return found


def _dates(labels: Sequence[str], x: Callable[[float], float]) -> list[str]:
    step = -(-len(labels) // _MOST_DATES)
    found = []
    for at in range(0, len(labels), step):
        found.append(f'<path d="M{x(at):.1f} {_LOWER[1]}v6" stroke="{_INK}"/>')
        found.append(_text(x(at), _LOWER[1] + 24, labels[at], _SOFT, "middle"))
    return found
