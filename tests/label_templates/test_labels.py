"""Labels: drawn in whole dots, read back, fitted, and never half-written."""

import re
import resource
import subprocess
import sys

import numpy as np
import pypdfium2
import pytest
import qrcode.util
import segno
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_2

from label_templates import codes, fonts, labels, layout, proof, raster, sheet, stocks, symbols
from label_templates.labels import BENCH_CARDS, LabelError, LoadCard, Mark, PackLabel, SetTag

ROLL, SHEET = stocks.stock("roll-62x40"), stocks.stock("a4-24", 203.2)
PACK = PackLabel("P-K7-0042-0017-R", "Dental extraction A", Mark("blue", "two bars"), "B-K7-003-J", "2026-03-04T10:12",
                 ("Root tip forceps: 0 of 1",))  # fmt: skip
LABELS = [
    PACK,
    SetTag("S-K7-0042-*", "Dental extraction A", Mark("blue", "waves")),
    LoadCard("L-K7-1-0331-K", "Steriliser 1"),
    labels.BadgeLabel("B-K7-003-J", "Technician 3"),
    labels.ShelfLabel("H-K7-002-7", "Eye and fracture"),
    labels.PatientCard("A-K7-000812-4"),
    *BENCH_CARDS,
]
FORMATS = (zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128)


def boxes_of(drawing):
    """Every text's box, left, top, right, bottom in dots."""
    return [
        (t.x, t.y - t.size * 0.78, t.x + fonts.width(t.text, t.weight, t.size), t.y + t.size * 0.24)
        for t in drawing.texts
    ]


def symbol_boxes(drawing, quiet=True):
    for s in drawing.symbols:
        side = s.symbol.quiet * s.module if quiet else 0
        above = side if s.symbol.symbology == "QR" else 0
        tall = s.tall * s.symbol.height
        yield s.x - side, s.y - above, s.x + s.symbol.width * s.module + side, s.y + tall + above


@pytest.mark.parametrize("stock", [ROLL, SHEET], ids=lambda s: s.name)
@pytest.mark.parametrize("label", LABELS, ids=lambda one: one.code)
def test_no_text_touches_a_quiet_zone_or_another_text_or_leaves_the_label(label, stock):
    drawing = layout.lay_out(label, stock)
    texts, marks = boxes_of(drawing), list(symbol_boxes(drawing))
    for i, (left, top, right, bottom) in enumerate(texts):
        assert left >= 0 and top >= 0 and right <= drawing.width and bottom <= drawing.height
        for l2, t2, r2, b2 in marks + texts[i + 1 :]:
            assert right <= l2 or r2 <= left or bottom <= t2 + 3 or b2 <= top + 3
    for left, top, right, bottom in marks:
        assert left >= 0 and top >= 0 and right <= drawing.width and bottom <= drawing.height


@pytest.mark.parametrize("label", LABELS, ids=lambda one: one.code)
def test_every_symbol_reads_back_and_its_code_stands_beside_it(label):
    drawing = layout.lay_out(label, ROLL)
    assert set(proof.read(raster.draw(drawing))) == {label.code}
    assert label.code in [text.text for text in drawing.texts]


def test_a_pack_label_holds_a_version_1_qr_and_says_what_it_must():
    drawing = layout.lay_out(PACK, ROLL)
    (placed,) = drawing.symbols
    assert placed.symbol.width == 21
    assert placed.module >= 4
    words = " ".join(text.text for text in drawing.texts)
    for part in ("Dental", "extraction A", "SHORT", "Root tip forceps: 0 of 1", "4 March 2026", "10:12 by B-K7-003-J",
                 "blue, two bars", "Scan before opening"):  # fmt: skip
        assert part in words.replace("tip forceps", "tip forceps"), part
    assert drawing.faces[0].boxes


def test_the_pdf_drawn_at_203_dpi_decodes_in_a_stock_decoder_to_the_codes_printed(tmp_path):
    path = tmp_path / "labels.pdf"
    sheet.write_pdf(LABELS, SHEET, path)
    seen = []
    for page in pypdfium2.PdfDocument(str(path)):
        image = np.asarray(page.render(scale=203.2 / 72).to_pil().convert("L"))
        printed = page.get_textpage().get_text_range()
        for result in zxingcpp.read_barcodes(image, formats=FORMATS):
            assert result.text in printed
            assert mod_37_2.is_valid(result.text.replace("-", ""))
            seen.append(result.text)
    assert set(seen) == {label.code for label in LABELS}
    assert len(seen) == sum(len(layout.lay_out(label, SHEET).symbols) for label in LABELS)


