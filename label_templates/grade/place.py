"""Where a symbol lies in a picture, and the picture's grey at any place of it.

Points are (x, y) in pixels from the picture's top left corner, so that the middle of the first pixel is (0.5, 0.5).
"""

from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
import zxingcpp
from numpy.typing import NDArray
from PIL import Image

Grey = NDArray[np.uint8]
Floats = NDArray[np.float64]
LARGEST_PIXELS = 50_000_000
"""More than a telephone's camera takes."""
_SEARCHED = 1600
"""Pixels of the longer side of a smaller copy: enough for a label that fills most of the picture."""
_PLAIN = {"QR": 12, "CODE128": 4}
"""Pixels of a module from which on a smaller copy shows all there is: bars beside a square may be a third as fine."""
_TURNED = (-10.0, 10.0, -20.0, 20.0, -30.0, 30.0)
_ASKEW = 3.0
"""Degrees by which bars may lie askew and still be read as they are."""
_FORMATS = zxingcpp.BarcodeFormats((zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128))


class PictureError(Exception):
    """What was given is no picture that can be graded."""


@dataclass(frozen=True, slots=True)
class Found:
    """A symbol as the stock decoder found it: `corners` 4 × 2 in pixels, from the symbol's own top left, clockwise."""

    text: str
    data: bytes
    symbology: str
    corners: Floats
    version: int
    level: str
    mask: int
    unused: float
    """Unused error correction as the decoder counts it."""

    @property
    def module(self) -> float:
        """About how many pixels a module is wide; a Code 128 may have fewer modules, and so wider ones."""
        along = float(np.linalg.norm(self.corners[1] - self.corners[0]))
        return along / (17 + 4 * self.version if self.symbology == "QR" else 11 * (len(self.text) + 3) + 2)


def check(image: Grey) -> None:
    """Raise PictureError unless `image` is 8-bit grey, height × width, with pixels and not too many."""
    if image.ndim != 2 or image.dtype != np.uint8:
        size = " × ".join(map(str, image.shape)) or "no sides"
        raise PictureError(f"an array of {size} ({image.dtype}) is not graded: give 8-bit grey, height × width")
    check_size(image.shape[1], image.shape[0])


def check_size(wide: int, tall: int) -> None:
    """Raise PictureError for a picture without pixels, or with more than 50 million."""
    if min(wide, tall) < 1:
        raise PictureError(f"a picture of {wide} × {tall} pixels holds nothing: photograph the label again")
    if wide * tall > LARGEST_PIXELS:
        most = LARGEST_PIXELS // 10**6
        raise PictureError(f"a picture of {wide} × {tall} pixels is too large: make it at most {most} million pixels")


def find(image: Grey) -> list[Found]:
    """The QR codes and Code 128s that a stock decoder reads in `image`, dark on light, from the top down.

    A large picture is read made smaller, where that leaves enough of all there can be. Bars that lie askew are read in
    turned copies of it: turned as its QR code is, or every way when it shows none.
    """
    found = _read_small(image) if max(image.shape) > 1.5 * _SEARCHED else []
    if not found or any(one.module < _PLAIN[one.symbology] for one in found):
        found = _read(image)
    for degrees in _turns(found):
        found += [one for one in _read_small(image, degrees) if not any(_same(one, other) for other in found)]
        if found:
            break
    return sorted(found, key=lambda one: tuple(one.corners.mean(axis=0)[::-1]))


def _read(image: Grey) -> list[Found]:
    results = zxingcpp.read_barcodes(image, formats=_FORMATS, try_invert=False, text_mode=zxingcpp.TextMode.Plain)
    return [_found(result) for result in results]


def _found(result: zxingcpp.Barcode) -> Found:
    at, extra = result.position, cast(dict[str, Any], result.extra or {})
    corners = [(p.x, p.y) for p in (at.top_left, at.top_right, at.bottom_right, at.bottom_left)]
    return Found(
        text=result.text,
        data=bytes(result.bytes),
        symbology="CODE128" if result.format == zxingcpp.BarcodeFormat.Code128 else "QR",
        corners=np.array(corners, np.float64),
        version=int(extra.get("Version", 0)),
        level=extra.get("ECLevel", ""),
        mask=extra.get("DataMask", 0),
        unused=extra.get("UEC", 0.0),
    )


def _turns(found: list[Found]) -> list[float]:
    """By how many degrees a picture is still worth turning, for bars beside a QR code or where nothing is read."""
    if not found:
        return list(_TURNED)
    if any(one.symbology == "CODE128" for one in found):
        return []
    x, y = found[0].corners[1] - found[0].corners[0]
    askew = (np.degrees(np.arctan2(y, x)) + 45) % 90 - 45
    return [float(askew)] if abs(askew) > _ASKEW else []


def _read_small(image: Grey, degrees: float = 0) -> list[Found]:
    """What is read in a copy of the picture, smaller where it is large, and turned; places are those in `image`."""
    tall, wide = image.shape
    shrunk = max(1, round(max(tall, wide) / _SEARCHED))
    small = Image.fromarray(image).reduce(shrunk)
    turned = small.rotate(degrees, Image.Resampling.BILINEAR, expand=True, fillcolor=255)
    angle = np.radians(degrees)
    back = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    middles = np.array(turned.size) / 2, np.array(small.size) / 2
    return [
        replace(one, corners=((one.corners - middles[0]) @ back.T + middles[1]) * shrunk)
        for one in _read(np.asarray(turned))
    ]


def _same(one: Found, other: Found) -> bool:
    apart = np.linalg.norm(one.corners.mean(axis=0) - other.corners.mean(axis=0))
    return (
        one.text == other.text and one.symbology == other.symbology and apart < np.ptp(other.corners, axis=0).max() / 2
    )


def homography(plane: Floats, picture: Floats) -> Floats:
    """The 3 × 3 matrix that takes four points of a plane (4 × 2) to their places in a picture: 8 linear equations."""
    (x, y), (u, v) = plane.T, picture.T
    zero, one = np.zeros(4), np.ones(4)
    rows = np.concatenate([
        np.stack([x, y, one, zero, zero, zero, -u * x, -u * y], axis=1),
        np.stack([zero, zero, zero, x, y, one, -v * x, -v * y], axis=1),
    ])  # fmt: skip
    return np.append(np.linalg.solve(rows, np.concatenate([u, v])), 1).reshape(3, 3)


def project(matrix: Floats, points: Floats) -> Floats:
    """`points` (… × 2) taken through a homography."""
    x, y = points[..., 0], points[..., 1]
    u, v, scale = (row[0] * x + row[1] * y + row[2] for row in matrix)
    return np.stack([u / scale, v / scale], axis=-1)


def sample(image: Grey, points: Floats) -> Floats:
    """The grey at `points` (… × 2), between pixels by the four about it; NaN outside the picture."""
    tall, wide = image.shape
    x, y = points[..., 0], points[..., 1]
    outside = (x < 0) | (x > wide) | (y < 0) | (y > tall)
    x, y = np.clip(x - 0.5, 0, wide - 1), np.clip(y - 0.5, 0, tall - 1)
    left, top = x.astype(np.int32), y.astype(np.int32)
    x, y = x - left, y - top
    right, low = np.minimum(left + 1, wide - 1), np.minimum(top + 1, tall - 1) * wide
    top *= wide
    a, b, c, d = (image.ravel().take(at) for at in (top + left, top + right, low + left, low + right))
    above, below = a + (b - a.astype(np.float32)) * x, c + (d - c.astype(np.float32)) * x
    grey = above + (below - above) * y
    grey[outside] = np.nan
    return np.asarray(grey)
