"""The made corpus: symbols of our own before a camera, spoilt in one way at a time, in steps, and the step half of them survive.

Nothing here is a photograph: each damage is the simplest picture of what its name says, so that a reader can be told what
it bears and how much. Amounts are in units of the symbol (modules, percent of its area, degrees), not of the picture.
"""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from label_templates import codes, symbols

FINE = 3
"""Points across a pixel when a picture is drawn; a camera's pixel is their mean."""
PIXELS = {"QR": 4.0, "CODE128": 2.5}
"""Pixels a module has where nothing else is said."""
INK, PAPER, BENCH = 35.0, 215.0, 120.0
_PIECE = 12
"""Square modules of each of many small things that lie on a symbol."""
CHARACTER = 11
"""Modules of a Code 128's characters but the stop, which has 13 (ISO/IEC 15417)."""
BAR_ROWS = 30
"""Modules a Code 128's bars are tall."""


@dataclass
class Shot:
    """What is before the camera: levels of the drawn symbol, how it is laid into the picture, and what the camera does."""

    flat: np.ndarray
    """Levels of the label, `per` points a module: paper, quiet zone and symbol."""
    box: tuple[float, float, float, float]
    """The symbol without its quiet zone, in points of `flat`: left, top, right, bottom."""
    per: int
    pixels: float
    turn: float
    rng: np.random.Generator
    lean: float = 0.0
    """Degrees by which the label leans away from the camera."""
    arc: float = 0.0
    """Degrees of a roll that the symbol's width covers."""
    crinkle: float = 0.0
    """Modules by which crinkled wrap moves the print."""
    light: Callable[[np.ndarray], np.ndarray] | None = None
    lens: Callable[[np.ndarray], np.ndarray] | None = None
    noise: float = 2.0
    covered: np.ndarray | None = None
    """0 to 1: how much of the contrast of each point of `flat` something has taken that lies on it."""


def code(rng):
    """A pack's code of site K7."""
    set_text = str(codes.set_code("K7", int(rng.integers(1, 9999))))
    return str(codes.pack_code(set_text, int(rng.integers(1, 9999))))


def shot(symbology, text, rng, per=8):
    """A symbol, whole and clean."""
    symbol = symbols.qr(text) if symbology == "QR" else symbols.code128(text)
    grid = np.array(symbol.modules, bool)
    if symbology == "CODE128":
        grid = np.repeat(grid, BAR_ROWS, axis=0)
    margin = symbol.quiet + 2
    grid = np.pad(grid, margin)
    flat = np.where(np.kron(grid, np.ones((per, per), bool)), INK, PAPER).astype(np.float32)
    low, tall, wide = margin * per, flat.shape[0], flat.shape[1]
    return Shot(flat, (low, low, wide - low, tall - low), per, PIXELS[symbology], float(rng.uniform(-6, 6)), rng)


def taken(one):
    """The picture: height × width, 8-bit grey."""
    return _exposed(one, _drawn(one))


