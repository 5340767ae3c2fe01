"""Codes come from the ledger: none is given twice, a reprint is a copy, and a voided code stops wherever it is seen."""

import pytest

from label_templates import codes
from tests.practice import MANAGER, NURSE, SHELF, SITE, SURGEON, TECHNICIAN, chosen, patient, steam_load, wash_load
from tests.service.stations.steps import waiting


def issue(bridge, kind, count, by=TECHNICIAN, **more):
    return bridge.act("issue codes", by=by, kind=kind, count=count, **more)


def instrument(number):
    return codes.instrument_code(SITE, number).text


@pytest.mark.parametrize(("kind", "made", "more"), [
    ("patients", patient, {}), ("instruments", instrument, {}), ("loads", steam_load, {"machine": "L-K7-1"}),
    ("loads", wash_load, {"machine": "W-K7-1"}), ("loads", lambda n: steam_load(n, "Z"), {"machine": "L-K7-Z"}),
])  # fmt: skip
def test_a_series_counts_on_from_what_was_issued(bridge, kind, made, more):
    first, then = issue(bridge, kind, 3, **more), issue(bridge, kind, 2, **more)
    assert first["codes"] == [made(n) for n in (1, 2, 3)]
    assert (then["codes"], then["subject"]) == ([made(4), made(5)], made(4))
    told = [fact.data for fact in bridge.facts("codes_issued")]
    assert told == [{"series": made(1).rsplit("-", 2)[0], "first": first, "count": n} for first, n in ((1, 3), (4, 2))]


def test_a_series_begins_after_the_highest_number_that_anything_bears(bridge):
    pack, _ = bridge.ready(number=77)
    bridge.wait(60)
    bridge.scans("store-1", TECHNICIAN, codes.shelf_code(SITE, 12).text, pack, SHELF, pack)
    bridge.scans("theatre-1", NURSE, patient(812))
    bridge.desk.beside(
        bridge.new_id(), lambda batch: batch.keep_name(patient(900), "patient", "Milo", "cat"), {}
    ).result(9)
    begins = {kind: issue(bridge, kind, 1)["codes"] for kind in ("patients", "badges", "shelves", "instruments")}
    assert begins == {"patients": [patient(901)], "badges": [codes.badge_code(SITE, 6).text],
                      "shelves": [codes.shelf_code(SITE, 13).text], "instruments": [instrument(1)]}  # fmt: skip
    assert issue(bridge, "loads", 1, machine="L-K7-1")["codes"] == [steam_load(78)]
    assert issue(bridge, "loads", 1, machine="W-K7-1")["codes"] == [wash_load(78)]


def test_a_card_named_for_a_patient_is_never_issued_again(bridge):
    def named(code=None):
        return bridge.act("name patient", by=NURSE, patient=code)["subject"]

    assert [named(), named(patient(7)), named(patient(3)), named()] == [patient(n) for n in (1, 7, 3, 8)]
    issued = [(fact.data["first"], fact.data["count"]) for fact in bridge.facts("codes_issued")]
    assert issued == [(1, 1), (7, 1), (8, 1)]


def test_a_full_series_refuses_in_words_and_issues_nothing(bridge):
    issue(bridge, "badges", 990)
    answer = issue(bridge, "badges", 10)
    assert (answer["rule"], answer["headline"]) == ("series_full", "There are not enough numbers left.")
    assert answer["detail"] == "10 were asked for, and of the 999 that B-K7 can have, 4 are left."
    assert issue(bridge, "badges", 4)["codes"][-1] == codes.badge_code(SITE, 999).text


@pytest.mark.parametrize(("told", "words"), [
    ({"kind": "spoons", "count": 1}, "'spoons' is not one"), ({"kind": "badges", "count": 0}, "0 codes were asked for"),
    ({"kind": "patients", "count": 1001}, "1001 codes"), ({"kind": "badges", "count": 1, "machine": "L-K7-1"}, "belong to none"),
    ({"kind": "loads", "count": 1}, "is not a machine"), ({"kind": "loads", "count": 1, "machine": "kettle"}, "is not a machine"),
    ({"kind": "loads", "count": 1, "machine": "L-QX-1"}, "stands at another site"),
])  # fmt: skip
def test_what_cannot_be_issued_is_refused_in_words(bridge, told, words):
    answer = bridge.act("issue codes", **told)
    assert (answer["verdict"], words in answer["detail"]) == ("stop", True), answer
    assert bridge.facts("codes_issued") == []


