"""Made prints for grading: a symbol drawn with a known amount of one defect, and laid before a camera."""

import cv2
import numpy as np

from label_templates import grade, symbols

INK, PAPER = 0.0, 1.0
TEXT = "P-K7-0042-0017-R"
QUIET = {"QR": 6, "CODE128": 14}
DOTS = 10
TALL = 20
"""Modules the bars are high."""


def squares(text=TEXT, level="Q"):
    """The modules of a QR code, True dark, with light all round."""
    return np.pad(np.array(symbols.qr(text, level=level).modules, bool), QUIET["QR"])


def bars(text=TEXT):
    """The modules of a Code 128, True dark, with light on both sides."""
    return np.pad(np.array(symbols.code128(text).modules[0], bool), QUIET["CODE128"])


def drawn(modules, dots=DOTS, *, tall=TALL, ink=INK, paper=PAPER):
    """Reflectance, `dots` across a module; bars are `tall` modules high, with as much free above and below as four."""
    if modules.ndim == 1:
        modules = np.pad(np.repeat(modules[None], tall, axis=0), ((4, 4), (0, 0)))
    return np.where(np.kron(modules, np.ones((dots, dots), bool)), np.float32(ink), np.float32(paper))


def runs_of(modules):
    """(start, length, dark) of each run of a row, in modules."""
    cuts = np.flatnonzero(np.diff(modules.astype(int))) + 1
    starts, ends = [0, *cuts], [*cuts, len(modules)]
    return [(int(a), int(b - a), bool(modules[a])) for a, b in zip(starts, ends, strict=True)]


def fattened(print_, dots):
    """Dark grown by `dots` across and down: a bar that many dots wider; shrunk where `dots` is below nothing."""
    kernel = np.ones((abs(dots) + 1, abs(dots) + 1))
    grow = cv2.erode if dots > 0 else cv2.dilate
    return grow(print_, kernel, borderType=cv2.BORDER_REPLICATE)


def blurred(print_, wide):
    """Each place the mean of `wide` dots across and down."""
    return cv2.blur(print_, (wide, wide), borderType=cv2.BORDER_REPLICATE)


def grey(print_):
    """The picture of a print as it is, a pixel a dot."""
    return np.clip(np.rint(print_ * 255), 0, 255).astype(np.uint8)


def graded(print_, **scale):
    """The one symbol of a print, graded."""
    (found,) = grade.grade(grey(print_), **scale)
    return found


def value(found, name):
    return next(one for one in found.parameters if one.name == name)


def photographed(print_, *, lean=0.0, turn=0.0, scale=1.0, far=6.0, noise=0.0, bench=0.8):
    """A photograph: leaning by degrees about the upright axis, then turned, from `far` times its width away."""
    tall, wide = print_.shape
    lean, turn = np.deg2rad(lean), np.deg2rad(turn)
    flat = np.array([(-wide, -tall), (wide, -tall), (wide, tall), (-wide, tall)], float) / 2
    depth = 1 + flat[:, 0] * np.sin(lean) / (far * max(wide, tall))
    seen = np.stack([flat[:, 0] * np.cos(lean) / depth, flat[:, 1] / depth], axis=1) * scale
    seen = seen @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    corner = seen.min(axis=0) - 12
    size = np.ceil(seen.max(axis=0) + 12 - corner).astype(int)
    matrix = cv2.getPerspectiveTransform(np.float32(flat + np.array([wide, tall]) / 2), np.float32(seen - corner))
    fine = 2
    grown = np.array([[fine, 0, (fine - 1) / 2], [0, fine, (fine - 1) / 2], [0, 0, 1]]) @ matrix
    picture = cv2.warpPerspective(print_, grown, tuple(int(side) for side in size * fine), borderValue=bench)
    picture = cv2.resize(picture, tuple(int(side) for side in size), interpolation=cv2.INTER_AREA)
    return grey(picture + noise * np.random.default_rng(1).standard_normal(picture.shape, np.float32))
