"""Any picture made one that can be read: 8 bits, grey or BGR; or refused in words."""

import io
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image as Header
from PIL import UnidentifiedImageError

from scanner.decode import Image

LARGEST_PIXELS = 50_000_000
"""More than a telephone's camera takes; a frame of this size in BGR fills 150 MB."""
_MOST = f"at most {LARGEST_PIXELS // 10**6} million pixels"


class PictureError(Exception):
    """A picture that cannot be read: what it is, and what is needed."""


def as_picture(array: NDArray[Any]) -> Image:
    """`array` (height × width, × 1, 3 or 4, any number type) as 8-bit grey or BGR. Raises PictureError.

    See-through pixels become white, as paper under them would be. Other depths than 8 bits are stretched from their
    darkest to their brightest value, since nothing says how many of their bits a camera uses.
    """
    if array.ndim not in {2, 3} or (array.ndim == 3 and array.shape[2] not in {1, 3, 4}):
        raise PictureError(f"an array of {_size(array)} is no picture: height × width, and 1, 3 or 4 channels")
    check_size(array.shape[1], array.shape[0])
    if array.dtype != np.uint8:
        array = _stretched(array)
    if array.ndim == 3 and array.shape[2] == 1:
        return array[..., 0]
    return _over_white(array) if array.ndim == 3 and array.shape[2] == 4 else array


def check_size(wide: int, tall: int) -> None:
    """Raise PictureError for a picture without pixels, or with too many."""
    if wide < 1 or tall < 1:
        raise PictureError(f"a picture of {wide} × {tall} pixels holds nothing")
    if wide * tall > LARGEST_PIXELS:
        raise PictureError(f"a picture of {wide} × {tall} pixels is too large: {_MOST}")


def decoded(data: bytes) -> Image:
    """The picture that a PNG, JPEG … file holds, as `as_picture` makes it; its size is looked at before unpacking."""
    try:
        with Header.open(io.BytesIO(data)) as header:
            check_size(*header.size)
    except Header.DecompressionBombError as error:
        raise PictureError(f"a picture is too large: {_MOST}") from error
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as error:
        raise PictureError("a file is not a picture that can be read") from error
    found = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if found is None:
        raise PictureError("a file is not a picture that can be read")
    return as_picture(found)


def _size(array: NDArray[Any]) -> str:
    return " × ".join(str(side) for side in array.shape) or "no sides"


def _stretched(array: NDArray[Any]) -> Image:
    values = np.nan_to_num(array.astype(np.float32), posinf=0, neginf=0)
    low, high = float(values.min()), float(values.max())
    return ((values - low) * (255 / (high - low) if high > low else 0)).astype(np.uint8)


def _over_white(array: Image) -> Image:
    share = array[..., 3:].astype(np.float32) / 255
    return (array[..., :3] * share + 255 * (1 - share)).astype(np.uint8)
