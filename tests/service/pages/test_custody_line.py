"""The custody line: who, when and where of each step; gaps, overrides and late news that cannot be missed."""

from collections import Counter

import pytest

from service.custody.chain import custody_facts, gaps
from service.custody.facts import stamp
from service.pages.custody import custody_line
from service.pages.looks import Looks
from service.pages.pack import pack_page
from tests.practice import MANAGER, NURSE, SHELF, SURGEON, TECHNICIAN, patient, steam_load, wash_load


def line(bridge, pack):
    with bridge.desk.ledger.reading() as reader:
        looks = Looks(reader, stamp(bridge.at))
        facts = custody_facts(looks.state, looks.state.pack(pack))
        return custody_line(looks, facts, [gap["step"] for gap in gaps(facts)])


def step(bridge, pack, name):
    return next(one for one in line(bridge, pack) if one.name == name)


def tags(bridge, pack):
    with bridge.desk.ledger.reading() as reader:
        looks = Looks(reader, stamp(bridge.at))
        return pack_page(looks, looks.state.pack(pack)).tags


def by_override(bridge, strip="TURNED"):
    """A pack nobody released, opened by a surgeon's override."""
    one = bridge.new_set("Eye set 1")
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.sterilise([pack])
    bridge.scans("theatre-1", NURSE, patient(812), pack, SURGEON, "=no other", strip)
    return pack


def test_each_step_says_when_who_and_in_which_machine(bridge):
    pack, _ = bridge.ready()
    bridge.desk.beside(
        bridge.new_id(), lambda batch: batch.keep_name(TECHNICIAN, "person", "Ivo Marsh", None), {}
    ).result(10)
    bridge.scans("store-1", TECHNICIAN)
    bridge.wait(60)
    bridge.scans("store-1", TECHNICIAN, SHELF, pack)
    bridge.scans("theatre-1", NURSE, patient(812), pack, "TURNED")
    found = line(bridge, pack)
    assert [one.name for one in found] == ["received", "in wash", "washed", "packed", "loaded", "started", "ended", "judged", "unloaded",
                                           "released", "stored", "opened"]  # fmt: skip
    assert {one.kind for one in found[:-1]} == {"ring"} and found[-1].kind == "opening"
    washing, loading, opening = found[1], found[4], found[11]
    assert (washing.when, washing.who, washing.badge, washing.words) == (
        "4 March 08:00",
        "Ivo Marsh",
        TECHNICIAN,
        "Washer 1, wash load 0001",
    )
    assert loading.words == "Steriliser 1, load 0001"
    assert (opening.who, opening.badge, opening.words) == ("", NURSE, f"for {patient(812)}")
    assert found[10].words == "shelf 2"


def test_a_gap_stands_where_its_step_would_with_its_reason(bridge):
    pack = by_override(bridge)
    found = line(bridge, pack)
    gap = next(one for one in found if one.kind == "gap")
    assert (gap.name, gap.words, gap.when) == ("released", "nobody released the load", "")
    assert [one.kind for one in found[-3:]] == ["gap", "override", "opening"]
    assert "a gap in the record" in tags(bridge, pack)


def test_an_override_says_why_by_whom_and_that_it_is_unconfirmed_until_it_is_not(bridge):
    pack = by_override(bridge)
    shown = step(bridge, pack, "override")
    assert (shown.badge, shown.words, shown.stood_for) == (SURGEON, "not released: no other", "unconfirmed")
    bridge.act("confirm override", by=SURGEON, pack=pack)
    assert step(bridge, pack, "override").stood_for == "confirmed 4 March 08:45"


def test_an_override_stood_for_after_a_day_says_that_it_was_late(bridge):
    pack = by_override(bridge)
    bridge.wait(60 * 25)
    bridge.act("confirm override", by=SURGEON, pack=pack)
    assert step(bridge, pack, "override").stood_for == "confirmed 5 March 09:45, late"


def test_every_rule_that_was_overridden_is_a_step_of_its_own(bridge):
    one = bridge.new_set("Eye set 1")
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.sterilise([pack], unload=False)
    bridge.scans("unloading-1", pack, "PALE", "DONE")
    bridge.scans("theatre-1", NURSE, patient(812), pack, SURGEON, "=no other")
    overrides = [one.words for one in line(bridge, pack) if one.kind == "override"]
    assert overrides == ["not released: no other", "tape pale: no other"]


