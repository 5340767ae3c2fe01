"""Loading and unloading: into the load, out of it, its cycle between."""

from tests.practice import (
    MANAGER,
    NURSE,
    QUARANTINE,
    SHELF,
    TECHNICIAN,
    patient,
    steam_load,
    wash_load,
)
from tests.service.stations.steps import kinds

PAT = patient(812)


def test_a_machine_nobody_registered_is_stopped(bridge):
    bridge.scan("wash-1", TECHNICIAN)
    assert bridge.scan("wash-1", wash_load(1, machine=7))["rule"] == "machine_unknown"
    bridge.scan("loading-1", TECHNICIAN)
    assert bridge.scan("loading-1", steam_load(1, machine=7))["rule"] == "machine_unknown"


def test_a_pack_goes_through_loading_and_unloading(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    start = len(bridge.facts())
    load = bridge.sterilise([pack])
    assert kinds(bridge, start) == [
        "loaded",
        "cycle_started",
        "cycle_ended",
        "unloaded",
        "indicator_read",
        "cycle_judged",
    ]
    started, ended, unloaded, read = (
        bridge.facts(k)[-1] for k in ("cycle_started", "cycle_ended", "unloaded", "indicator_read")
    )
    assert started.data == {"programme": "134/3", "load_kind": "goods"}
    assert ended.data == {"display": "complete"}
    assert unloaded.data == {"dry": True, "whole": True, "tape": "turned"}
    assert (read.data["indicator"], read.data["result"], read.load, read.pack) == ("tape", "turned", load, pack)
    assert bridge.where(pack) == "waiting"


def test_out_takes_a_pack_out_of_the_load(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack)
    assert bridge.scan("loading-1", "OUT")["verdict"] == "ask"
    assert bridge.scan("loading-1", pack)["verdict"] == "go"
    assert (bridge.where(pack), bridge.record("load", steam_load(1)).packs) == ("packed", ())
    assert bridge.scan("loading-1", pack)["verdict"] == "go"
    assert bridge.record("load", steam_load(1)).packs == (pack,)


def test_a_pack_in_one_load_is_stopped_at_another(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, steam_load(2))
    assert bridge.scan("loading-1", pack)["rule"] == "already_loaded"


def test_an_empty_load_asks_which_test_it_is(bridge):
    bridge.scans("loading-1", TECHNICIAN, steam_load(1))
    assert "test" in bridge.scan("loading-1", "DONE")["headline"]
    assert bridge.scan("loading-1", "3")["verdict"] == "go"
    assert bridge.facts("cycle_started")[0].data["load_kind"] == "proving"


def test_nothing_goes_into_a_load_that_runs(bridge):
    first, second = bridge.new_set("A"), bridge.new_set("B")
    bridge.wash([first, second])
    packs = [bridge.pack(first), bridge.pack(second)]
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), packs[0], "DONE", "1", steam_load(1))
    assert bridge.scan("loading-1", steam_load(1))["rule"] == "cycle_running"


def test_a_choice_that_is_not_there_is_asked_again(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    answer = bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, "DONE", "9")
    assert (answer["verdict"], bridge.facts("cycle_started")) == ("ask", [])


def test_packs_come_out_only_after_the_end(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, "DONE", "1")
    bridge.scans("unloading-1", TECHNICIAN, steam_load(1))
    assert bridge.scan("unloading-1", pack)["rule"] == "cycle_not_ended"


def test_a_load_that_was_never_started_cannot_be_unloaded(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack)
    bridge.scan("unloading-1", TECHNICIAN)
    assert bridge.scan("unloading-1", steam_load(1))["rule"] == "cycle_not_started"
    assert bridge.scan("unloading-1", steam_load(2))["rule"] == "load_not_open"


def test_a_pack_that_is_not_on_the_list_stops_at_unloading(bridge):
    first, second = bridge.new_set("A"), bridge.new_set("B")
    bridge.wash([first, second])
    packs = [bridge.pack(first), bridge.pack(second)]
    bridge.sterilise(packs[:1], unload=False)
    answer = bridge.scan("unloading-1", packs[1])
    assert (answer["rule"], bridge.facts("refused")[-1].pack) == ("not_in_load", packs[1])


def test_done_at_unloading_names_the_packs_not_scanned(bridge):
    first, second = bridge.new_set("A"), bridge.new_set("B")
    bridge.wash([first, second])
    packs = [bridge.pack(first), bridge.pack(second)]
    bridge.sterilise(packs, unload=False)
    bridge.scan("unloading-1", packs[0])
    answer = bridge.scan("unloading-1", "DONE")
    assert answer["verdict"] == "ask"
    assert packs[1] in answer["detail"]


def test_a_waiting_pack_goes_to_quarantine_only(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    bridge.sterilise([pack])
    bridge.wait(40)
    assert bridge.scans("store-1", TECHNICIAN, SHELF, pack)["rule"] == "quarantine_only"
    assert bridge.scans("store-1", QUARANTINE, pack)["verdict"] == "go"


def test_the_office_releases_by_card_after_showing_what_speaks_for_and_against(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    load = bridge.sterilise([bridge.pack(one)])
    answer = bridge.scans("office-1", NURSE, load)
    assert answer["verdict"] == "ask"
    assert "strips inside: not yet seen" in answer["detail"]
    assert "they went through a cycle, no more" in answer["detail"]
    assert bridge.scan("office-1", "YES")["verdict"] == "go"
    assert bridge.facts("released")[0].data == {"alone": False}


def test_the_office_rejects_by_card_with_a_typed_reason(bridge):
    one = bridge.new_set()
    bridge.wash([one])
    pack = bridge.pack(one)
    load = bridge.sterilise([pack])
    assert bridge.scans("office-1", MANAGER, load, "FAIL", "=display said fault")["verdict"] == "go"
    assert bridge.flags(pack) == ["compromised"]
    assert "cannot be released by a card" in bridge.scan("office-1", load)["headline"]
