"""Whole labels graded: as drawn, scanned, photographed from aside; and pictures that cannot be graded."""

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from label_templates import grade, labels, raster, stocks, symbols
from label_templates.grade import photo, picture, place
from label_templates.grade.place import PictureError
from label_templates.labels import BENCH_CARDS, Mark
from tests.label_templates.grade.prints import TEXT, bars, blurred, drawn, fattened, grey, photographed, squares, value

LABELS = [
    labels.PackLabel(TEXT, "Dental extraction A", Mark("blue", "two bars"), "B-K7-003-J", "2026-03-04T10:12"),
    labels.SetTag("S-K7-0042-*", "Dental extraction A", Mark("blue", "waves")),
    labels.LoadCard("L-K7-1-0331-K", "Steriliser 1"),
    labels.BadgeLabel("B-K7-003-J", "Technician 3"),
    labels.ShelfLabel("H-K7-002-7", "Eye and fracture"),
    labels.PatientCard("A-K7-000812-4"),
    *BENCH_CARDS,
]
TAG = LABELS[1]


def print_of(label, dots=3):
    """Reflectance of a label as drawn, `dots` for each of the printer's."""
    image = np.asarray(raster.picture(label, stocks.stock("roll-62x40")), np.float32)
    return np.kron(image, np.ones((dots, dots), np.float32))


def file_of(image, kind="PNG", **how):
    file = io.BytesIO()
    image.save(file, kind, **how)
    return file.getvalue()


@pytest.mark.parametrize("name", ["roll-62x40", "a4-24"])
@pytest.mark.parametrize("label", LABELS, ids=lambda one: one.code)
def test_a_label_as_drawn_is_an_a_with_nothing_to_do(label, name):
    image = photo.grey(raster.picture(label, stocks.stock(name)))
    found = grade.grade(image)
    assert {one.text for one in found} == {label.code}
    assert [(one.letter, one.number, one.advice) for one in found] == [("A", 4.0, ())] * len(found)


@pytest.mark.parametrize("dots", [2, 3, 5])
@pytest.mark.parametrize(
    "symbol", [symbols.qr(TEXT), symbols.qr("A" * 100, level="H"), symbols.code128(TEXT)], ids=["1-Q", "9-H", "bars"]
)
def test_a_fine_module_in_a_quiet_zone_just_wide_enough_is_still_an_a(symbol, dots):
    """Black begins right after the 4 or 10 modules."""
    modules = np.array(symbol.modules, bool)
    free = {"QR": (symbol.quiet, symbol.quiet), "CODE128": (0, symbol.quiet)}[symbol.symbology]
    made = drawn(
        np.pad(np.repeat(modules, 30 if symbol.height == 1 else 1, axis=0), tuple((one, one) for one in free)), dots
    )
    beside = ((9, 7), (13, 8)) if symbol.symbology == "QR" else ((0, 0), (13, 8))
    image = np.pad(np.pad(grey(made), beside), 20, constant_values=255)
    assert [one.number for one in grade.grade(image)] == [4.0]


@pytest.mark.parametrize(("lean", "turn"), [(0, 0), (20, 0), (25, 12), (-25, -12), (5, 70), (30, -15), (10, 180)])
def test_a_label_photographed_from_aside_is_graded_as_it_was_printed(lean, turn):
    taken = photographed(print_of(TAG) * 0.8 + 0.1, lean=lean, turn=turn, noise=0.01)
    found = grade.grade(taken)
    assert {(one.symbology, one.letter) for one in found} == {("QR", "A"), ("CODE128", "A")}
    for one in found:
        assert one.text == TAG.code
        assert abs(next(p for p in one.parameters if "growth" in p.name).value) < 0.05
        assert value(one, "quiet zone").grade == 4.0


def test_a_picture_taken_from_aside_does_not_judge_the_axes_and_says_so():
    square = next(one for one in grade.grade(photographed(print_of(TAG), lean=30)) if one.symbology == "QR")
    axes = value(square, "axial nonuniformity")
    assert (axes.value, axes.grade) == (None, None)
    assert axes.advice.startswith("width and height not judged: photograph the label from straight above")


