"""Every page on paper: A4, black on white from either theme, no navigation, codes and the caution there, nothing cut off."""

import re

import pypdfium2
import pytest

from service.pages.views import CAUTION
from tests.practice import MANAGER, NURSE, SURGEON, TECHNICIAN, patient, wash_load

A4 = (595, 842)


@pytest.fixture
def written(page):
    """Every page there is to print, with words that each must show on paper."""
    shown, bridge, _ = page
    pack, load = bridge.ready("Eye set 1")
    one = bridge.new_set("Eye set 2")
    bridge.wash([one], 2)
    other = bridge.pack(one)
    bridge.sterilise([other], 2)
    bridge.scans("theatre-1", NURSE, patient(812), other, SURGEON, "=no other", "PALE")
    bridge.act("hold", load=load, why="door not shut")
    bridge.act("open recall", by=MANAGER, load=load, reach="load", why="biological positive")
    owner = bridge.record("pack", pack).set
    bridge.scans("wash-1", TECHNICIAN, wash_load(3), bridge.new_set("Eye set 3"))
    return shown, {
        "/": ["Needs someone", pack, load, "Load 0001 is on hold."],
        "/?show=held": ["Held", pack],
        f"/packs/{other}": [
            other,
            "GAP: released",
            "nobody released the load",
            "OVERRIDE",
            "not released: no other",
            "unconfirmed",
            "strip pale",
            SURGEON,
        ],
        f"/sets/{owner}": [owner, "Count sheet", pack],
        f"/loads/{load}": [load, "For and against its release", pack],
        "/loads": [load, wash_load(3)],
        f"/recalls/{load}": ["Patients to call", pack],
        "/machines": ["Steriliser 1", "in service"],
        "/machines/L-K7-1": ["L-K7-1", load],
        "/machines/L-K7-1/2026-03": [load, "judged pass"],
        "/recalls": [load, "biological positive"],
        "/search?q=4+March": ["Packs opened", other, load],
        "/stations/theatre-1/day": ["Theatre 1: Wednesday 4 March 2026", "refused", other],
        "/stations": ["unloading-1"],
        "/limits": ["What the record cannot show"],
    }


def test_every_page_prints_whole_on_a4_without_what_only_a_screen_can_do(written, tmp_path):
    shown, pages = written
    for scheme in ("light", "dark"):
        shown.emulate_media(media="print", color_scheme=scheme)
        shown.set_viewport_size({"width": 688, "height": 1000})
        for address, wanted in pages.items():
            shown.goto(address)
            for part in (".bar", "nav", "form", "button", ".live"):
                assert not any(one.is_visible() for one in shown.locator(part).all()), (address, part)
            assert shown.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)", address
            inks = shown.evaluate(
                """[...new Set([...document.querySelectorAll("main *")].filter(e => e.textContent.trim() && e.checkVisibility())
                   .map(e => getComputedStyle(e).color))]"""
            )
            assert inks == ["rgb(0, 0, 0)"], (address, scheme, inks)
            assert shown.evaluate("document.documentElement.scrollWidth") <= 688, address
            shown.pdf(path=tmp_path / "page.pdf", prefer_css_page_size=True)
            leaves = pypdfium2.PdfDocument(tmp_path / "page.pdf")
            assert {tuple(round(side) for side in leaf.get_size()) for leaf in leaves} <= {
                A4,
                (596, 842),
                (595, 843),
            }, address
            words = " ".join(re.sub(r"\s+", " ", leaf.get_textpage().get_text_range()) for leaf in leaves)
            for said in [CAUTION, *wanted]:
                assert said in words.replace("\ufffe", ""), (address, said, words[:2000])
            assert "Sign out" not in words and "A code, set, patient or day" not in words


def test_a_section_that_fits_on_a_leaf_is_not_cut_in_two(written, tmp_path):
    shown, pages = written
    address = next(one for one in pages if one.startswith("/packs/"))
    shown.goto(address)
    shown.pdf(path=tmp_path / "pack.pdf", prefer_css_page_size=True)
    leaves = [leaf.get_textpage().get_text_range() for leaf in pypdfium2.PdfDocument(tmp_path / "pack.pdf")]
    line = next(leaf for leaf in leaves if "From wash to patient" in leaf)
    assert all(words in line for words in ("received", "OVERRIDE", "strip pale", "nobody released the load"))
    assert len(leaves) > 1
