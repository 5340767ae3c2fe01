"""Grading: what a drawn, scanned or photographed label is worth as print, in the manner of ISO/IEC 15416 and 15415.

A check by software on a picture that nothing was calibrated for; not a verification by an ISO instrument.
"""

from dataclasses import replace

from label_templates.grade.advice import Dots
from label_templates.grade.limits import COARSE, LETTERS, letter
from label_templates.grade.linear import grade_code128
from label_templates.grade.matrix import grade_qr
from label_templates.grade.place import Found, Grey, PictureError, check, find
from label_templates.grade.result import Grade, Parameter

__all__ = ["LETTERS", "Grade", "Parameter", "PictureError", "grade", "letter"]


def grade(image: Grey, *, dots_per_module: float | None = None, dots_per_pixel: float | None = None) -> list[Grade]:
    """The grade of every QR code and Code 128 that a stock decoder reads in `image`, from the top down.

    `image` is height × width, 8-bit grey. Advice about the ink is in printer dots where it is told how many a module or
    a pixel is wide, else in percent of a module. Raises PictureError for any other array, an empty one, or more than
    50 million pixels.
    """
    check(image)
    return [_grade(image, found, Dots(dots_per_module, dots_per_pixel)) for found in find(image)]


def _grade(image: Grey, found: Found, dots: Dots) -> Grade:
    graded = (grade_qr if found.symbology == "QR" else grade_code128)(image, found, dots)
    notes = graded.notes
    if graded.letter != "A" and graded.pixels_per_module < COARSE:
        notes += (
            f"A module is {graded.pixels_per_module:.1f} pixels wide: take the picture closer, at least {COARSE}.",
        )
    if graded.parameters[-1].advice and dots.per_pixel is None:
        notes += (
            "In a blurred photograph growth can be a quarter of a module off: scan the label before changing printers.",
        )
    return replace(graded, notes=notes)