def _drawn(one):
    """What falls into the lens, `FINE` points across a pixel."""
    tall, wide = one.flat.shape
    scale = one.pixels / one.per
    turn, lean = np.deg2rad(one.turn), np.deg2rad(one.lean)
    reach = np.hypot(wide, tall) * scale * 0.5
    side_x = int(np.ceil(abs(wide * scale * np.cos(turn)) + abs(tall * scale * np.sin(turn)))) + 40
    side_y = int(np.ceil(abs(wide * scale * np.sin(turn)) + abs(tall * scale * np.cos(turn)))) + 40
    shift = one.rng.uniform(-3, 3, 2)
    v, u = np.mgrid[0 : side_y * FINE, 0 : side_x * FINE].astype(np.float32)
    x = (u + 0.5) / FINE - side_x / 2 - shift[0]
    y = (v + 0.5) / FINE - side_y / 2 - shift[1]
    x, y = x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn)
    if one.lean:  # a label turned about its upright axis, seen from four times its size away
        far = 8 * reach
        depth = np.cos(lean) - x * np.sin(lean) / far
        x, y = x / depth, y * (1 + (x / depth) * np.sin(lean) / far)
    if one.arc:  # a label round an upright roll, seen from afar
        half = (one.box[2] - one.box[0]) * scale / 2
        radius = half / np.deg2rad(one.arc / 2)
        x = np.where(np.abs(x) < radius, radius * np.arcsin(np.clip(x / radius, -1, 1)), 1e6)
    if one.crinkle:
        rough = one.rng.normal(0, 1, (2, max(3, side_y // 24), max(3, side_x // 24))).astype(np.float32)
        moved = [cv2.resize(part, (side_x * FINE, side_y * FINE), interpolation=cv2.INTER_CUBIC) for part in rough]
        x, y = x + moved[0] * one.crinkle * one.pixels, y + moved[1] * one.crinkle * one.pixels
    x, y = x / scale + wide / 2 - 0.5, y / scale + tall / 2 - 0.5
    return cv2.remap(
        one.flat,
        x.astype(np.float32),
        y.astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=BENCH,
    )


def _exposed(one, fine):
    """What the camera makes of it."""
    tall, wide = fine.shape
    picture = cv2.resize(fine, (wide // FINE, tall // FINE), interpolation=cv2.INTER_AREA)
    if one.light:
        picture = one.light(picture)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.5)
    if one.lens:
        picture = one.lens(picture)
    picture = picture + one.rng.normal(0, one.noise, picture.shape)
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8)


def _patch(one, percent, paint):
    """Paint over about `percent` of the symbol's area: an ellipse or a slanted square, somewhere on it."""
    left, top, right, bottom = one.box
    area = (right - left) * (bottom - top) * percent / 100
    middle = one.rng.uniform((left, top), (right, bottom))
    cover = np.zeros(one.flat.shape, np.float32)
    stretch = one.rng.uniform(0.7, 1.4)
    axes = np.sqrt(area / np.pi) * np.array([stretch, 1 / stretch])
    inside = np.zeros_like(cover)
    cv2.rectangle(inside, (int(left), int(top)), (int(right) - 1, int(bottom) - 1), 1, -1)
    for _ in range(6):  # what hangs over the edge does not count: grow until the share within is right
        cover[:] = 0
        cv2.ellipse(
            cover, tuple(map(int, middle)), tuple(map(int, np.maximum(axes, 1))), one.rng.uniform(0, 180), 0, 360, 1, -1
        )
        share = float((cover * inside).sum())
        if share >= area * 0.97:
            break
        axes = axes * np.sqrt(min(4, area / max(share, 1)))
    _painted(one, cover, paint)


def _small(one, percent, paint):
    """Paint over about `percent` of the symbol's area in round pieces of some four modules across that may overlap."""
    left, top, right, bottom = one.box
    cover = np.zeros(one.flat.shape, np.float32)
    for _ in range(max(1, round(-np.log1p(-percent / 100) * (right - left) * (bottom - top) / _PIECE / one.per**2))):
        place = one.rng.uniform((left, top), (right, bottom))
        wide = np.sqrt(_PIECE / np.pi) * one.per * one.rng.uniform(0.8, 1.2)
        cv2.circle(cover, tuple(map(int, place)), int(wide), 1, -1)
    _painted(one, cover, paint)


def _painted(one, cover, paint):
    one.flat = paint(one.flat, cover)
    left = paint(np.full_like(cover, PAPER), cover) - paint(np.full_like(cover, INK), cover)
    one.covered = np.maximum(0.0 if one.covered is None else one.covered, 1 - left / (PAPER - INK))


def _module_size(one, amount):
    one.pixels = amount


def _defocus(one, amount):
    radius = amount * one.pixels
    size = int(np.ceil(radius)) * 2 + 3
    v, u = np.mgrid[-size : size + 1, -size : size + 1]
    disc = np.clip(radius + 0.5 - np.hypot(u, v), 0, 1).astype(np.float32)
    one.lens = lambda picture: cv2.filter2D(picture, -1, disc / disc.sum(), borderType=cv2.BORDER_REPLICATE)


def _motion(one, amount):
    length, way = amount * one.pixels, one.rng.uniform(0, np.pi)
    size = int(np.ceil(length / 2)) + 2
    kernel = np.zeros((2 * size + 1, 2 * size + 1), np.float32)
    for step in np.linspace(-length / 2, length / 2, 64):
        x, y = size + step * np.cos(way), size + step * np.sin(way)
        c, r = int(x), int(y)
        for dx, dy in ((0, 0), (1, 0), (0, 1), (1, 1)):
            kernel[r + dy, c + dx] += (1 - abs(x - c - dx)) * (1 - abs(y - r - dy))
    one.lens = lambda picture: cv2.filter2D(picture, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REPLICATE)


def _perspective(one, amount):
    one.lean = amount * one.rng.choice([-1, 1])


def _cylinder(one, amount):
    one.arc = amount


def _crinkle(one, amount):
    one.crinkle = amount


def _burn(one):
    def burn(flat, cover):
        soft = cv2.GaussianBlur(cover, (0, 0), one.per * 0.7)
        return np.maximum(flat, np.minimum(flat + 500 * soft, 255)).astype(np.float32)

    return burn


def _glare(one, amount):
    _patch(one, amount, _burn(one))


def _highlights(one, amount):
    """A ring light on crumpled wrap: many small reflections."""
    _small(one, amount, _burn(one))


def _shadow(one, amount):
    """The share of light that a hard shadow over half the label takes."""
    way = one.rng.uniform(0, 2 * np.pi)

    def fall(picture):
        v, u = np.mgrid[0 : picture.shape[0], 0 : picture.shape[1]]
        side = (u - picture.shape[1] / 2) * np.cos(way) + (v - picture.shape[0] / 2) * np.sin(way)
        return picture * (1 - amount * np.clip(side / 4 + 0.5, 0, 1)).astype(np.float32)

    one.light = fall


def _noise(one, amount):
    one.noise = amount


def _contrast(one, amount):
    """Ink steam-faded: levels between paper and ink, of 255."""
    one.flat = PAPER - (PAPER - one.flat) * np.float32(amount / (PAPER - INK))


def _void_lines(one, amount):
    """Percent of the printer's dots that are dead: white lines along the way the label is fed."""
    dots = np.arange(0, one.flat.shape[0], one.per // 4)
    dead = one.rng.random(dots.size) < amount / 100
    for dot in dots[dead]:
        one.flat[dot : dot + one.per // 4] = PAPER


def _torn(one, amount):
    """Percent of the symbol torn off at one side."""
    left, top, right, bottom = one.box
    tall, wide = one.flat.shape
    v, u = np.mgrid[0:tall, 0:wide]
    rough = np.cumsum(one.rng.normal(0, 0.6, max(tall, wide)))
    side = one.rng.integers(0, 4)
    if side == 0:
        gone = u < left + (right - left) * amount / 100 + rough[v]
    elif side == 1:
        gone = u > right - (right - left) * amount / 100 + rough[v]
    elif side == 2:
        gone = v < top + (bottom - top) * amount / 100 + rough[u]
    else:
        gone = v > bottom - (bottom - top) * amount / 100 + rough[u]
    one.flat = np.where(gone, np.float32(BENCH), one.flat)


def _stains(one, amount):
    for _ in range(4):
        _patch(one, amount / 4, lambda flat, cover: flat * (1 - 0.75 * cover))


def _hide(one):
    level = np.float32(one.rng.uniform(40, 200))
    return lambda flat, cover: np.where(cover > 0, level, flat)


def _occlusion(one, amount):
    _patch(one, amount, _hide(one))


def _spatter(one, amount):
    """Drops and scraps: many small things that lie on it."""
    _small(one, amount, _hide(one))


def _tape(one, amount):
    """Tape over the whole symbol: a haze that lifts the ink by this share of the contrast, and ripples that shine."""
    v, u = np.mgrid[0 : one.flat.shape[0], 0 : one.flat.shape[1]].astype(np.float32)
    way, wave = one.rng.uniform(0, np.pi), one.per * one.rng.uniform(3, 6)
    ripple = 0.5 + 0.5 * np.sin((u * np.cos(way) + v * np.sin(way)) / wave * 2 * np.pi + one.rng.uniform(0, 6))
    one.flat = one.flat + (PAPER - one.flat) * np.float32(amount) + 60 * np.float32(amount) * ripple**4


@dataclass(frozen=True)
class Damage:
    """A way to spoil a symbol: its steps from mild to hard, and what the amount counts."""

    spoil: Callable[[Shot, float], None]
    unit: str
    qr: tuple[float, ...]
    code128: tuple[float, ...]

    def steps(self, symbology):
        return self.qr if symbology == "QR" else self.code128


def _steps(first, last, count):
    return tuple(float(value) for value in np.round(np.geomspace(first, last, count), 4))


_ROLLED = (*range(30, 180, 10), *range(180, 192, 2))
"""Degrees of a roll that a symbol covers: beyond 180 its ends are out of sight."""
DAMAGES = {
    "module size": Damage(_module_size, "pixels", _steps(3.0, 0.9, 16), _steps(2.0, 0.45, 16)),
    "defocus": Damage(_defocus, "modules", _steps(0.4, 2.5, 14), _steps(0.4, 4, 14)),
    "motion": Damage(_motion, "modules", _steps(0.5, 5, 14), _steps(0.5, 10, 14)),
    "perspective": Damage(_perspective, "degrees", tuple(range(20, 85, 5)), tuple(range(20, 85, 5))),
    "cylinder": Damage(_cylinder, "degrees", _ROLLED, _ROLLED),
    "crinkle": Damage(_crinkle, "modules", _steps(0.1, 2, 12), _steps(0.1, 3, 12)),
    "glare": Damage(_glare, "percent", _steps(1, 60, 16), _steps(1, 90, 16)),
    "highlights": Damage(_highlights, "percent", _steps(1, 60, 16), _steps(1, 90, 16)),
    "shadow": Damage(_shadow, "share", (0.5, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97, 0.98, 0.99), (0.5, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97, 0.98, 0.99)),
    "noise": Damage(_noise, "levels", _steps(10, 300, 16), _steps(10, 300, 16)),
    "contrast": Damage(_contrast, "levels", _steps(60, 1.5, 14), _steps(60, 1.5, 14)),
    "void lines": Damage(_void_lines, "percent", _steps(3, 80, 14), _steps(3, 95, 14)),
    "torn": Damage(_torn, "percent", _steps(1, 50, 14), _steps(1, 50, 14)),
    "stains": Damage(_stains, "percent", _steps(2, 90, 14), _steps(2, 90, 14)),
    "occlusion": Damage(_occlusion, "percent", (*_steps(0.5, 45, 16), 52.0, 60.0), _steps(0.5, 90, 16)),
    "spatter": Damage(_spatter, "percent", _steps(0.5, 60, 16), _steps(0.5, 90, 16)),
    "tape": Damage(_tape, "share", (0.3, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97, 0.98), (0.3, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97, 0.98)),
}  # fmt: skip
ANGLES = tuple(range(0, 180, 5))
"""Degrees by which a Code 128 is turned."""


def _spoilt(symbology, damage, amount, seed):
    """A symbol spoilt in one way, and the code in it."""
    rng = np.random.default_rng([seed, int(amount * 1000), *damage.encode()])
    text = code(rng)
    one = shot(symbology, text, rng)
    DAMAGES[damage].spoil(one, amount)
    return one, text


def trial(symbology, damage, amount, seed):
    """A picture and the code in it: the same for the same seed, whoever reads it."""
    one, text = _spoilt(symbology, damage, amount, seed)
    return taken(one), text


def turned(angle):
    """A whole Code 128 turned by so many degrees, and the code in it."""
    rng = np.random.default_rng(angle)
    text = code(rng)
    one = shot("CODE128", text, rng)
    one.turn = float(angle)
    return taken(one), text


def frames(symbology, damage, amount, seed, count):
    """`count` pictures of one still label, each with noise of its own."""
    one, text = _spoilt(symbology, damage, amount, seed)
    return [taken(one) for _ in range(count)], text


def trembling(symbology, damage, amount, seed, count):
    """`count` pictures of one label that moves by less than a pixel, each with noise of its own; drawn but once."""
    one, text = _spoilt(symbology, damage, amount, seed)
    fine = _drawn(one)
    tall, wide = (side - FINE for side in fine.shape)
    places = one.rng.integers(0, FINE, (count, 2))
    return [_exposed(one, fine[top : top + tall, left : left + wide]) for top, left in places], text


def hidden_characters(damage, amount, seed):
    """Characters of a Code 128 of which a module or more is nowhere to be seen: covered over the bars' whole height."""
    one, _ = _spoilt("CODE128", damage, amount, seed)
    left, top, right, bottom = map(int, one.box)
    seen = (1 - one.covered[top:bottom, left:right]).sum(axis=0).reshape(-1, one.per).mean(axis=1) >= one.per
    gone = np.flatnonzero(~seen) // CHARACTER
    return len(set(np.minimum(gone, len(seen) // CHARACTER - 1)))


def fifty(read, symbology, damage, trials=20, take=trial):
    """(the amount at which half are read, misreads): `read` gives the texts of what `take` takes, as `trial` does.

    The amount lies between two steps by straight line; they are tried from mild to hard until two in a row read nothing.
    """
    last, share, misreads, nothing = None, 1.0, 0, 0
    point = None
    for amount in DAMAGES[damage].steps(symbology):
        hits = 0
        for seed in range(trials):
            picture, text = take(symbology, damage, amount, seed)
            texts = set(read(picture))
            hits += text in texts
            misreads += len(texts - {text})
        now = hits / trials
        if point is None and now < 0.5:
            point = amount if last is None else last + (amount - last) * (share - 0.5) / (share - now)
        last, share = amount, now
        nothing = nothing + 1 if hits == 0 else 0
        if nothing == 2:
            break
    return (last if point is None else point), misreads
