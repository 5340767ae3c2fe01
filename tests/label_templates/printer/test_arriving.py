"""What a real IPP server receives: dot for dot the preview, and the codes in it read."""

import numpy as np
import pytest

from label_templates import layout, raster, stocks
from label_templates.labels import BENCH_CARDS
from label_templates.printer.drawing import document
from label_templates.proof import ProofError
from tests.label_templates.printer.one_pack import CODE, PACK, ROLL
from tests.label_templates.printer.reading import pages, preview, read

SHEET = stocks.stock("a4-24", 203.2)


@pytest.mark.parametrize("kind", ["black_1", "sgray_8"])
def test_raster_arrives_dot_for_dot_as_the_preview_shows_it(everywhere, sender, kind):
    printer = everywhere(command="exit 0", kinds=kind)
    job = sender.add(printer.uri)
    said = sender.go(printer.uri)
    assert sender.state(job) == "printed", said
    assert f"as PWG raster {kind}" in said
    (document_,) = printer.arrived
    (page,) = pages(document_, 203.2)
    assert np.array_equal(page, np.asarray(raster.picture(PACK, ROLL)))
    assert read(page) == [CODE]


def test_a_pdf_arrives_where_the_printer_has_other_dots_and_its_symbols_are_the_preview_s_dot_for_dot(
    everywhere, sender
):
    printer = everywhere(command="exit 0", dpi=600)
    job = sender.add(printer.uri)
    said = sender.go(printer.uri)
    assert sender.state(job) == "printed" and "as PDF" in said, said
    (arrived,) = printer.arrived
    assert arrived.suffix == ".pdf"
    (page,) = pages(arrived, 203.2)
    shown = preview(sender.drawn.pages[0])
    assert page.shape == shown.shape
    (placed,) = layout.lay_out(PACK, ROLL).symbols
    quiet, side = placed.symbol.quiet * placed.module, placed.symbol.width * placed.module
    around = np.s_[placed.y - quiet : placed.y + side + quiet, placed.x - quiet : placed.x + side + quiet]
    assert np.array_equal(page[around], shown[around]), "text is drawn by the printer's own hand, the symbol is not"
    assert read(page) == [CODE]


def test_a_sheet_begun_before_goes_on_over_two_pages_with_every_code_on_it(everywhere, sender):
    printer = everywhere(command="exit 0", mm=(210, 297))
    drawn = document(BENCH_CARDS, SHEET, start=5)
    job = sender.add(printer.uri, drawn, SHEET, codes=[card.code for card in BENCH_CARDS])
    said = sender.go(printer.uri)
    assert sender.state(job) == "printed", said
    found = pages(printer.arrived[0], 203.2)
    assert [page.shape for page in found] == [(2376, 1680)] * 2
    for page, png in zip(found, drawn.pages, strict=True):
        assert np.array_equal(page, preview(png))
    texts = []
    for index, label in enumerate(BENCH_CARDS, 5):
        left, top = SHEET.place(index % SHEET.each_page)
        one = found[index // SHEET.each_page][top : top + SHEET.height, left : left + SHEET.width]
        assert np.array_equal(one, np.asarray(raster.picture(label, SHEET)))
        texts += read(one)
    assert texts == [card.code for card in BENCH_CARDS]
    left, top = SHEET.place(4)
    assert found[0][top : top + SHEET.height, : left + SHEET.width].all(), "a used place was printed on"


def test_a_page_on_which_a_symbol_does_not_read_back_is_never_ready_to_print(monkeypatch):
    drawn = raster.draw

    def smeared(drawing):
        image = drawn(drawing)
        (placed,) = drawing.symbols
        image.paste(0, (placed.x, placed.y, placed.x + 12 * placed.module, placed.y + 12 * placed.module))
        return image

    monkeypatch.setattr(raster, "draw", smeared)
    with pytest.raises(ProofError, match=f"does not read back .missing {CODE}"):
        document([PACK], ROLL)


def test_pages_are_made_one_after_another_each_with_its_places_filled_in_order():
    labels = list(BENCH_CARDS) * 3
    found = list(raster.pages(labels, SHEET, start=23))
    assert len(found) == -(-(23 + len(labels)) // SHEET.each_page)
    for index, label in enumerate(labels, 23):
        left, top = SHEET.place(index % SHEET.each_page)
        one = found[index // SHEET.each_page].crop((left, top, left + SHEET.width, top + SHEET.height))
        assert one.tobytes() == raster.picture(label, SHEET).tobytes()
