"""Drawings on pages, as inline SVG: the round, the marks of the custody line, the verdict's shapes, a QR code."""

import math
from html import escape

from label_templates.symbols import Symbol, runs
from service.pages.views import Mark, Segment, Tile

_INNER, _OUTER, _MIDDLE = 138, 198, 290
_GAP = 0.02
_SHADES = ("#ddd6c4", "#e3decf", "#e8e4d8", "#e8e4d8", "#e3decf", "url(#waiting)", "#f0ede5", "#ddd6c4")

SHAPES = {
    "go": '<circle cx="60" cy="60" r="54" fill="currentColor"/><path d="M34 62l18 18 36-40" fill="none" '
    'stroke="var(--shape)" stroke-width="13" stroke-linecap="round" stroke-linejoin="round"/>',
    "ask": '<path d="M60 4l56 56-56 56L4 60z" fill="currentColor"/><path d="M45 47c1-11 8-16 16-16 9 0 16 6 16 14 0 12-16 12-16 '
    '25" fill="none" stroke="var(--shape)" stroke-width="10" stroke-linecap="round"/><circle cx="61" cy="86" r="7" '
    'fill="var(--shape)"/>',
    "stop": '<path d="M37 6h46l31 31v46l-31 31H37L6 83V37z" fill="currentColor"/><path d="M40 40l40 40M80 40L40 80" '
    'stroke="var(--shape)" stroke-width="13" stroke-linecap="round"/>',
    "not checked": '<circle cx="60" cy="60" r="48" fill="none" stroke="currentColor" stroke-width="12"/>',
}


def shape(verdict: str) -> str:
    """The shape of a verdict: disc with tick, diamond with question mark, octagon with cross, open ring."""
    return f'<svg class="shape" viewBox="0 0 120 120" aria-hidden="true">{SHAPES[verdict]}</svg>'


def _arc(start: float, end: float) -> str:
    def point(radius: float, angle: float) -> str:
        return f"{_MIDDLE + radius * math.sin(angle):.1f} {230 - radius * math.cos(angle):.1f}"

    big = 1 if end - start > math.pi else 0
    return (
        f"M{point(_OUTER, start)}A{_OUTER} {_OUTER} 0 {big} 1 {point(_OUTER, end)}"
        f"L{point(_INNER, end)}A{_INNER} {_INNER} 0 {big} 0 {point(_INNER, start)}Z"
    )


def the_round(segments: tuple[Segment, ...], total: int) -> str:
    """The circle of the work as a ring; every set a tile in its mark, a link to its pack."""
    weights = [max(len(segment.tiles), 1.6) for segment in segments]
    share = 2 * math.pi / sum(weights)
    parts = [(
        '<svg class="round" viewBox="-30 0 640 460" role="group" aria-label="Where every set is"><defs>'
        '<pattern id="waiting" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<path d="M0 0h9v9H0z" fill="#f6f4ee"/><path d="M0 0h4v9H0z" fill="#d8d1bf"/></pattern></defs>'
    )]  # fmt: skip
    angle = 0.0
    for segment, weight, shade in zip(segments, weights, _SHADES, strict=True):
        end = angle + weight * share
        parts.append(f'<path d="{_arc(angle + _GAP / 2, end - _GAP / 2)}" fill="{shade}"/>')
        parts += _tiles(segment.tiles, angle, end)
        parts.append(_name(segment, (angle + end) / 2))
        angle = end
    parts.append(f'<text x="{_MIDDLE}" y="240" text-anchor="middle" font-size="60" font-weight="700">{total}</text>')
    parts.append(f'<text x="{_MIDDLE}" y="266" text-anchor="middle" font-size="17">sets in the round</text></svg>')
    return "".join(parts)


def _name(segment: Segment, middle: float) -> str:
    x, y = _MIDDLE + 214 * math.sin(middle), 230 - 214 * math.cos(middle) + 5
    anchor = "start" if math.sin(middle) > 0.08 else "end" if math.sin(middle) < -0.08 else "middle"
    return f'<text x="{x:.0f}" y="{y:.0f}" text-anchor="{anchor}" font-weight="700">{segment.state} {len(segment.tiles)}</text>'


def _tiles(tiles: tuple[Tile, ...], start: float, end: float) -> list[str]:
    columns = max(1, math.ceil(len(tiles) / 2))
    parts = []
    for index, tile in enumerate(tiles):
        column, row = divmod(index, 2)
        angle = start + (end - start) * (column + 0.5) / columns
        radius = _OUTER - 18 if row == 0 else _INNER + 18
        if len(tiles) % 2 and index == len(tiles) - 1:
            radius = (_OUTER + _INNER) / 2
        x, y = _MIDDLE + radius * math.sin(angle), 230 - radius * math.cos(angle)
        title = escape(tile.name + (f": {tile.note}" if tile.note else ""))
        ring = ' class="needs"' if tile.note else ""
        parts.append(
            f'<a href="{escape(tile.link)}"{ring}><title>{title}</title>'
            f'<g transform="translate({x - 9:.1f} {y - 9:.1f})">{_mark(tile.pattern)}</g></a>'
        )
    return parts