@pytest.mark.parametrize("does", [{"does": "issue codes", "kind": "badges", "count": 1},
                                  {"does": "void code", "code": patient(1), "why": "lost"}])  # fmt: skip
def test_a_surgeon_issues_and_voids_nothing(bridge, does):
    assert bridge.act(by=SURGEON, **does)["rule"] == "not_your_role"


# Printed again


def copies(bridge, code, why=None):
    return bridge.act("print label", by=TECHNICIAN, code=code, **({"why": why} if why else {}))


def test_a_code_printed_again_is_a_copy_with_a_number_of_its_own(bridge):
    card = issue(bridge, "patients", 1)["codes"][0]
    copies(bridge, card), copies(bridge, card, "torn")
    told = [fact.data for fact in bridge.facts("label_printed")]
    assert told == [{"copy": 2, "code": card}, {"copy": 3, "code": card, "why": "torn"}]
    assert bridge.record("label", card).prints == 3


def test_a_set_tags_first_print_is_no_copy(bridge):
    tag = bridge.new_set()
    copies(bridge, tag), copies(bridge, tag)
    assert [fact.data["copy"] for fact in bridge.facts("label_printed")] == [1, 2]


def test_a_packs_copies_are_told_by_the_pack_as_ever(bridge):
    pack, _ = waiting(bridge)
    copies(bridge, pack), copies(bridge, pack)
    assert [(fact.pack, fact.data) for fact in bridge.facts("label_printed")] == [
        (pack, {"copy": 1}),
        (pack, {"copy": 2}),
    ]
    assert bridge.record("pack", pack).prints == 2
    assert bridge.record("label", pack) is None


@pytest.mark.parametrize("code", [patient(2), patient(0), steam_load(1), codes.shelf_code(SITE, 99).text, codes.badge_code(SITE, 77).text,
                                  codes.set_code(SITE, 9).text, codes.card_code("WET").text, codes.case_code(SITE, 1).text,
                                  codes.patient_code("QX", 1).text])  # fmt: skip
def test_what_was_never_issued_is_neither_printed_nor_voided(bridge, code):
    issue(bridge, "patients", 1)
    assert copies(bridge, code)["rule"] == "never_issued"
    assert bridge.act("void code", code=code, why="lost")["rule"] == "never_issued"


# Voided


def void(bridge, code, why="lost"):
    return bridge.act("void code", by=TECHNICIAN, code=code, why=why)


def test_a_voided_card_stops_with_its_reason_wherever_it_is_scanned(bridge):
    cards = issue(bridge, "loads", 2, machine="L-K7-1")["codes"]
    for card in cards:
        assert void(bridge, card, "printed askew")["verdict"] == "go"
    for station in ("loading-1", "unloading-1", "office-1", "wash-1"):
        bridge.scan(station, TECHNICIAN)
        answer = bridge.scan(station, cards[0])
        assert (answer["verdict"], answer["rule"], "printed askew" in answer["detail"]) == ("stop", "code_voided", True)
    assert bridge.facts("refused")[-1].data["rule"] == "code_voided"
    assert (
        bridge.act(
            "place indicator", load=cards[1], indicator="biological", lot="B", control_lot="B", due="2026-03-06"
        )["rule"]
        == "code_voided"
    )


def test_a_voided_shelf_and_patient_card_stop(bridge):
    shelf, card = issue(bridge, "shelves", 1)["codes"][0], issue(bridge, "patients", 1)["codes"][0]
    void(bridge, shelf), void(bridge, card)
    bridge.scan("store-1", TECHNICIAN), bridge.scan("theatre-1", NURSE)
    assert bridge.scan("store-1", shelf)["rule"] == "code_voided"
    assert bridge.scan("theatre-1", card)["rule"] == "code_voided"
    assert bridge.act("name patient", by=NURSE, patient=card)["rule"] == "code_voided"


