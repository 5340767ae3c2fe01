"""Steps that several tests of the stations share."""

from service.custody.practice import ShelfLife
from tests.practice import NURSE, SURGEON, TECHNICIAN, patient, steam_load

PAT, OTHER = patient(812), patient(813)


def at_theatre(bridge, pack, theatre="theatre-1", who=PAT):
    """Ask at theatre whether this pack may be opened."""
    bridge.scans(theatre, NURSE, who)
    return bridge.scan(theatre, pack)


def waiting(bridge, name="Dental extraction A", number=1, **more):
    """A set all the way to waiting: pack, load."""
    one = bridge.new_set(name, **more)
    bridge.wash([one], number)
    pack = bridge.pack(one)
    return pack, bridge.sterilise([pack], number)


def place(bridge, load, **more):
    return bridge.act(
        "place indicator", load=load, indicator="biological", lot="B-1", control_lot="B-1", due="2026-03-06", **more
    )


def read(bridge, load, result, control="grew"):
    return bridge.act("read indicator", load=load, indicator="biological", result=result, lot="B-1", control=control)


LIVES = {"double": ShelfLife(14, "test"), "pouch": ShelfLife(None, "test"), "none": ShelfLife(0, "test")}


def immediate(bridge, **more):
    one = bridge.new_set(**more)
    bridge.wash([one])
    bridge.scans("packing-1", TECHNICIAN, one, "YES", "=16", "=24", "3", "DONE")
    pack = bridge.pack_of(one)
    bridge.scan("packing-1", pack)
    bridge.scans("loading-1", TECHNICIAN, steam_load(1), pack, "DONE")
    return pack


def override(bridge, pack, reason="=bleeding, no other set"):
    assert bridge.scan("theatre-1", SURGEON)["rule"] == "override"
    return bridge.scan("theatre-1", reason)


def kinds(bridge, start=0):
    """The kinds of the facts from number `start` on."""
    return [fact.kind for fact in bridge.facts()][start:]
