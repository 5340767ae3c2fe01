"""Symbols: the black and white modules of a QR code or a Code 128, with the quiet zone each needs."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import zxingcpp

from label_templates import code128 as linear

QR_QUIET = 4
"""Modules on all sides: denso-wave.com/qrcode/qrgene4-e.html."""
CODE128_QUIET = 10
"""Modules on each side: GS1 General Specifications 5.4.4.2."""
_SMALLEST = 21


class SymbolError(ValueError):
    """A text that does not fit the symbol asked for."""


@dataclass(frozen=True, slots=True)
class Symbol:
    """Rows of modules, True black; a Code 128 has one row. `quiet` counts the modules to keep free."""

    text: str
    symbology: str
    modules: tuple[tuple[bool, ...], ...]
    quiet: int
    level: str = ""
    """A QR code's error correction."""

    @property
    def width(self) -> int:
        """Modules across, without the quiet zone."""
        return len(self.modules[0])

    @property
    def height(self) -> int:
        return len(self.modules)


@lru_cache(maxsize=256)
def qr(text: str, *, level: str = "Q", version: int | None = None) -> Symbol:
    """`text` as a QR code of the smallest version that holds it at `level`.

    What a label goes through decides the level: Q for one that goes into steam and is stained, M for one that stays on
    paper. It is not raised where there would be room: the scanner's rescue knows our codes at Q, and reads more of a
    spoilt one than a stronger level would save. A pack code is version 1 at Q.
    Raises SymbolError when it does not fit, or not into `version`.
    """
    made = _made(text, level)
    if version is not None and len(made) != _SMALLEST + 4 * (version - 1):
        raise SymbolError(f"{text!r} does not fit a QR code of version {version} at level {level}")
    return Symbol(text, "QR", made, QR_QUIET, level)


def _made(text: str, level: str) -> tuple[tuple[bool, ...], ...]:
    try:
        drawn = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.QRCode, ec_level=level)
    except ValueError as error:
        raise SymbolError(f"{text[:40]!r} does not fit a QR code at level {level}: it is too long") from error
    cells = np.asarray(drawn.to_image(scale=1, add_quiet_zones=False)) < 128
    return tuple(tuple(row) for row in cells.tolist())


@lru_cache(maxsize=256)
def code128(text: str) -> Symbol:
    """`text` as the shortest Code 128 there is. Raises SymbolError for characters outside ASCII."""
    try:
        values = linear.characters(text)
    except ValueError as error:
        raise SymbolError(str(error)) from error
    return Symbol(text, "CODE128", (linear.modules(values),), CODE128_QUIET)


@lru_cache(maxsize=256)
def runs(symbol: Symbol) -> tuple[tuple[int, int, int], ...]:
    """The black runs of a symbol: (column, row, length) in modules."""
    edges = np.diff(np.pad(np.array(symbol.modules, np.int8), ((0, 0), (1, 1))))
    rows, starts = np.nonzero(edges == 1)
    _, ends = np.nonzero(edges == -1)
    return tuple(zip(starts.tolist(), rows.tolist(), (ends - starts).tolist(), strict=True))
