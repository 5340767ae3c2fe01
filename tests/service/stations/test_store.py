"""The store: shelves, quarantine, cooling."""

from tests.practice import (
    SHELF,
    TECHNICIAN,
    card,
    patient,
)

PAT = patient(812)


def test_a_released_pack_goes_on_its_shelf(bridge):
    pack, _ = bridge.ready()
    bridge.wait(40)
    assert bridge.scans("store-1", TECHNICIAN, SHELF, pack)["verdict"] == "go"
    assert bridge.facts("stored")[0].data == {"shelf": SHELF}
    assert bridge.record("pack", pack).shelf == SHELF


def test_the_store_asks_for_the_shelf_first(bridge):
    pack, _ = bridge.ready()
    assert bridge.scans("store-1", TECHNICIAN, pack)["headline"] == "Which shelf?"


def test_a_warm_pack_asks_before_it_is_stored(bridge):
    pack, _ = bridge.ready()
    answer = bridge.scans("store-1", TECHNICIAN, SHELF, pack)
    assert answer["rule"] == "still_warm"
    assert bridge.scan("store-1", "YES")["verdict"] == "go"


def test_a_card_that_says_nothing_here_is_asked_about(bridge):
    bridge.scan("store-1", TECHNICIAN)
    assert bridge.scan("store-1", "TURNED")["rule"] == "no_meaning"
    assert bridge.scan("store-1", "=hello")["verdict"] == "ask"
    assert bridge.scan("store-1", card("WET"))["headline"] == "Which pack?"
