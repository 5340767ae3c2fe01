"""Symbols: the black and white modules of a QR code or a Code 128, with the quiet zone each needs."""

from dataclasses import dataclass
from functools import lru_cache

import qrcode
from barcode.codex import Code128
from qrcode.exceptions import DataOverflowError

QR_QUIET = 4
"""Modules on all sides: denso-wave.com/qrcode/qrgene4-e.html."""
CODE128_QUIET = 10
"""Modules on each side: GS1 General Specifications 5.4.4.2."""
_LEVELS = {
    "L": qrcode.constants.ERROR_CORRECT_L,
    "M": qrcode.constants.ERROR_CORRECT_M,
    "Q": qrcode.constants.ERROR_CORRECT_Q,
    "H": qrcode.constants.ERROR_CORRECT_H,
}


class SymbolError(ValueError):
    """A text that does not fit the symbol asked for."""


@dataclass(frozen=True, slots=True)
class Symbol:
    """Rows of modules, True black; a Code 128 has one row. `quiet` counts the modules to keep free."""

    text: str
    symbology: str
    modules: tuple[tuple[bool, ...], ...]
    quiet: int

    @property
    def width(self) -> int:
        """Modules across, without the quiet zone."""
        return len(self.modules[0])

    @property
    def height(self) -> int:
        return len(self.modules)


@lru_cache(maxsize=4096)
def qr(text: str, *, level: str = "Q", version: int | None = None) -> Symbol:
    """`text` as a QR code; the smallest version that holds it unless one is named. A pack code is version 1 at Q.

    Raises SymbolError when it does not fit.
    """
    code = qrcode.QRCode(version=version, error_correction=_LEVELS[level], border=0)
    code.add_data(text, optimize=0)
    try:
        code.make(fit=version is None)
    except (DataOverflowError, ValueError) as error:
        raise SymbolError(f"{text!r} does not fit a QR code of version {version} at level {level}") from error
    return Symbol(text, "QR", tuple(tuple(bool(cell) for cell in row) for row in code.modules), QR_QUIET)


@lru_cache(maxsize=4096)
def code128(text: str) -> Symbol:
    """`text` as a Code 128. Raises SymbolError for characters outside ASCII."""
    if not text or not text.isascii():
        raise SymbolError(f"{text!r} cannot be written in Code 128: letters, digits and signs of ASCII only")
    (row,) = Code128(text).build()
    return Symbol(text, "CODE128", (tuple(cell == "1" for cell in row),), CODE128_QUIET)


@lru_cache(maxsize=8192)
def runs(symbol: Symbol) -> tuple[tuple[int, int, int], ...]:
    """The black runs of a symbol: (column, row, length) in modules."""
    found = []
    for y, row in enumerate(symbol.modules):
        x = 0
        while x < len(row):
            if row[x]:
                start = x
                while x < len(row) and row[x]:
                    x += 1
                found.append((start, y, x - start))
            else:
                x += 1
    return tuple(found)
