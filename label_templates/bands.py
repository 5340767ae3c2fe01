"""Bands: a mark's pattern along the short edge of a label, told apart without colour."""

_UP = (0, 2, 5, 9, 12, 14, 14, 12, 9, 5, 2, 0)
_PARTS = 20
"""A band's width is this many parts; patterns are drawn in them."""

Rectangle = tuple[int, int, int, int]
"""Left, top, width, height, in dots."""


def band(pattern: str, left: int, top: int, width: int, height: int) -> list[Rectangle]:
    """A pattern of `labels.PATTERNS` in a band of so many dots."""
    one = max(1, width // _PARTS)
    match pattern:
        case "solid":
            return [(left, top, width, height)]
        case "two bars":
            bar = 7 * one
            return [(left, top, bar, height), (left + width - bar, top, bar, height)]
        case "dots":
            return [(left + 4 * one, y, 12 * one, 12 * one) for y in _steps(top, height, 24 * one, 12 * one)]
        case "checks":
            side = 10 * one
            return [(left + side * (i % 2), y, side, side) for i, y in enumerate(_steps(top, height, side, side))]
        case "diagonals":
            rows = _steps(top, height, 2 * one, 2 * one)
            return [(left + ((y - top) // 2) % (width - 6 * one), y, 6 * one, 2 * one) for y in rows]
        case _:
            rows = _steps(top, height, 4 * one, 4 * one)
            return [(left + one * _UP[i % len(_UP)], y, 6 * one, 4 * one) for i, y in enumerate(rows)]


def _steps(top: int, height: int, step: int, tall: int) -> range:
    """Where rectangles `tall` high begin, `step` apart, none of them reaching over the end."""
    return range(top, top + height - tall + 1, step)
