"""The office by scan: for and against, release, reject, where things are."""

from tests.practice import (
    MANAGER,
    patient,
)

PAT = patient(812)


def test_the_office_says_where_a_pack_or_set_is_and_never_go(bridge):
    pack, _ = bridge.ready()
    one = bridge.record("pack", pack).set
    for code in (pack, one):
        answer = bridge.scans("office-1", MANAGER, code)
        assert answer["verdict"] == "ask"
        assert "released" in answer["headline"]