def test_what_was_found_out_later_points_at_the_step_it_speaks_of(bridge):
    pack, load = bridge.ready()
    bridge.scans("theatre-1", NURSE, patient(812), pack, "PALE")
    bridge.wait(60 * 24)
    bridge.act("place indicator", load=load, indicator="biological", lot="B-1", control_lot="B-1", due="2026-03-06")
    bridge.act("read indicator", load=load, indicator="biological", result="positive", lot="B-1", control="grew")
    bridge.act("open recall", by=MANAGER, load=load, reach="load", why="biological positive")
    assert step(bridge, pack, "opened").news == ("strip pale, 4 March",)
    assert step(bridge, pack, "ended").news == ("biological positive, 5 March", "recalled, 5 March")
    assert [words.split(":")[0] for words in step(bridge, pack, "released").news] == ["held", "held"]


def test_news_about_a_step_the_pack_never_reached_points_at_the_last_it_did(bridge):
    one = bridge.new_set("Eye set 1")
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.sterilise([pack], unload=False)
    bridge.act("reject", load=steam_load(1), why="power cut")
    assert step(bridge, pack, "ended").news == ("rejected: power cut, 4 March",)


def test_a_step_that_did_not_pass_is_no_ring_like_the_others(bridge):
    one = bridge.new_set("Eye set 1")
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.sterilise([pack], verdict="fail")
    assert (step(bridge, pack, "judged").kind, step(bridge, pack, "judged").words) == (
        "bad",
        "fail by the log, 200 s held",
    )
    assert step(bridge, pack, "washed").kind == "ring"


def test_what_was_taken_back_is_no_step(bridge):
    pack, _ = bridge.ready()
    bridge.scans("theatre-1", NURSE, patient(812), pack, "TURNED", "UNDO", "YES")
    assert "opened" not in [one.name for one in line(bridge, pack)]


@pytest.mark.parametrize(("minutes", "said"), [(14, ""), (40, "noted 40 min late")])
def test_what_was_noted_late_says_how_late(bridge, minutes, said):
    one = bridge.new_set("Eye set 1")
    bridge.scans("wash-1", TECHNICIAN, wash_load(1))
    seen = stamp(bridge.at)
    bridge.wait(minutes)
    bridge.scan("wash-1", one, seen_at=seen)
    assert step(bridge, bridge.pack_of(one), "received").late == said


def test_gaps_overrides_and_later_news_can_be_told_without_colour(page):
    """In print and in grey: the dashes, the marks, and the words GAP, OVERRIDE and unconfirmed stay."""
    shown, bridge, _ = page
    pack = by_override(bridge, "PALE")
    for media in ("screen", "print"):
        shown.emulate_media(media=media)
        for width in (1280, 390):
            shown.set_viewport_size({"width": width, "height": 900})
            shown.goto(f"/packs/{pack}")
            side = "top" if width > 640 else "left"
            dashes = shown.evaluate(
                f"getComputedStyle(document.querySelector('.custody .gap .mark'), '::before').border{side.capitalize()}Style"
            )
            whole = shown.evaluate(
                f"getComputedStyle(document.querySelector('.custody .ring .mark'), '::before').border{side.capitalize()}Style"
            )
            assert (dashes, whole) == ("dashed", "solid"), (media, width)
            for words in ("GAP: released", "nobody released the load", "OVERRIDE", "unconfirmed", "strip pale"):
                assert shown.locator(f".custody :text('{words}')").first.is_visible(), (media, width, words)
            news, mark = (shown.locator(f".custody .opening .{part}").bounding_box() for part in ("news", "mark"))
            assert news["y"] + news["height"] <= mark["y"] + 1
        shown.set_viewport_size({"width": 1280, "height": 900})
        tops = Counter(round(one.bounding_box()["y"]) for one in shown.locator(".custody .mark").all())
        rows = [tops[y] for y in sorted(tops)]
        assert len(rows) == (2 if media == "screen" else 3), "the rings of a row stand in one line"
        assert set(rows[:-1]) == {rows[0]} and rows[-1] <= rows[0]