def test_fat_bars_are_told_from_a_photograph_too():
    taken = photographed(fattened(print_of(TAG, 4), 2), lean=10, turn=6, scale=0.8, noise=0.01)
    by_bars = next(one for one in grade.grade(taken, dots_per_module=2) if one.symbology == "CODE128")
    assert value(by_bars, "bar width growth").value * 2 == pytest.approx(0.5, abs=0.1)
    assert by_bars.advice[0].startswith("bars 0.5 dots fat")


def test_bars_that_lie_askew_are_found_without_a_square_beside_them():
    for turn in (-28, -14, 9, 21):
        (found,) = grade.grade(photographed(drawn(bars(), 6), turn=turn))
        assert (found.text, found.letter) == (TEXT, "A")


def test_a_dark_bench_under_the_label_does_not_change_what_the_print_is_worth():
    made = drawn(squares(), ink=0.35, paper=0.9)[10:-10, 10:-10]
    for bench in (0.0, 0.9):
        (found,) = grade.grade(photographed(made, turn=4, bench=bench))
        assert value(found, "symbol contrast").value == pytest.approx(1 - 0.35 / 0.9, abs=0.02)


def test_coarse_pictures_that_are_not_good_say_that_they_should_be_taken_closer():
    taken = cv2.resize(blurred(drawn(bars()), 9), None, fx=0.2, fy=0.2, interpolation=cv2.INTER_AREA)
    (found,) = grade.grade(grey(taken))
    assert found.letter != "A"
    assert any("take the picture closer" in note for note in found.notes)


def test_growth_seen_in_a_photograph_is_to_be_checked_with_a_scan():
    made = grey(fattened(drawn(squares()), 3))
    said = "scan the label before changing printers"
    assert any(said in note for note in grade.grade(made)[0].notes)
    assert not any(said in note for note in grade.grade(made, dots_per_pixel=1)[0].notes)


def test_the_same_picture_is_graded_the_same_and_from_the_top_down():
    taken = photographed(print_of(TAG), lean=12, turn=-7, noise=0.05)
    first, second = grade.grade(taken), grade.grade(taken)
    assert first == second
    heights = [np.mean(one.corners, axis=0)[1] for one in first]
    assert heights == sorted(heights)


def test_the_corners_outline_the_symbol():
    taken = photographed(drawn(squares()), turn=30)
    (found,) = grade.grade(taken)
    inside = np.zeros(taken.shape, np.uint8)
    cv2.fillPoly(inside, [np.rint(found.corners).astype(np.int32)], 1)
    dark = taken < 100
    assert dark[inside == 1].mean() > 0.4
    assert not dark[cv2.dilate(inside, np.ones((9, 9))) == 0].any()


@pytest.mark.parametrize("image", [
    np.zeros((0, 0), np.uint8), np.zeros((5, 0), np.uint8), np.zeros((40, 40), np.uint16), np.zeros((40, 40, 3), np.uint8),
    np.zeros((40, 40, 4), np.uint8), np.zeros(40, np.uint8), np.zeros((40, 40)), np.broadcast_to(np.uint8(255), (9000, 9000)),
], ids=lambda image: f"{image.dtype}{image.shape}")  # fmt: skip
def test_what_is_no_grey_picture_of_eight_bits_is_refused_in_one_line(image):
    with pytest.raises(PictureError) as refused:
        grade.grade(image)
    assert "\n" not in str(refused.value)
    assert str(image.shape[0]) in str(refused.value)


@pytest.mark.parametrize("image", [
    np.zeros((1, 1), np.uint8), np.full((1, 500), 255, np.uint8), np.full((300, 300), 128, np.uint8),
    np.random.default_rng(3).integers(0, 256, (300, 400), np.uint8), grey(drawn(squares()))[:150, :150],
], ids=["a pixel", "a line", "grey", "noise", "half a code"])  # fmt: skip
def test_a_picture_without_a_code_has_no_grades(image):
    assert grade.grade(image) == []


