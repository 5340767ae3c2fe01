"""The fonts every label is set in, embedded so that a label looks the same from every printer."""

from functools import lru_cache
from importlib import resources

from PIL import ImageFont
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

FILES = {"regular": "DejaVuSans.ttf", "bold": "DejaVuSans-Bold.ttf", "mono": "DejaVuSansMono.ttf"}


class GlyphError(ValueError):
    """A character the fonts do not have."""


def _path(weight: str) -> str:
    return str(resources.files("label_templates").joinpath("vendor", "dejavu", FILES[weight]))


@lru_cache(maxsize=256)
def at_size(weight: str, size: int) -> ImageFont.FreeTypeFont:
    """The font at `size` dots to the em."""
    return ImageFont.truetype(_path(weight), size, layout_engine=ImageFont.Layout.BASIC)


@lru_cache
def for_pdf(weight: str) -> TTFont:
    """The font as reportlab embeds it, registered under `foldmark-<weight>`."""
    font = TTFont(f"foldmark-{weight}", _path(weight))
    pdfmetrics.registerFont(font)
    return font


@lru_cache(maxsize=65536)
def width(text: str, weight: str, size: int) -> float:
    """How wide `text` is, in dots: the wider of its picture and its PDF."""
    drawn = at_size(weight, size).getlength(text)
    return max(drawn, float(for_pdf(weight).stringWidth(text, size)))


@lru_cache(maxsize=4096)
def _ink(text: str, weight: str, size: int) -> tuple[int, int, int, int]:
    left, top, right, bottom = at_size(weight, size).getbbox(text, anchor="ls", mode="1")
    return int(left), int(top), int(right), int(bottom)


def ink(text: str, weight: str, size: int, x: int, y: int) -> tuple[int, int, int, int]:
    """The box (left, top, right, bottom, dots) of the ink of a text whose baseline begins at (x, y)."""
    left, top, right, bottom = _ink(text, weight, size)
    return x + left, y + top, x + right, y + bottom


def check(text: str, weight: str) -> None:
    """Raise GlyphError naming the first character of `text` that the font does not have."""
    known = for_pdf(weight).face.charToGlyph
    for letter in text:
        if ord(letter) not in known or not letter.isprintable():
            raise GlyphError(f"the label's font has no sign for {letter!r} (U+{ord(letter):04X}): write it another way")
