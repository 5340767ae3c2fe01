"""Designs: fields placed in millimetres; what does not fit is refused when the design is read, and never clipped."""

from datetime import date

import numpy as np
import pytest

from label_templates import designs, layout, proof, raster, stocks
from label_templates.designs import DesignError
from label_templates.labels import LoadSlip, Mark, PackLabel, SetTag
from label_templates.layout import LayoutError

GOOD = """
kind = "shelf"
says = "A shelf of mine"
read_at_mm = 150

[[layout]]
least_mm = [50, 25]
blocks = [
  { fields = ["name"], box_mm = [2, 2, -26, 9], size_mm = [5, 3] },
  { fields = ["what", "copy"], box_mm = [2, 10, -26, -2], size_mm = [3, 2], lines = 2 },
]
symbols = [ { symbology = "QR", box_mm = [-25, 1, -1, -1] } ]
"""
ROLL = stocks.stock("roll-62x40")


def test_every_kind_of_label_has_a_design():
    assert {designs.design(name).kind for name in designs.names()} == set(designs.SAMPLES)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('fields = ["name"]', 'fields = ["nmae"]', "layout 1: 'nmae' is no field of a shelf label: it has code, name, what"),
        ("[2, 10, -26, -2]", "[2, 8, -26, -2]", r"the text name and the text what copy overlap by 22\.0 × 1\.0 mm on a label of 50 × 25 mm"),
        ("[-25, 1, -1, -1]", "[-27, 1, -1, -1]", "the text name and the QR overlap"),
        ("[-25, 1, -1, -1]", "[-25, 1, 60, -1]", "the QR has no room on a label of 50 × 25 mm"),
        ("[2, 2, -26, 9]", "[2, 2, -26]", "the box of the text name is 4 numbers"),
        ("size_mm = [5, 3]", "size_mm = [3, 5]", "size_mm is the largest and the least size"),
        ("size_mm = [5, 3]", "size_mm = [9, 8]", "has 7.0 mm on a label of 50 × 25 mm, less than one line of its smallest size 8 mm"),
        ("size_mm = [5, 3]", 'size_mm = [5, 3], font = "serif"', "font is unknown: a block has"),
        ('symbology = "QR"', 'symbology = "PDF417"', "symbology is 'PDF417': it is one of QR, CODE128"),
        ("symbols = [ {", "symbols = []\nothers = [ {", "others is unknown: a layout has|has no symbol"),
        ('kind = "shelf"', 'kind = "drawer"', "no label is a 'drawer'"),
        ('kind = "shelf"', 'kind = "shelf"\ncolour = 3', "colour is unknown: a design has"),
        ("read_at_mm = 150", "read_at_mm = 5", "read_at_mm is a distance from 50 to 2000 mm"),
        ("lines = 2", 'lines = 2, long = "cut"', "long is 'cut': it is one of shorten, refuse"),
        ("lines = 2", "lines = 2, follows = true", "ok"),
        ("[2, 10, -26, -2]", "[1, 10, -26, -2]", "ok"),
        ("least_mm", "laest_mm", "a layout has no least_mm"),
        ("kind", "kind = ", "is no TOML"),
    ],
)  # fmt: skip
def test_a_design_that_does_not_add_up_is_refused_when_it_is_read(tmp_path, old, new, said):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace(old, new, 1), "utf-8")
    if said == "ok":
        assert designs.design(str(path)).kind == "shelf"
        return
    with pytest.raises(DesignError, match=said) as told:
        designs.design(str(path))
    assert str(told.value).startswith("design mine")
    assert "\n" not in str(told.value)


def test_a_symbol_below_its_least_size_is_refused_with_what_it_would_need(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace("read_at_mm = 150", "read_at_mm = 400"), "utf-8")
    why = layout.why_not(designs.design(str(path)), stocks.stock("roll-50x25"))
    assert "is below its least size on stock roll-50x25: a module would be 0." in why
    assert "mm where 1.00 mm are needed" in why