@pytest.mark.parametrize(
    "data", [b"", b"not a picture", file_of(Image.new("L", (50, 50)))[:60], b"\x89PNG\r\n\x1a\n" + b"\0" * 90]
)
def test_a_file_that_is_no_picture_is_refused_in_one_line(data):
    with pytest.raises(PictureError, match="no picture that can be read"):
        photo.opened(data)


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "GIF", "BMP", "WEBP"])
def test_a_damaged_file_is_read_or_refused_in_one_line_and_nothing_else_is_said(kind, capfd, recwarn):
    rng = np.random.default_rng(7)
    whole = np.frombuffer(file_of(Image.fromarray(grey(drawn(squares(), 2))).convert("RGB"), kind), np.uint8)
    refused = 0
    for _ in range(60):
        data = whole.copy()
        data[rng.integers(0, min(200, len(data)), 6)] = rng.integers(0, 256, 6)
        try:
            assert photo.opened(data.tobytes()).mode == "RGB"
        except PictureError as error:
            refused += 1
            assert "\n" not in str(error)
    assert refused > 0
    assert capfd.readouterr() == ("", "") and not recwarn.list


@pytest.mark.parametrize("side", [7100, 9600, 13500])
def test_a_picture_of_too_many_pixels_is_refused_before_it_is_unpacked(side):
    with pytest.raises(PictureError, match="at most 50 million pixels"):
        photo.opened(file_of(Image.new("1", (side, side))))


def test_see_through_deep_and_turned_files_become_what_paper_would_look_like():
    made = grey(drawn(squares(), 4))
    ink = Image.fromarray(255 - made)
    clear = Image.merge("LA", (Image.new("L", ink.size, 0), ink))
    deep = Image.fromarray(made.astype(np.uint16) * 257)
    for image, how in ((clear, {}), (deep, {}), (Image.fromarray(made).convert("P"), {})):
        assert np.array_equal(photo.grey(photo.opened(file_of(image, **how))), made)
    on_its_side = Image.fromarray(np.rot90(made).copy())
    exif = Image.Exif()
    exif[0x0112] = 6
    assert np.array_equal(photo.grey(photo.opened(file_of(on_its_side, exif=exif))), made)


def test_a_resolution_is_believed_from_scans_and_not_from_screens():
    image = Image.new("L", (40, 40))
    assert photo.dots_per_inch(photo.opened(file_of(image, dpi=(600, 600)))) == pytest.approx(600, abs=0.1)
    assert photo.dots_per_inch(photo.opened(file_of(image, dpi=(72, 72)))) is None
    assert photo.dots_per_inch(photo.opened(file_of(image))) is None


def test_the_annotated_picture_shows_every_symbol_outlined_and_a_panel_for_each():
    taken = Image.fromarray(photographed(fattened(print_of(TAG), 3), turn=5, scale=0.5)).convert("RGB")
    found = grade.grade(photo.grey(taken))
    sheet = picture.annotated(taken, found)
    one = picture.annotated(taken, found[:1])
    assert sheet.height > one.height
    assert sheet.crop((0, 0, 20, 20)).getcolors() == [(400, (0xF6, 0xF4, 0xEE))]
    colours = {colour for _, colour in sheet.getcolors(10**6)}
    assert (0x8A, 0x5A, 0x00) in colours, "what is below A stands out"
    assert (0x8A, 0x5A, 0x00) not in {colour for _, colour in one.getcolors(10**6)}
    assert (0xA3, 0x17, 0x2B) in {colour for _, colour in picture.annotated(taken, found, "A").getcolors(10**6)}


def test_texts_that_are_no_signs_are_shown_as_dots():
    (found,) = grade.grade(grey(drawn(squares("a\x1b[31m\nb" * 9))))
    assert found.shown.startswith("a·[31m·b") and len(found.shown) == 49 and found.shown.endswith("…")


def test_places_between_pixels_are_met_in_the_middle_and_those_outside_are_nothing():
    image = np.array([[0, 100], [50, 250]], np.uint8)
    points = np.array([(0.5, 0.5), (1.0, 0.5), (1.0, 1.0), (1.5, 1.5), (0.0, 0.0), (-0.1, 1.0), (2.1, 1.0)])
    assert np.array_equal(place.sample(image, points), [0, 50, 100, 250, 0, np.nan, np.nan], equal_nan=True)


def test_a_homography_takes_its_four_points_where_they_belong():
    plane = np.array([(0, 0), (21, 0), (21, 21), (0, 21)], float)
    seen = np.array([(10, 12), (200, 30), (190, 220), (5, 180)], float)
    matrix = place.homography(plane, seen)
    assert np.allclose(place.project(matrix, plane), seen)
    assert np.allclose(matrix, cv2.getPerspectiveTransform(np.float32(plane), np.float32(seen)), atol=1e-3)
