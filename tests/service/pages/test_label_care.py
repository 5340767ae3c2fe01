"""The cautions for labels stand in one place, and the page in docs says the same."""

from pathlib import Path

from service.pages.label_care import CARES

PAGE = (Path(__file__).parents[3] / "docs" / "labels.md").read_text("utf-8")


def test_the_page_in_docs_names_every_caution_with_its_source():
    rows = [row for row in PAGE.splitlines() if row.startswith("| ") and not row.startswith("| | |")]
    assert rows == [f"| {care.title} | {care.words} | {care.source} |" for care in CARES]


def test_heat_steam_seam_pouch_and_outside_are_among_them():
    told = " ".join(care.words for care in CARES)
    for words in ("turns black", "rated by their maker for steam at 134 °C", "seam", "indicator tape", "outer wrap, never inside",
                  "not on the wrap", "film side, never on the paper"):  # fmt: skip
        assert words in told
