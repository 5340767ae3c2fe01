"""A cycle drawn as inline SVG: axes with units, its phases, the plateau, pressure; readable without hovering."""

from html import escape

import numpy as np

from service.steam.cycle import Cycle, extremes
from service.steam.judge import Judgement
from service.steam.phases import Stretch
from service.steam.programme import Programme

WIDTH, HEIGHT = 900, 420
LEFT, RIGHT, TOP, BOTTOM = 64, 64, 64, 92
_LETTER = 7.4
"""Units that a letter is wide at most."""
_INK, _SOFT, _LINE = "var(--ink,#1b2430)", "var(--soft,#5a6573)", "var(--line,#d9d4c7)"
_GO, _STOP, _FOLD = "var(--go,#0b6b4f)", "var(--stop,#a3172b)", "var(--fold,#ebe6d9)"
FONT = "Atkinson Hyperlegible,ui-sans-serif,system-ui,sans-serif"
_MOST_POINTS = 1200


def ticks(low: float, high: float, about: int) -> list[float]:
    """Round values between `low` and `high`, about that many."""
    raw = max((high - low) / about, 1e-9)
    size = 10.0 ** np.floor(np.log10(raw))
    step = float(next(size * m for m in (1, 2, 5, 10) if size * m >= raw))
    first = np.ceil(low / step) * step
    return [float(v) for v in np.arange(first, high + step / 1000, step)]


def cycle_svg(cycle: Cycle, judgement: Judgement, programme: Programme, *, title: str) -> str:
    """The chart of a judged cycle, 900 × 420 units, scaling with its page; it also stands alone as a file."""
    minutes = cycle.seconds / 60
    first, last = float(minutes[0]), float(minutes[-1])
    low = min(float(cycle.temperature_c.min()), programme.set_c - 20) - 2
    high = max(float(cycle.temperature_c.max()), programme.set_c) + 6
    across, down = WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM

    def x(minute: float) -> float:
        return LEFT + (minute - first) / (last - first) * across

    def y(celsius: float) -> float:
        return TOP + (high - celsius) / (high - low) * down

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" font-family="{FONT}" font-size="14" fill="{_INK}">',
        f"<title>{escape(title)}: {judgement.verdict}</title>",
        f'<text x="{LEFT}" y="24" font-size="17" font-weight="700">{escape(title[:90])}</text>',
        f'<text x="{LEFT}" y="46">{_summary(judgement, programme)}</text>',
    ]
    for value in ticks(low, high, 8):
        parts.append(f'<path d="M{LEFT} {y(value):.1f}H{WIDTH - RIGHT}" stroke="{_LINE}"/>')
        parts.append(f'<text x="{LEFT - 8}" y="{y(value) + 5:.1f}" text-anchor="end" fill="{_SOFT}">{value:g}</text>')
    for value in ticks(first, last, 9):
        parts.append(f'<path d="M{x(value):.1f} {HEIGHT - BOTTOM}v6" stroke="{_INK}"/>')
        parts.append(
            f'<text x="{x(value):.1f}" y="{HEIGHT - BOTTOM + 22}" text-anchor="middle" fill="{_SOFT}">{value:g}</text>'
        )
    parts.append(f'<text x="8" y="{TOP - 4}" fill="{_SOFT}">°C</text>')
    parts.append(f'<text x="{WIDTH - RIGHT}" y="{HEIGHT - 8}" text-anchor="end" fill="{_SOFT}">minutes</text>')
    if judgement.plateau:
        left, right = x(judgement.plateau.start_s / 60), x(judgement.plateau.end_s / 60)
        parts.append(
            f'<rect x="{left:.1f}" y="{TOP}" width="{max(right - left, 1):.1f}" height="{down}" fill="{_FOLD}" opacity="0.8"/>'
        )
        anchor = "end" if left > WIDTH * 0.6 else "start"
        where = left - 8 if anchor == "end" else right + 8
        parts.append(
            f'<text x="{where:.1f}" y="{y(low) - 12:.1f}" text-anchor="{anchor}" font-weight="700">'
            f"{judgement.hold_s} s, {judgement.plateau.lowest_c:.1f} to {judgement.plateau.highest_c:.1f} °C</text>"
        )
    colour = _GO if judgement.verdict == "pass" else _STOP
    level = y(programme.set_c)
    parts.append(
        f'<path d="M{LEFT} {level:.1f}H{WIDTH - RIGHT}" stroke="{colour}" stroke-width="2" stroke-dasharray="6 5"/>'
    )
    parts.append(f'<text x="{LEFT + 8}" y="{level - 8:.1f}" fill="{colour}">programme at {programme.set_c:g} °C</text>')
    rows = extremes(cycle.temperature_c, _MOST_POINTS)
    if cycle.pressure_kpa is not None:
        parts += _pressure(cycle, rows, [x(minutes[i]) for i in rows])
    if cycle.second_c is not None:
        path = "L".join(f"{x(minutes[i]):.1f} {y(cycle.second_c[i]):.1f}" for i in rows)
        parts.append(f'<path d="M{path}" fill="none" stroke="{_SOFT}" stroke-width="2" stroke-dasharray="8 4"/>')
    path = "L".join(f"{x(minutes[i]):.1f} {y(cycle.temperature_c[i]):.1f}" for i in rows)
    parts.append(f'<path d="M{path}" fill="none" stroke="{_INK}" stroke-width="2.5" stroke-linejoin="round"/>')
    parts += [_phase(one, x(one.start_s / 60), x(one.end_s / 60)) for one in judgement.phases]
    parts.append(f'<path d="M{LEFT} {TOP}V{HEIGHT - BOTTOM}H{WIDTH - RIGHT}" fill="none" stroke="{_INK}"/>')
    parts.append("</svg>")
    return "".join(parts)