def test_modules_in_the_pdf_fall_on_whole_dots():
    page = pypdfium2.PdfDocument(sheet.pdf([PACK], ROLL))[0]
    image = np.asarray(page.render(scale=203.2 / 72).to_pil().convert("L"))
    placed = layout.lay_out(PACK, ROLL).symbols[0]
    part = image[placed.y : placed.y + 21 * placed.module, placed.x : placed.x + 21 * placed.module]
    assert np.isin(part, (0, 255)).mean() > 0.999
    cells = part.reshape(21, placed.module, 21, placed.module).mean(axis=(1, 3)) < 128
    assert [list(row) for row in cells] == [list(row) for row in placed.symbol.modules]


@pytest.mark.parametrize("name", ["X" * 10_000, "Ölfräse für Größe Å " * 20, "a", "W" * 60, "i" * 60])
def test_a_name_of_any_length_is_fitted_and_never_clipped(name):
    drawing = layout.lay_out(SetTag("S-K7-0042-*", name), ROLL)
    for left, _, right, _ in boxes_of(drawing):
        assert left >= 0 and right <= drawing.width
    assert set(proof.read(raster.draw(drawing))) == {"S-K7-0042-*"}


@settings(max_examples=40, deadline=None)
@given(
    st.text("abcdefghij ABCXYZ äöüéñ0123", min_size=1, max_size=120),
    st.lists(st.text("abc xyz", min_size=1, max_size=50), max_size=4),
)
def test_whatever_the_words_they_stay_off_the_symbol(name, short):
    label = PackLabel("P-K7-0042-0017-R", name, Mark("red", "dots"), "B-K7-003-J", "2026-03-04T10:12", tuple(short))
    drawing = layout.lay_out(label, ROLL)
    ((left, *_),) = symbol_boxes(drawing)
    assert all(
        right <= left + 4
        for text, (_, _, right, _) in zip(drawing.texts, boxes_of(drawing), strict=True)
        if text.weight != "mono"
    )


def test_a_missing_glyph_is_named():
    with pytest.raises(fonts.GlyphError, match=r"'日' \(U\+65E5\)"):
        layout.lay_out(SetTag("S-K7-0042-*", "日本"), ROLL)
    with pytest.raises(fonts.GlyphError, match=r"U\+0000"):
        layout.lay_out(SetTag("S-K7-0042-*", "a\0b"), ROLL)


def test_an_unknown_pattern_stock_or_time_is_refused_with_what_there_is():
    with pytest.raises(LabelError, match="two bars"):
        Mark("blue", "stripes of a zebra")
    with pytest.raises(stocks.StockError, match="a4-24"):
        stocks.stock("nowhere")
    with pytest.raises(LabelError, match="2026-03-04T10:12"):
        layout.lay_out(PackLabel("P-K7-0042-0017-R", "A", None, "", "yesterday"), ROLL)


def test_a_wrong_code_never_becomes_a_label():
    with pytest.raises(codes.CodeError):
        layout.lay_out(PackLabel("P-K7-0042-0017-X", "A", None, "", ""), ROLL)
    with pytest.raises(codes.CodeError):
        layout.lay_out(PackLabel("S-K7-0042-*", "A", None, "", ""), ROLL)


def test_a_label_that_does_not_read_back_is_not_written(tmp_path, monkeypatch):
    path = tmp_path / "old.png"
    path.write_bytes(b"an older label")
    monkeypatch.setattr(raster, "draw", lambda drawing: raster.Image.new("1", (drawing.width, drawing.height), 1))
    with pytest.raises(proof.ProofError, match="nothing was written"):
        raster.write_png(PACK, ROLL, path)
    assert path.read_bytes() == b"an older label"
    assert list(tmp_path.iterdir()) == [path]


def test_a_disk_that_is_full_leaves_the_older_file_and_no_scrap(tmp_path):
    path = tmp_path / "labels.pdf"
    path.write_bytes(b"older")
    program = (
        "import sys; from pathlib import Path; from label_templates import sheet, stocks; from label_templates.labels import BENCH_CARDS\n"
        "try: sheet.write_pdf(BENCH_CARDS, stocks.stock('a4-24'), Path(sys.argv[1]))\n"
        "except OSError as error: print('OSError', error.errno); sys.exit(3)"
    )
    limit = lambda: (resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096)), __import__("signal").signal(25, 1))
    done = subprocess.run(
        [sys.executable, "-c", program, str(path)], preexec_fn=limit, capture_output=True, text=True, check=False
    )
    assert done.returncode == 3, done.stderr
    assert path.read_bytes() == b"older"
    assert list(tmp_path.iterdir()) == [path]