def test_a_design_for_another_label_and_one_without_room_are_refused():
    tag = SetTag("S-K7-0042-*", "Dental extraction A")
    with pytest.raises(DesignError, match="design pack is for a pack label, and this is a set label"):
        layout.lay_out(tag, ROLL, "pack")
    with pytest.raises(DesignError, match="no design is named 'nowhere': there are badge, card"):
        layout.lay_out(tag, ROLL, "nowhere")
    with pytest.raises(LayoutError, match="design set has no layout for 190 × 277 mm"):
        layout.lay_out(tag, stocks.stock("a4-page"))


def test_a_design_of_ones_own_is_drawn_and_read_back(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD, "utf-8")
    from label_templates.labels import ShelfLabel

    drawing = layout.lay_out(ShelfLabel("H-K7-002-7", "Eyes"), ROLL, str(path))
    assert proof.read(raster.draw(drawing)) == ["H-K7-002-7"]
    assert [text.text for text in drawing.texts] == ["H-K7-002-7", "Shelf 2", "Eyes"]


@pytest.mark.parametrize("copy", [0, 1, 2, 7])
@pytest.mark.parametrize("kind", sorted(designs.SAMPLES))
def test_a_copy_says_which_it_is_on_every_kind_of_label(kind, copy):
    from dataclasses import replace

    label = replace(designs.SAMPLES[kind], copy=copy)
    stock = stocks.stock("a4-page" if kind == "outage" else "roll-76x51")
    said = [text.text for text in layout.lay_out(label, stock).texts]
    assert (f"COPY {copy}" in said) == (copy > 1)


def test_a_pack_that_goes_short_says_so_on_every_stock_however_small():
    short = PackLabel("P-K7-0042-0017-R", "Dental extraction, the long name of a set with everything in it", Mark("blue", "waves"),
                      "B-K7-003-J", "2026-03-04T10:12", tuple(f"Elevator number {n}: 0 of 1" for n in range(9)))  # fmt: skip
    for name in stocks.names():
        if name.endswith("-page"):
            continue
        drawing = layout.lay_out(short, stocks.stock(name))
        for face in drawing.faces:
            assert any(text.text.startswith("SHORT") for text in face.texts), name
            assert " ".join(text.text for text in face.texts).count("Scan before opening") == 1, name


def test_dates_are_never_broken_over_two_lines():
    slip = LoadSlip("L-K7-1-0331-K", "Steriliser 1", date(2026, 3, 4), date(2026, 12, 31))
    for name in ("roll-50x25", "letter-44", "roll-62x40", "pack-two-part-100x40"):
        said = [text.text for text in layout.lay_out(slip, stocks.stock(name)).texts]
        assert any("31 December 2026" in line for line in said), (name, said)
        assert any("4 March 2026" in line for line in said), (name, said)


@pytest.mark.parametrize("name", ["Größenmaß Öse", "Élévateur à racine", "Ελεβατόρας Α", "Костные щипцы"])
def test_german_accents_greek_and_cyrillic_are_drawn(name):
    label = SetTag("S-K7-0042-*", name)
    said = " ".join(text.text for text in layout.lay_out(label, ROLL).texts)
    assert name in said
    blank = raster.picture(SetTag("S-K7-0042-*", "l"), ROLL)
    assert (np.asarray(raster.picture(label, ROLL)) == 0).sum() > (np.asarray(blank) == 0).sum()


def test_a_tag_is_printed_on_its_head_on_its_far_half():
    tag = stocks.stock("tag-50x60")
    drawing = layout.lay_out(SetTag("S-K7-0042-*", "Dental extraction A"), tag)
    picture = np.asarray(raster.draw(drawing))
    front, back = (picture[part.y : part.y + part.height, part.x : part.x + part.width] for part in drawing.faces)
    assert (front == back[::-1, ::-1]).all()
    assert proof.read(raster.draw(drawing)) == ["S-K7-0042-*"] * 2