def test_a_voided_badge_signs_nobody_on_and_is_enrolled_for_nobody(bridge):
    bridge.scan("packing-1", TECHNICIAN)
    assert bridge.act("void code", code=TECHNICIAN, why="lost in the car park")["verdict"] == "go"
    assert bridge.scan("packing-1", "YES")["rule"] == "code_voided"
    assert bridge.scan("wash-1", TECHNICIAN)["rule"] == "code_voided"
    assert bridge.act("issue codes", by=TECHNICIAN, kind="badges", count=1)["rule"] == "code_voided"
    assert bridge.act("enrol staff", badge=TECHNICIAN, roles=["nurse"])["rule"] == "code_voided"
    assert issue(bridge, "badges", 1, by=MANAGER)["codes"] == [codes.badge_code(SITE, 6).text]


def test_a_code_is_voided_once_and_is_not_printed_again(bridge):
    card = issue(bridge, "patients", 1)["codes"][0]
    assert bridge.act("void code", code=card, why=None)["rule"] == "reason_needed"
    void(bridge, card, "lost")
    assert void(bridge, card, "found")["headline"] == "Recorded: nothing new."
    assert copies(bridge, card)["rule"] == "code_voided"
    assert [fact.data for fact in bridge.facts("code_voided")] == [{"code": card, "why": "lost"}]


def test_a_sealed_pack_is_not_voided_its_label_is_printed_again(bridge):
    pack, load = waiting(bridge)
    answer = void(bridge, pack)
    assert (answer["rule"], answer["next"]) == (
        "still_in_use",
        "Print its label again instead: that is a copy of the same code.",
    )
    assert answer["detail"] == f"{pack} stands for a pack that is waiting: voided, it would stop the work at hand."
    bridge.release(load)
    bridge.scans("theatre-1", NURSE, patient(812), pack, "TURNED")
    assert void(bridge, pack)["verdict"] == "go"


def test_a_set_in_use_a_load_begun_and_a_patient_known_are_not_voided(bridge):
    pack, load = waiting(bridge)
    bridge.scans("theatre-1", NURSE, patient(812))
    tag = bridge.record("pack", pack).set
    assert {void(bridge, code)["rule"] for code in (tag, load, wash_load(1), patient(812))} == {"still_in_use"}
    bridge.act("retire set", set=tag, why="worn out")
    assert void(bridge, tag)["verdict"] == "go"


# Many sets at once


def rows(*names):
    line = {"group": "Forceps", "line": "Forceps", "count": 1}
    return [{"name": name, "kind": "set", "implant": False, "sheet": [line]} for name in names]


def test_a_table_of_sets_is_registered_whole_with_serials_in_a_row(bridge):
    bridge.new_set("Old")
    answer = bridge.act("register sets", sets=rows("A", "B", "C"))
    assert answer["codes"] == [codes.set_code(SITE, n).text for n in (2, 3, 4)]
    assert [bridge.record("set", code).name for code in answer["codes"]] == ["A", "B", "C"]
    assert bridge.new_set("Next") == codes.set_code(SITE, 5).text


@pytest.mark.parametrize(("table", "rule"), [(rows("A", "B", "A"), "name_taken"), (rows("A", "Old"), "name_taken"),
                                             ([*rows("A"), rows("B")[0] | {"kind": "spoon"}], "bad_value"),
                                             ([*rows("A"), rows("B")[0] | {"sheet": []}], "bad_value")])  # fmt: skip
def test_a_table_with_one_bad_set_registers_none(bridge, table, rule):
    bridge.new_set("Old")
    assert bridge.act("register sets", sets=table)["rule"] == rule
    assert len(bridge.facts("set_registered")) == 1


def test_the_quarantine_shelves_of_the_settings_are_not_issued(at_work):
    bridge = at_work(quarantine_shelves=(codes.shelf_code(SITE, 40).text,))
    assert chosen().quarantine_shelves
    assert issue(bridge, "shelves", 1)["codes"] == [codes.shelf_code(SITE, 41).text]
