"""Stocks: sheets, rolls, tags, in millimetres; what does not add up is refused, with the key that is wrong."""

import re
from itertools import pairwise

import pytest

from label_templates import stocks
from label_templates.stocks import StockError

GOOD = """
kind = "sheet"
page_mm = [210, 297]
label_mm = [64, 34]
columns = 3
rows = 8
margin_mm = [9, 12.5]
pitch_mm = [64, 34]
note = "Steam-proof"
"""


def test_there_are_six_grids_on_each_paper_four_rolls_a_tag_a_label_in_two_parts_and_whole_pages():
    kinds = [(stocks.stock(name).kind, name.split("-")[0]) for name in stocks.names()]
    assert kinds.count(("sheet", "a4")) >= 6
    assert kinds.count(("sheet", "letter")) >= 6
    assert sum(kind == "roll" for kind, _ in kinds) == 4
    assert {"tag", "two-part", "page"} <= {kind for kind, _ in kinds}


@pytest.mark.parametrize("name", stocks.names())
def test_every_stock_says_what_its_material_must_bear(name):
    found = stocks.stock(name)
    assert re.search("steam-proof", found.note, re.IGNORECASE)
    for part in found.faces:
        assert part.box_mm[2] <= found.label_mm[0] and part.box_mm[3] <= found.label_mm[1]


@pytest.mark.parametrize("dpi", stocks.RESOLUTIONS)
@pytest.mark.parametrize("name", stocks.names())
def test_labels_of_a_page_never_overlap_in_dots_and_stay_on_it(name, dpi):
    found = stocks.stock(name, dpi)
    places = [found.place(index) for index in range(found.each_page)]
    assert len(set(places)) == found.each_page
    for x, y in places:
        assert 0 <= x <= found.dots(found.page_mm[0]) - found.width + 1
        assert 0 <= y <= found.dots(found.page_mm[1]) - found.height + 1
    columns = sorted({x for x, _ in places})
    assert all(b - a >= found.width - 1 for a, b in pairwise(columns))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[64, 34]\ncolumns", "[64, 400]\ncolumns", "its labels end 412.5 mm|overlap at a pitch"),
        ("columns = 3", "columns = 4", "its labels end 265 mm from the edge of a page 210 mm wide"),
        ("rows = 8", "rows = 0", "rows is 0: it is a number of labels from 1 to 100"),
        ("rows = 8", 'rows = "8"', "rows is '8'"),
        ("pitch_mm = [64, 34]", "pitch_mm = [60, 34]", "labels 64 mm wide overlap at a pitch of 60 mm"),
        ("margin_mm = [9, 12.5]", "margin_mm = [9]", "margin_mm is .9.: it is 2 lengths from 0 to 500 mm"),
        ("margin_mm = [9, 12.5]", "margin_mm = [-9, 12]", "margin_mm"),
        ('kind = "sheet"', 'kind = "scroll"', "kind is 'scroll': it is one of sheet, roll"),
        ('kind = "sheet"', 'kind = "sheet"\ncolour = "blue"', "colour is not a key of a stock"),
        ('note = "Steam-proof"', "", "note is missing"),
        ("[64, 34]\ncolumns", "[64, 5]\ncolumns", "a label 5 mm high is too small for any code"),
        ("rows = 8", "rows = = 8", "is no TOML"),
        ('note = "Steam-proof"', 'note = "n"\nresolution_dpi = 96.0', "resolution_dpi is 96.0"),
        ('note = "Steam-proof"', 'note = "n"\n[[parts]]\nname = "a"\nbox_mm = [0, 0, 4, 30]', "less than 8 mm wide or high"),
        ('note = "Steam-proof"', 'note = "n"\n[[parts]]\nname = "a"\nbox_mm = [0, 0, 70, 30]', "the part a reaches beyond the label"),
        ('note = "Steam-proof"', 'note = "n"\n[[parts]]\nwidth = 3', "a part has name, box_mm"),
    ],
)  # fmt: skip
def test_a_stock_that_does_not_add_up_is_refused_with_what_is_wrong(tmp_path, old, new, said):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace(old, new, 1))
    with pytest.raises(StockError, match=said) as told:
        stocks.stock(str(path))
    assert "mine" in str(told.value)
    assert "\n" not in str(told.value)


def test_a_stock_of_ones_own_is_a_file_and_a_resolution_is_one_of_three(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD)
    assert stocks.stock(str(path), 600.0).width == round(64 / 25.4 * 600)
    with pytest.raises(StockError, match=r"300"):
        stocks.stock(str(path), 96)
    with pytest.raises(StockError, match="cannot be read"):
        stocks.stock(str(tmp_path / "none.toml"))
    with pytest.raises(StockError, match="0 to 3 dots"):
        stocks.stock("roll-62x40", None, 9)
