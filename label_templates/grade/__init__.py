"""Grading: what a drawn, scanned or photographed label is worth as print, in the manner of ISO/IEC 15416 and 15415.

A check by software on a picture that nothing was calibrated for; not a verification by an ISO instrument.
"""

from label_templates.grade.limits import LETTERS, letter
from label_templates.grade.linear import grade_code128
from label_templates.grade.matrix import grade_qr
from label_templates.grade.place import Grey, PictureError, check, find
from label_templates.grade.result import Grade, Parameter

__all__ = ["LETTERS", "Grade", "Parameter", "PictureError", "grade", "letter"]


def grade(image: Grey, *, dots_per_module: float | None = None) -> list[Grade]:
    """The grade of every QR code and Code 128 that a stock decoder reads in `image`, from the top down.

    `image` is height × width, 8-bit grey. With `dots_per_module`, how many printer dots a module is wide, advice about
    the ink is in dots. Raises PictureError for any other array, an empty one, or more than 50 million pixels.
    """
    check(image)
    return [
        (grade_qr if found.symbology == "QR" else grade_code128)(image, found, dots_per_module) for found in find(image)
    ]