def _mark(pattern: str) -> str:
    """A set's tile: 18 × 18, its mark's pattern in ink."""
    frame = (
        '<rect class="tile" width="18" height="18" rx="2" fill="var(--sheet)" stroke="var(--ink)" stroke-width="2"/>'
    )
    ink = 'fill="var(--ink)"'
    match pattern:
        case "solid":
            return f'<rect class="tile" width="18" height="18" rx="2" {ink} stroke="var(--ink)" stroke-width="2"/>'
        case "two bars":
            return f'{frame}<path d="M4 1h4v16H4zM11 1h4v16h-4z" {ink}/>'
        case "dots":
            return f'{frame}<circle cx="6" cy="6" r="2.5" {ink}/><circle cx="12.5" cy="12.5" r="2.5" {ink}/>'
        case "checks":
            return f'{frame}<path d="M1 1h8v8H1zM9 9h8v8H9z" {ink}/>'
        case "diagonals":
            return f'{frame}<path d="M2 16L16 2" stroke="var(--ink)" stroke-width="5"/>'
        case "waves":
            return f'{frame}<path d="M1 9c4-7 5-7 8 0s5 7 8 0" fill="none" stroke="var(--ink)" stroke-width="3"/>'
        case _:
            return frame


_STEPS = {
    "ring": '<circle cx="16" cy="16" r="12" fill="var(--sheet)" stroke="var(--ink)" stroke-width="5"/>',
    "bad": '<circle cx="16" cy="16" r="12" fill="var(--sheet)" stroke="var(--stop)" stroke-width="5"/><path d="M11 11l10 10M21 11L11 21" '
    'stroke="var(--stop)" stroke-width="3"/>',
    "override": '<circle cx="16" cy="16" r="13.5" fill="var(--sheet)" stroke="var(--stop)" stroke-width="5"/><circle cx="16" cy="16" r="5" '
    'fill="var(--stop)"/>',
    "opening": '<path d="M1 3h16l14 13-14 13H1z" fill="var(--ink)"/>',
    "gap": "",
    "news": '<path d="M16 2v18M7 16l9 14 9-14z" stroke="var(--stop)" stroke-width="5" fill="var(--stop)"/>',
}


def step_mark(kind: str) -> str:
    """The mark of a step on the custody line: a ring, a crossed one, a red one round a dot, an arrow; a gap has none."""
    return f'<svg viewBox="0 0 32 32" aria-hidden="true">{_STEPS[kind]}</svg>' if _STEPS[kind] else ""


def day_strip(marks: list[Mark], quiet: list[tuple[float, float, str]], ticks: list[str], said: str) -> str:
    """A day from left to right: a stroke for each fact, a crossed octagon for each refusal, hatching where nothing was."""
    left, wide = 24, 1032

    def x(at: float) -> float:
        return round(left + wide * at, 1)

    hatching = '<path d="M0 10L10 0" stroke="var(--soft)" stroke-width="2"/>'
    head = (
        f'<svg class="day" viewBox="0 0 1080 130" role="img" aria-label="{escape(said)}">'
        f'<defs><pattern id="still" width="10" height="10" patternUnits="userSpaceOnUse">{hatching}</pattern></defs>'
    )
    parts = [head]
    for start, end, words in quiet:
        width = round(x(end) - x(start), 1)
        parts.append(
            f'<rect x="{x(start)}" y="52" width="{width}" height="36" fill="url(#still)"><title>{escape(words)}</title></rect>'
        )
        if width > 90:
            middle = round((x(start) + x(end)) / 2, 1)
            parts.append(f'<text x="{middle}" y="42" text-anchor="middle" font-size="14">{escape(words)}</text>')
    parts.append(f'<path d="M{left} 88H{left + wide}" stroke="var(--ink)" stroke-width="3"/>')
    step = 1 + (len(ticks) - 1) // 13
    for number, words in enumerate(ticks):
        at = x(number / max(len(ticks) - 1, 1))
        parts.append(f'<path d="M{at} 88v8" stroke="var(--ink)" stroke-width="2"/>')
        if number % step == 0:
            parts.append(f'<text x="{at}" y="116" text-anchor="middle" font-size="14">{words}</text>')
    parts += [_day_mark(mark, x(mark.at)) for mark in sorted(marks, key=lambda mark: mark.kind == "refused")]
    return "".join(parts) + "</svg>"


def _day_mark(mark: Mark, x: float) -> str:
    if mark.kind == "refused":
        return (
            f'<path d="M{x} 88V26" stroke="var(--stop)" stroke-width="2"/><g transform="translate({x - 11} 4) scale(.1833)" color="var(--stop)" '
            f'class="refused">{SHAPES["stop"]}</g>'
        )
    dashes = ' stroke-dasharray="3 4"' if mark.kind == "undone" else ""
    return f'<path d="M{x} 88V58" stroke="var(--ink)" stroke-width="3"{dashes}/>'


def qr_svg(symbol: Symbol) -> str:
    """A QR code with its quiet zone, black on white in either theme."""
    side = symbol.width + 2 * symbol.quiet
    path = "".join(f"M{x + symbol.quiet} {y + symbol.quiet}h{length}v1h-{length}z" for x, y, length in runs(symbol))
    return (
        f'<svg class="qr" viewBox="0 0 {side} {side}" role="img" aria-label="{escape(symbol.text)}" shape-rendering="crispEdges">'
        f'<path d="M0 0h{side}v{side}H0z" fill="#fff"/><path d="{path}" fill="#000"/></svg>'
    )
