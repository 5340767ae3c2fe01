"""A picture file opened for grading: upright, in colour, on white; or refused in words."""

import io
import logging
import warnings

import numpy as np
from PIL import Image, ImageOps, UnidentifiedImageError

from label_templates.grade.place import Grey, PictureError, check_size

logging.getLogger("PIL").addHandler(logging.NullHandler())  # a damaged file is told of once, in our words
_SCREEN_DPI = 100
"""Fewer dots an inch are what cameras and screens write without having measured anything. PRACTICE."""


def opened(data: bytes) -> Image.Image:
    """The picture in a PNG, JPEG, TIFF … file, mode RGB, turned as the camera was held; its size is looked at first.

    See-through pixels become white, as paper under them would be; deeper than 8 bits are brought to 8. `info` keeps the
    file's resolution. Raises PictureError.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what a damaged file makes Pillow murmur: it is read or refused
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            file = Image.open(io.BytesIO(data))
            check_size(*file.size)
            return _in_colour(ImageOps.exif_transpose(file))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise PictureError("the picture is too large: make it at most 50 million pixels") from error
    except (UnidentifiedImageError, OSError, SyntaxError, EOFError, ValueError) as error:
        raise PictureError("it is no picture that can be read: give a PNG, JPEG or TIFF file") from error


def grey(picture: Image.Image) -> Grey:
    """The picture as `grade` takes it."""
    return np.asarray(picture.convert("L"))


def dots_per_inch(picture: Image.Image) -> float | None:
    """The picture's own resolution, as a scanner or our own drawing writes it; None where it means nothing."""
    told = float(picture.info.get("dpi", (0, 0))[0])
    return told if told >= _SCREEN_DPI else None


def _in_colour(file: Image.Image) -> Image.Image:
    if file.mode in {"I", "F"} or file.mode.startswith("I;16"):
        found = Image.fromarray((np.asarray(file).astype(np.float64) / 257).clip(0, 255).astype(np.uint8))
    elif file.has_transparency_data:
        white = Image.new("RGBA", file.size, "white")
        found = Image.alpha_composite(white, file.convert("RGBA"))
    else:
        found = file
    found = found.convert("RGB")
    found.info = dict(file.info)
    return found
