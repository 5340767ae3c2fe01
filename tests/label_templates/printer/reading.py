"""What arrived at a printer, as dots: read by programs that had no part in writing it."""

import ctypes
import ctypes.util
import io
import os

import numpy as np
import pypdfium2
import zxingcpp
from PIL import Image

_HEADER = 1796
_WIDTH, _HEIGHT, _BITS, _BYTES, _SPACE, _DPI = 372, 376, 388, 392, 400, 276
_WHITE = 18


def pages(path, dpi):
    """The pages of a document, each an array of rows, True where the paper stays white, and the dpi it is for."""
    return _of_pdf(path, dpi) if path.suffix == ".pdf" else _of_raster(path)


def _of_pdf(path, dpi):
    return [
        np.asarray(page.render(scale=dpi / 72, grayscale=True).to_numpy()).squeeze() > 127
        for page in pypdfium2.PdfDocument(path)
    ]


def _of_raster(path):
    """By the raster reader of the system's libcups."""
    cups = ctypes.CDLL(ctypes.util.find_library("cups") or "libcups.so.2")
    cups.cupsRasterOpen.restype = ctypes.c_void_p
    found, handle = [], os.open(path, os.O_RDONLY)
    raster = ctypes.c_void_p(cups.cupsRasterOpen(handle, 0))
    header = ctypes.create_string_buffer(_HEADER)
    while cups.cupsRasterReadHeader2(raster, header):
        at = lambda offset: int.from_bytes(header.raw[offset : offset + 4], "little")
        high, line = at(_HEIGHT), at(_BYTES)
        dots = ctypes.create_string_buffer(high * line)
        assert cups.cupsRasterReadPixels(raster, dots, high * line) == high * line
        rows = np.frombuffer(dots.raw, np.uint8).reshape(high, line)
        lit = np.unpackbits(rows, axis=1)[:, : at(_WIDTH)] > 0 if at(_BITS) == 1 else rows[:, : at(_WIDTH)] > 127
        found.append(lit if at(_SPACE) == _WHITE else ~lit)
    cups.cupsRasterClose(raster)
    os.close(handle)
    return found


def preview(png):
    return np.asarray(Image.open(io.BytesIO(png)))


def read(page):
    formats = (zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128)
    return [found.text for found in zxingcpp.read_barcodes((page * np.uint8(255)).copy(), formats=formats)]
