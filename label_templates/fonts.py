"""The fonts every label is set in, embedded so that a label looks the same from every printer."""

from functools import lru_cache
from importlib import resources

from PIL import Image, ImageDraw, ImageFont
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


@lru_cache(maxsize=16384)
def width(text: str, weight: str, size: int) -> float:
    """How wide `text` is, in dots: the wider of its picture and its PDF."""
    drawn = at_size(weight, size).getlength(text)
    return max(drawn, float(for_pdf(weight).stringWidth(text, size)))


def mono_width(text: str, size: int) -> float:
    """How wide `text` is in the monospace, whose letters are all alike."""
    return width("0" * len(text), "mono", size)


@lru_cache(maxsize=1024)
def letters(text: str, weight: str, size: int) -> tuple[Image.Image, int, int]:
    """The ink of a text (mode `1`, 1 is ink), and where its top left dot stands from the start of its baseline."""
    font = at_size(weight, size)
    left, top, right, bottom = (int(side) for side in font.getbbox(text, mode="1", anchor="ls"))
    image = Image.new("1", (max(1, right - left), max(1, bottom - top)), 0)
    pen = ImageDraw.Draw(image)
    pen.fontmode = "1"
    pen.text((-left, -top), text, font=font, fill=1, anchor="ls")
    return image, left, top


def ink(text: str, weight: str, size: int, x: int, y: int) -> tuple[int, int, int, int]:
    """The box (left, top, right, bottom, dots) of the ink of a text whose baseline begins at (x, y)."""
    image, left, top = letters(text, weight, size)
    return x + left, y + top, x + left + image.width, y + top + image.height


def check(text: str, weight: str) -> None:
    """Raise GlyphError naming the first character of `text` that the font does not have."""
    known = for_pdf(weight).face.charToGlyph
    for letter in text:
        if ord(letter) not in known or not letter.isprintable():
            raise GlyphError(f"the label's font has no sign for {letter!r} (U+{ord(letter):04X}): write it another way")
