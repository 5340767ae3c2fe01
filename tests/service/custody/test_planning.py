"""Planning a load: what is needed first, what a programme may hold, what a load may weigh."""

import pytest

from service.custody.planning import HEAVIEST_PACK_G, plan
from service.custody.practice import ProgrammeLimits
from tests.practice import TECHNICIAN, steam_load

PROGRAMMES = {
    "134/3": ProgrammeLimits("134/3", 134, ("wrapped", "hollow")),
    "121/30 textiles": ProgrammeLimits("121/30 textiles", 121, ("textile",)),
    "121/15": ProgrammeLimits("121/15", 121, ("wrapped", "textile")),
}


def planned(bridge, *needed):
    with bridge.desk.ledger.reading() as reader:
        return plan(reader.state, reader.state.machine("L-K7-1"), needed)


def packed(bridge, name="Dental extraction A", **more):
    one = bridge.new_set(name, **more)
    bridge.wash([one], len(bridge.facts("wash_ended")) + 1)
    return one, bridge.pack(one)


@pytest.fixture
def bridge(at_work):
    return at_work(programmes=PROGRAMMES)


def test_nothing_packed_is_nothing_to_plan(bridge):
    bridge.new_set()
    assert planned(bridge) is None


def test_what_was_packed_first_goes_first_and_what_is_needed_before_it(bridge):
    sets = [packed(bridge, name)[0] for name in ("Dental extraction A", "Eye set 1", "Fracture basic A")]
    assert [one.pack.set for one in planned(bridge).packs] == sets
    assert [one.pack.set for one in planned(bridge, sets[2], sets[1]).packs] == [sets[2], sets[1], sets[0]]
    assert [one.needed for one in planned(bridge, sets[2]).packs] == [True, False, False]


def test_the_programme_is_the_one_that_takes_what_is_needed(bridge):
    metal = [packed(bridge, name)[0] for name in ("Dental extraction A", "Eye set 1")]
    drapes, pack = packed(bridge, "Drapes", kind="textile")
    hot = planned(bridge, *metal)
    assert (hot.programme, [one.pack.set for one in hot.packs]) == ("121/15", [*metal, drapes])
    assert "textiles below" in hot.packs[-1].mind
    hollow = packed(bridge, "Suction set", hollow=True)[0]
    found = planned(bridge, hollow)
    assert (found.programme, found.packs[0].pack.set) == ("134/3", hollow)
    assert [(one.code, why) for one, _, why in found.left] == [(pack, "This programme is not for textiles.")]


def test_what_is_loaded_wet_or_not_labelled_is_not_planned(bridge):
    one, pack = packed(bridge)
    assert [place.pack.code for place in planned(bridge).packs] == [pack]
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack)
    assert planned(bridge) is None
    assert one


def test_a_load_is_not_made_heavier_than_the_site_allows(at_work):
    bridge = at_work(programmes=PROGRAMMES, load_mass_g=5000, load_mass_source="the maker's handbook")
    heavy, light = (packed(bridge, name)[1] for name in ("Fracture basic A", "Eye set 1"))
    masses = {heavy: 4000, light: 1500}
    found = weighed(bridge, masses)
    assert [one.pack.code for one in found.packs] == [heavy]
    assert [(one.code, why) for one, _, why in found.left] == [(light, "The load would be too heavy with it.")]
    assert (found.mass_g, found.unweighed) == (4000, 0)


def test_a_pack_heavier_than_most_hold_right_is_said_to_be(bridge):
    """25 lb for a set with its container: ANSI/AAMI ST77 as reported (CHECKS 7, READ-2)."""
    _, pack = packed(bridge)
    assert weighed(bridge, {pack: HEAVIEST_PACK_G}).packs[0].mind == ""
    assert "it may come out wet" in weighed(bridge, {pack: HEAVIEST_PACK_G + 1}).packs[0].mind


def weighed(bridge, masses):
    """The plan, had the packs weighed this (a scale at packing is not yet read by a station)."""
    from unittest.mock import patch

    with patch("service.custody.planning.mass_of", lambda _state, pack: masses.get(pack.code)):
        return planned(bridge)
