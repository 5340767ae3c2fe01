"""Machines and programmes: out of service, tests due, too hot, immediate use."""

import pytest

from tests.practice import SHELF, TECHNICIAN, steam_load, wash_load
from tests.service.stations.steps import OTHER, at_theatre, immediate, waiting


@pytest.mark.parametrize("state", ["washing", "clean", "packed", "loaded"])
def test_a_pack_earlier_on_the_circle_is_stopped(bridge, state):
    one = bridge.new_set()
    bridge.scans("wash-1", TECHNICIAN, wash_load(1), one)
    if state != "washing":
        bridge.scan("wash-1", "PASS")
    if state in {"packed", "loaded"}:
        bridge.pack(one)
    if state == "loaded":
        bridge.scans("loading-1", TECHNICIAN, steam_load(1), bridge.pack_of(one))
    assert at_theatre(bridge, bridge.pack_of(one))["verdict"] == "stop"


@pytest.mark.parametrize("word", ["WET", "TORN", "DROPPED"])
@pytest.mark.parametrize("station", ["unloading-1", "store-1", "theatre-1"])
def test_wet_torn_and_dropped_count_at_every_station_after_packing(bridge, station, word):
    pack, _ = bridge.ready()
    bridge.wait(40)
    if station == "unloading-1":
        other = bridge.new_set("B")
        bridge.wash([other], 2)
        pack = bridge.pack(other)
        bridge.sterilise([pack], 2, unload=False)
        bridge.scan("unloading-1", pack)
    elif station == "store-1":
        bridge.scans("store-1", TECHNICIAN, SHELF, pack)
    else:
        at_theatre(bridge, pack)
    assert bridge.scan(station, word)["verdict"] == "go"
    assert bridge.flags(pack) == ["compromised"]
    assert bridge.facts("compromised")[-1].data["why"] == word.lower()
    if station != "unloading-1":
        answer = at_theatre(bridge, pack, "theatre-2", OTHER)
        assert answer["rule"] == "compromised"


def test_wet_at_unloading_leaves_a_note_on_what_the_scan_said(bridge):
    pack, _ = waiting(bridge)
    bridge.scans("unloading-1", TECHNICIAN, steam_load(1), pack, "WET")
    bridge.scan("unloading-1", "WET")
    unloaded, note = bridge.facts("unloaded")[0], bridge.facts("amended")[-1]
    assert note.data == {"of": unloaded.id, "undo": False, "why": "wet"}
    assert bridge.record("pack", pack).unloaded_at


def test_a_wet_pack_condemns_the_whole_load_where_the_site_chose_so(at_work):
    bridge = at_work(wet_condemns="load")
    first, second = bridge.new_set("A"), bridge.new_set("B")
    bridge.wash([first, second])
    packs = [bridge.pack(first), bridge.pack(second)]
    load = bridge.sterilise(packs, unload=False)
    bridge.scans("unloading-1", packs[0], packs[1])
    assert "whole load" in bridge.scan("unloading-1", "WET")["detail"]
    assert bridge.record("load", load).rejected
    assert bridge.flags(packs[0]) == ["compromised"]


def test_the_end_of_a_cycle_is_said_once(bridge):
    waiting(bridge)
    assert bridge.scans("unloading-1", TECHNICIAN, steam_load(1), "END", "PASS")["rule"] == "cycle_ended"


def test_a_machine_out_of_service_takes_no_load(bridge):
    bridge.act("stop machine", machine="L-K7-1", why="leak")
    bridge.scan("loading-1", TECHNICIAN)
    answer = bridge.scan("loading-1", steam_load(1))
    assert (answer["rule"], "leak" in answer["detail"]) == ("machine_stopped", True)
    bridge.act("return machine", machine="L-K7-1", why="mended")
    assert bridge.scan("loading-1", steam_load(1))["verdict"] == "go"


def test_a_test_runs_without_packs(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), "DONE")
    bridge.scans("loading-2", TECHNICIAN, steam_load(1), pack)
    assert bridge.scan("loading-1", "1")["rule"] == "test_load_not_empty"


def test_a_programme_a_set_cannot_bear_is_stopped(bridge):
    one = bridge.new_set(bears_c=121)
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, "DONE")
    answer = bridge.scan("loading-1", "1")
    assert (answer["rule"], "134 °C" in answer["detail"]) == ("programme_too_hot", True)
    bridge.scan("loading-1", "DONE")
    assert bridge.scan("loading-1", "2")["verdict"] == "go"


def test_an_implant_never_goes_for_immediate_use(bridge):
    immediate(bridge, implant=True)
    assert bridge.scan("loading-1", "3")["rule"] == "immediate_implant"


def test_wrapped_and_unwrapped_go_into_their_own_programmes(bridge):
    immediate(bridge)
    assert bridge.scan("loading-1", "1")["rule"] == "not_for_these"


def test_a_wrapped_pack_does_not_go_for_immediate_use(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), bridge.pack(one), "DONE")
    assert bridge.scan("loading-1", "3")["rule"] == "not_for_these"


def test_a_site_may_wash_every_set_again(at_work):
    bridge = at_work(clean_entry=False)
    pack, _ = waiting(bridge)
    bridge.scans("unloading-1", TECHNICIAN, steam_load(1), pack, "WET")
    bridge.scan("packing-1", TECHNICIAN)
    assert bridge.scan("packing-1", bridge.record("pack", pack).set)["rule"] == "clean_entry_not_allowed"