# Published values: QR (ISO/IEC 18004, as quoted in the project's CHECKS section 2, computed with qrcode 8.2 and segno 1.6.6).


MASKS = (
    lambda i, j: (i + j) % 2, lambda i, j: i % 2, lambda i, j: j % 3, lambda i, j: (i + j) % 3,
    lambda i, j: (i // 2 + j // 3) % 2, lambda i, j: i * j % 2 + i * j % 3, lambda i, j: (i * j % 2 + i * j % 3) % 2,
    lambda i, j: ((i + j) % 2 + i * j % 3) % 2,
)  # fmt: skip


def codewords(text, level):
    """The 26 codewords of a version 1 symbol, read off its modules as ISO/IEC 18004 lays them out."""
    cells = np.array(symbols._made(text, level)).astype(int)
    assert cells.shape == (21, 21)
    mask = int("".join(map(str, cells[8, 2:5])), 2) ^ 0b101
    taken = np.zeros((21, 21), bool)
    taken[:9, :9] = taken[:9, 13:] = taken[13:, :9] = taken[6] = taken[:, 6] = True
    bits = []
    for turn, right in enumerate((20, 18, 16, 14, 12, 10, 8, 5, 3, 1)):
        for row in range(21)[:: -1 if turn % 2 == 0 else 1]:
            bits += [
                int(cells[row, column]) ^ int(MASKS[mask](row, column) == 0)
                for column in (right, right - 1)
                if not taken[row, column]
            ]
    return bytes(int("".join(map(str, bits[at : at + 8])), 2) for at in range(0, 208, 8))


def test_the_standards_worked_example_gives_its_codewords():
    data = "10 20 0C 56 61 80 EC 11 EC 11 EC 11 EC 11 EC 11 A5 24 D4 C1 ED 36 C7 87 2C 55"
    assert codewords("01234567", "M") == bytes.fromhex(data)


def test_our_pack_code_at_1_q_gives_the_codewords_both_libraries_give():
    data = "20 84 8E 71 7C D4 02 08 30 00 0D 3A 80 CA 31 2B BE 43 43 79 33 B0 18 CE 41 7D"
    assert codewords("P-K7-0042-0017-R", "Q") == bytes.fromhex(data)
    assert segno.make_qr("P-K7-0042-0017-R", version=1, error="q", boost_error=False).version == 1


@pytest.mark.parametrize(("level", "most"), [("L", 25), ("M", 20), ("Q", 16), ("H", 10)])
def test_version_1_holds_as_many_letters_as_published(level, most):
    assert symbols.qr("A" * most, level=level, version=1).width == 21
    with pytest.raises(symbols.SymbolError, match="does not fit"):
        symbols.qr("A" * (most + 1), level=level, version=1)


@pytest.mark.parametrize(("mask", "bits"), [(0, "101010000010010"), (2, "101111001111100"), (5, "100000011001110")])
def test_format_bits_of_level_m_are_as_published(mask, bits):
    assert f"{qrcode.util.BCH_type_info(0b00 << 3 | mask):015b}" == bits


def test_every_symbol_keeps_the_quiet_zone_of_its_standard():
    assert (symbols.qr("A").quiet, symbols.code128("A").quiet) == (4, 10)


# Code 128: stop is 13 modules, every other character 11 (xxg.pages.dev/0xL0NvZGVfMTI4).
@pytest.mark.parametrize("text", ["P-K7-0042-0017-R", "HI345678", "K-WET-E"])
def test_code_128_is_made_of_whole_characters_and_reads_back(text):
    symbol = symbols.code128(text)
    assert (symbol.width - 13) % 11 == 0
    image = (
        np.kron(np.pad(~np.array(symbol.modules), ((0, 0), (10, 10)), constant_values=True), np.ones((40, 3))).astype(
            np.uint8
        )
        * 255
    )
    assert [r.text for r in zxingcpp.read_barcodes(image, formats=FORMATS)] == [text]


def test_code_128_refuses_what_is_not_ascii():
    with pytest.raises(symbols.SymbolError, match="ASCII"):
        symbols.code128("größe")


def test_a_used_sheet_starts_at_any_place():
    page = pypdfium2.PdfDocument(sheet.pdf([PACK], SHEET, start=23))[0]
    image = np.asarray(page.render(scale=1).to_pil().convert("L"))
    assert image[: image.shape[0] * 84 // 100].min() == 255
    assert len(pypdfium2.PdfDocument(sheet.pdf([PACK, PACK], SHEET, start=23))) == 2


def test_every_stock_says_that_its_material_must_bear_steam():
    for name in stocks.names():
        assert re.search("steam-proof", stocks.stock(name).note, re.IGNORECASE)