def _phase(phase: Stretch, left: float, right: float) -> str:
    """A phase as a bar below the axis, its name in it where there is room."""
    wide, top = max(right - left, 1), HEIGHT - BOTTOM + 34
    fill = _FOLD if phase.name == "plateau" else "none"
    drawn = f'<rect x="{left:.1f}" y="{top}" width="{wide:.1f}" height="22" fill="{fill}" stroke="{_SOFT}"/>'
    if len(phase.name) * _LETTER > wide:
        return f"<g><title>{phase.name}</title>{drawn}</g>"
    middle = left + wide / 2
    return f'{drawn}<text x="{middle:.1f}" y="{top + 16}" text-anchor="middle" fill="{_SOFT}">{phase.name}</text>'


def _pressure(cycle: Cycle, rows: np.ndarray, across: list[float]) -> list[str]:
    """The pressure as a dotted line, its scale to the right."""
    values = cycle.pressure_kpa if cycle.pressure_kpa is not None else cycle.temperature_c
    most = max(float(values.max()) * 1.05, 1.0)
    down = HEIGHT - TOP - BOTTOM

    def y(kpa: float) -> float:
        return HEIGHT - BOTTOM - kpa / most * down

    path = "L".join(f"{x:.1f} {y(float(values[i])):.1f}" for x, i in zip(across, rows.tolist(), strict=True))
    parts = [f'<path d="M{path}" fill="none" stroke="{_SOFT}" stroke-width="1.5" stroke-dasharray="2 4"/>']
    parts += [
        f'<text x="{WIDTH - RIGHT + 8}" y="{y(value) + 5:.1f}" fill="{_SOFT}">{value:g}</text>'
        for value in ticks(0.0, most, 5)
    ]
    return [*parts, f'<text x="{WIDTH - 4}" y="{TOP - 8}" text-anchor="end" fill="{_SOFT}">kPa, dotted</text>']


def _summary(judgement: Judgement, programme: Programme) -> str:
    need = f"{programme.hold_s} s at {programme.set_c:g} °C needed"
    return escape(
        f"{judgement.verdict}: {judgement.hold_s} s held, {need}; F0 {judgement.f0_min:.1f} min, not a validation"
    )
