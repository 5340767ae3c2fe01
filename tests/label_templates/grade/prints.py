"""Made prints for grading: a symbol drawn with a known amount of one defect, and laid before a camera."""

import cv2
import numpy as np

from label_templates import symbols

INK, PAPER = 0.0, 1.0
TEXT = "P-K7-0042-0017-R"


def qr_modules(text=TEXT, level="Q", quiet=6):
    """True dark, with light all round."""
    return np.pad(np.array(symbols.qr(text, level=level).modules, bool), quiet)


def bar_modules(text=TEXT, quiet=14):
    return np.pad(np.array(symbols.code128(text).modules[0], bool), quiet)


def drawn(modules, dots, *, tall=None, ink=INK, paper=PAPER):
    """Reflectance, `dots` across a module; a row of bars is `tall` dots high, with as much light above and below as a module."""
    if modules.ndim == 1:
        bars = np.repeat(np.kron(modules, np.ones(dots, bool))[None], tall or 30 * dots, axis=0)
        dark = np.pad(bars, ((4 * dots, 4 * dots), (0, 0)))
    else:
        dark = np.kron(modules, np.ones((dots, dots), bool))
    return np.where(dark, ink, paper)


def fattened(print_, dots):
    """Dark grown by `dots` across and down: a bar that many dots wider; shrunk where `dots` is below nothing."""
    kernel = np.ones((abs(dots) + 1, abs(dots) + 1))
    grow = cv2.erode if dots > 0 else cv2.dilate
    return grow(print_, kernel, borderType=cv2.BORDER_REPLICATE)


def grey(print_):
    """The picture of a print as it is, a pixel a dot."""
    return np.clip(np.rint(print_ * 255), 0, 255).astype(np.uint8)


def photographed(print_, *, lean=0.0, turn=0.0, scale=1.0, far=6.0, noise=0.0, seed=1):
    """A photograph: leaning by degrees about the upright axis, then turned, from `far` times its width away."""
    tall, wide = print_.shape
    lean, turn = np.deg2rad(lean), np.deg2rad(turn)
    around = max(wide, tall)
    flat = np.array([(-wide, -tall), (wide, -tall), (wide, tall), (-wide, tall)], float) / 2
    depth = 1 + flat[:, 0] * np.sin(lean) / (far * around)
    seen = np.stack([flat[:, 0] * np.cos(lean) / depth, flat[:, 1] / depth], axis=1) * scale
    seen = seen @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    corner = seen.min(axis=0) - 12
    size = np.ceil(seen.max(axis=0) + 12 - corner).astype(int)
    matrix = cv2.getPerspectiveTransform(np.float32(flat + np.array([wide, tall]) / 2), np.float32(seen - corner))
    fine = 3
    grown = np.array([[fine, 0, (fine - 1) / 2], [0, fine, (fine - 1) / 2], [0, 0, 1]]) @ matrix
    picture = cv2.warpPerspective(print_, grown, tuple(size * fine), flags=cv2.INTER_LINEAR, borderValue=0.8)
    picture = cv2.resize(picture, tuple(size), interpolation=cv2.INTER_AREA)
    return grey(picture + np.random.default_rng(seed).normal(0, noise, picture.shape))
