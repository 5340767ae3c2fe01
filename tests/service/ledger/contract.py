"""What every store must keep: the contract of `service.ledger.store`, as tests. A store's test class inherits these."""

import json
import threading

import pytest

from label_templates import codes
from service.custody.facts import Fact
from service.ledger.ids import is_uuid
from service.ledger.seal import FIRST_PREV, fact_hash
from service.ledger.store import LedgerError
from service.ledger.verify import verify
from service.stations.desk import Desk
from tests.practice import NURSE, SHEET, SITE, SURGEON, TECHNICIAN, TarnBridge, chosen, patient, steam_load, wash_load
from tests.published import outside

NOW_MS = 1_772_611_200_000


def set_fact(number, site=SITE):
    code = codes.set_code(site, number).text
    data = {
        "number": number,
        "name": f"Set {number}",
        "mark": None,
        "wrap": "double",
        "bears_c": None,
        "kind": "set",
        "implant": False,
        "sheet": [],
    }
    return Fact("set_registered", "2026-03-04T08:00:00.000Z", site, "office-1", None, code, None, None, None, data)


def note(ledger, *facts):
    with ledger.batch(NOW_MS) as batch, batch.part() as part:
        return part.note(list(facts))


def opened(site=SITE):
    return Fact("site_opened", "2026-03-04T08:00:00.000Z", site, "x-1", None, None, None, None, None, {"name": "N"})


class Contract:
    """`ledger` is a new ledger of site K7; `again()` opens the same one anew; `of(site)` opens it for another site."""

    def test_seq_counts_from_one_without_a_hole_and_each_fact_follows_the_one_before(self, ledger):
        written = note(ledger, opened(), *(set_fact(n) for n in range(1, 6)))
        with ledger.reading() as reader:
            facts = list(reader.facts())
            assert facts == written
            assert [fact.seq for fact in facts] == [1, 2, 3, 4, 5, 6]
            assert reader.head() == (6, facts[-1].hash)
        prevs = [FIRST_PREV, *(fact.hash for fact in facts[:-1])]
        assert [fact.prev for fact in facts] == prevs
        assert all(fact.hash == fact_hash(fact) and is_uuid(fact.id) for fact in facts)
        assert outside.check_chain([fact.as_dict() for fact in facts])[SITE] == (6, facts[-1].hash)

    def test_facts_come_back_as_they_went_in_whatever_text_they_hold(self, ledger):
        fact = set_fact(1)
        fact.data["name"] = "é “quoted” \\ \n \t 😀 % ? %s '; DROP"
        fact.data["more"] = [{"group": "ﬁ", "line": "−0", "count": 2**53 - 1}, None, True, False, []]
        note(ledger, opened(), fact)
        with ledger.reading() as reader:
            assert list(reader.facts())[1].data == fact.data

    def test_what_a_batch_keeps_is_there_when_the_ledger_is_opened_again(self, ledger, again):
        with ledger.batch(NOW_MS) as batch:
            with batch.part() as part:
                part.note([opened(), set_fact(1)])
            batch.keep_answer("scan-1", "{}")
            batch.keep_hand("wash-1", '{"badge":1}')
            batch.keep_name("B-1", "person", "Somebody", None)
            batch.keep_log("0" * 64, "L-1", "134/3", b"\x00log\xff")
            batch.keep_photo("2" * 64, "L-1", "image/png", b"\x89PNG\x00")
            batch.keep("checkpoint", 2, "root", "at", "key", "signature")
        other = again()
        with other.reading() as reader:
            assert reader.head()[0] == 2
            assert reader.answers(["scan-1", "scan-2"]) == {"scan-1": "{}"}
            assert (reader.hand("wash-1"), reader.hands()) == ('{"badge":1}', {"wash-1": '{"badge":1}'})
            assert reader.names() == [("B-1", "person", "Somebody", None)]
            assert reader.photo("L-1", "2" * 64) == ("image/png", b"\x89PNG\x00")
            assert reader.photo("L-1", "0" * 64) is None
            assert list(reader.kept("cycle_log")) == [("L-1", "0" * 64, "134/3", b"\x00log\xff")]
            assert (reader.load_of_log("0" * 64), reader.load_of_log("1" * 64)) == ("L-1", None)
            assert reader.state.load_of_log("0" * 64) == "L-1"
            assert list(reader.kept("checkpoint")) == [(2, "root", "at", "key", "signature")]

    def test_a_part_that_fails_takes_back_only_itself(self, ledger):
        note(ledger, opened())
        with ledger.batch(NOW_MS) as batch:
            with batch.part() as part:
                part.note([set_fact(1)])
            with pytest.raises(ZeroDivisionError), batch.part() as part:
                part.note([set_fact(2)])
                raise ZeroDivisionError
            with batch.part() as part:
                part.note([set_fact(3)])
        with ledger.reading() as reader:
            assert [fact.set for fact in reader.facts(1)] == [codes.set_code(SITE, n).text for n in (1, 3)]
            assert reader.get("set", codes.set_code(SITE, 2).text) is None
            assert verify(reader).fault is None

    def test_a_batch_that_fails_leaves_nothing_and_the_next_one_succeeds(self, ledger):
        note(ledger, opened())
        with pytest.raises(KeyError), ledger.batch(NOW_MS) as batch:
            with batch.part() as part:
                part.note([set_fact(1)])
            batch.keep_answer("scan-1", "{}")
            batch.keep_hand("wash-1", "{}")
            raise KeyError
        note(ledger, set_fact(2))
        with ledger.reading() as reader:
            assert [fact.set for fact in reader.facts(1)] == [codes.set_code(SITE, 2).text]
            assert (reader.answers(["scan-1"]), reader.hand("wash-1")) == ({}, None)
            assert verify(reader).fault is None

    def test_an_answer_is_found_again_with_its_facts_and_in_its_own_batch(self, ledger):
        with ledger.batch(NOW_MS) as batch:
            assert batch.answers(["a", "b"]) == {}
            batch.keep_answer("a", '{"n":1}')
        with ledger.batch(NOW_MS) as batch:
            assert batch.answers(["a", "b"]) == {"a": '{"n":1}'}
            batch.keep_answer("b", '{"n":2}')
        with ledger.reading() as reader:
            assert reader.answers(["b"]) == {"b": '{"n":2}'}

    def test_a_reader_keeps_its_moment_and_sees_whole_batches(self, ledger, again):
        note(ledger, opened())
        other = again()
        with other.reading() as reader:
            before = reader.head()
            note(ledger, set_fact(1), set_fact(2))
            assert reader.head() == before
            assert [fact.seq for fact in reader.facts()] == [1]
            with other.reading() as nested:
                assert nested.head() == before
        with other.reading() as reader:
            assert reader.head()[0] == 3

    def test_a_reader_never_blocks_the_writer(self, ledger):
        note(ledger, opened())
        with ledger.reading() as reader:
            stream = reader.facts()
            next(stream)
            done = threading.Thread(target=note, args=(ledger, set_fact(1)))
            done.start()
            done.join(8)
            assert not done.is_alive()

    def test_a_fact_of_another_site_is_not_written_into_this_chain(self, ledger):
        note(ledger, opened())
        with pytest.raises(LedgerError, match="site M2 cannot be written into the chain of K7"):
            note(ledger, opened("M2"))

    def test_two_sites_keep_a_chain_each_and_see_nothing_of_each_other(self, ledger, of):
        other = of("M2")
        note(ledger, opened())
        note(other, opened("M2"), set_fact(1, "M2"))
        note(ledger, set_fact(1))
        with other.batch(NOW_MS) as batch:
            batch.keep_hand("wash-1", "theirs")
            batch.keep_name("PAT-1", "patient", "Their dog", None)
        with ledger.reading() as reader:
            assert reader.sites() == ["K7", "M2"]
            assert [fact.seq for fact in reader.facts()] == [1, 2]
            assert [fact.site for fact in reader.of("M2").facts()] == ["M2", "M2"]
            assert (reader.hand("wash-1"), reader.name("PAT-1")) == (None, None)
            assert reader.of("M2").name("PAT-1") == "Their dog"
            assert len(reader.everything("set")) == 1
            found = verify(reader)
        assert (found.fault, found.facts, sorted(found.heads)) == (None, 4, ["K7", "M2"])

    def test_two_writers_of_one_site_take_turns_and_neither_works_from_old_records(self, ledger, again):
        note(ledger, opened(), set_fact(1))
        other = again()
        with ledger.batch(NOW_MS) as batch:
            batch.keep_hand("wash-1", "one")
        with other.batch(NOW_MS) as batch:
            assert batch.hand("wash-1") == "one"
            batch.keep_hand("wash-1", "two")
        with ledger.batch(NOW_MS) as batch:
            assert batch.hand("wash-1") == "two"
        for number in range(2, 8):
            note(other if number % 2 else ledger, set_fact(number))
        with ledger.reading() as reader:
            assert [fact.seq for fact in reader.facts()] == list(range(1, 9))
            assert verify(reader).fault is None

    def test_who_may_come_in_is_kept_by_kind_and_key_until_it_is_dropped(self, ledger, again):
        with ledger.batch(NOW_MS) as batch:
            batch.keep_access("session", "b", "two")
            batch.keep_access("session", "a", "one")
            batch.keep_access("pin", "a", "secret")
            assert batch.access("pin", "a") == "secret"
        with again().batch(NOW_MS) as batch:
            batch.keep_access("session", "a", "changed")
            batch.drop_access("session", "b")
            assert (batch.access("session", "b"), batch.access("pin", "a")) == (None, "secret")
        with ledger.reading() as reader:
            assert reader.accesses("session") == [("a", "changed")]
            assert (reader.access("pin", "a"), reader.access("pin", "b")) == ("secret", None)

    def test_a_name_forgotten_is_gone_and_the_chain_still_verifies(self, ledger):
        note(ledger, opened(), set_fact(1))
        with ledger.batch(NOW_MS) as batch:
            batch.keep_name("PAT-1", "patient", "Milo", "cat")
            batch.keep_name("PAT-2", "patient", "Juno", "dog")
        with ledger.batch(NOW_MS) as batch:
            batch.forget_name("PAT-1")
        with ledger.reading() as reader:
            assert [row[0] for row in reader.names("patient")] == ["PAT-2"]
            assert verify(reader).fault is None

    def test_sealed_facts_of_another_ledger_are_adopted_only_in_their_order(self, ledger, of):
        facts = note(ledger, opened(), *(set_fact(n) for n in range(1, 5)))
        fresh = of("K7", new=True)
        for wrong in ([facts[1]], [facts[0], facts[2]], [facts[0], facts[0]]):
            with pytest.raises(LedgerError), fresh.batch(NOW_MS) as batch, batch.part() as part:
                part.adopt(wrong)
        with fresh.batch(NOW_MS) as batch, batch.part() as part:
            part.adopt(facts)
        with fresh.reading() as reader, ledger.reading() as mine:
            assert list(reader.facts()) == list(mine.facts())
            assert list(reader.rows("set")) == list(mine.rows("set"))

    def test_every_look_a_page_takes_is_answered_alike(self, ledger, of):
        """A whole turn played on the store and on memory: every record, fact, history and list is equal."""
        from service.ledger.memory import MemoryLedger

        seen = []
        for store in (ledger, MemoryLedger(chosen())):
            bridge = TarnBridge.over(store, close=False)
            pack, load = bridge.ready(sheet=SHEET)
            one = bridge.record("pack", pack).set
            bridge.scans("theatre-1", "B-K7-005-F", "A-K7-000827-R", pack)
            bridge.scans("wash-1", TECHNICIAN, wash_load(2), one, "YES", "UNDO", pack)
            with store.reading() as reader:
                assert verify(reader).fault is None
                seen.append({
                    "rows": {kind: list(reader.rows(kind)) for kind in ("pack", "load", "set", "person", "machine", "case", "patient", "site")},
                    "kinds": [fact.kind for fact in reader.facts()],
                    "history": {f"{key}": [f.seq for f in reader.history(*key)] for key in (("pack", pack), ("load", load), ("set", one), ("case", codes.case_code(SITE, 1).text))},
                    "loads": [[x.code for x in reader.loads(10, kind)] for kind in (None, "L", "W")],
                    "of": [x.code for x in reader.loads_of("L-K7-1")], "latest": [x.code for x in reader.latest("L-K7-1", 1)],
                    "machine": [f.kind for f in reader.history("machine", "L-K7-1")], "packs": [x.code for x in reader.packs_of(one)],
                    "fact": reader.fact(next(reader.facts(4)).id).seq, "log": reader.log(load), "recalls": reader.recalls(),
                    "until": [f.seq for f in reader.facts(3, 7)], "leaves": len(list(reader.hashes(0, 9))), "cases": reader.cases_of("A-K7-000827-R"),
                    "hands": {station: set(json.loads(body)) for station, body in reader.hands().items()},
                })  # fmt: skip
            bridge.close()
        for key in seen[0]:
            assert _timeless(seen[0][key]) == _timeless(seen[1][key]), key

    def test_what_is_open_what_happened_and_where_is_answered_alike(self, ledger):
        """The looks of the board, the search and a station's day, after a day with something of everything in it."""
        from service.ledger.memory import MemoryLedger

        seen = []
        for store in (ledger, MemoryLedger(chosen())):
            bridge = TarnBridge.over(store, close=False)
            whole_day(bridge)
            with store.reading() as reader:
                seen.append({
                    "unsettled": [load.code for load in reader.unsettled()], "cases": [case.code for case in reader.open_cases()],
                    "overridden": [pack.code for pack in reader.overridden()],
                    "all": {kind: [x.code for x in reader.between(kind, "2026-03-04", "2026-03-05", 99)] for kind in ("pack", "load", "case")},
                    "first": {kind: [x.code for x in reader.between(kind, "2026-03-04", "2026-03-05", 1)] for kind in ("pack", "load", "case")},
                    "none": [reader.between(kind, "2026-03-05", "2026-03-06", 9) for kind in ("pack", "load", "case")],
                    "edge": [x.code for x in reader.between("case", cases[0].opened_at, cases[0].opened_at, 9)] if (cases := reader.open_cases()) else None,
                    "theatre": [(f.kind, f.seq) for f in reader.at_station("theatre-1", "2026-03-04", "2026-03-05")],
                    "not there": reader.at_station("theatre-1", "2026-03-05", "2026-03-06") + reader.at_station("theatre-2", "2026", "2027"),
                    "codes": reader.codes_of(patient(813)), "named": [reader.named(patient(813)), reader.named(patient(814))],
                })  # fmt: skip
            bridge.close()
        assert seen[0] == seen[1]
        mine = seen[0]
        assert sorted(mine["unsettled"]) == [steam_load(1), steam_load(3), steam_load(5), wash_load(6)]
        assert (len(mine["cases"]), len(mine["overridden"])) == (1, 1)
        assert [len(found) for found in mine["all"].values()] == [2, 11, 2]
        assert mine["none"] == [[], [], []] and mine["edge"] == [] and mine["not there"] == []
        assert {"case_opened", "refused", "overridden", "opened"} <= {kind for kind, _ in mine["theatre"]}
        assert (mine["codes"], mine["named"]) == ([patient(812)], [("Juno", "dog"), None])

    def test_a_load_is_unsettled_in_every_store_exactly_when_its_record_says_so(self, ledger):
        bridge = TarnBridge.over(ledger, close=False)
        whole_day(bridge)
        with ledger.reading() as reader:
            assert {x.code for x in reader.unsettled()} == {x.code for x in reader.everything("load") if not x.settled}
        bridge.close()

    def test_the_highest_number_of_a_series_is_found_whatever_bears_it(self, ledger):
        bridge = TarnBridge.over(ledger, close=False)
        pack, _ = bridge.ready(number=77)
        bridge.wait(60)
        bridge.scans("store-1", TECHNICIAN, codes.shelf_code(SITE, 12).text, pack, codes.shelf_code(SITE, 2).text, pack)
        bridge.scans("theatre-1", NURSE, patient(812))
        instrument = codes.instrument_code(SITE, 40).text
        for code, kind in ((patient(900), "patient"), (instrument, "instrument")):
            write = lambda batch, told=(code, kind): batch.keep_name(*told, "Milo", None)
            bridge.desk.beside(bridge.new_id(), write, {}).result(9)
        told = {"A-K7": 900, "B-K7": 5, "H-K7": 12, "I-K7": 40, "L-K7-1": 77, "W-K7-1": 77, "L-K7-2": 0, "H-QX": 0}
        with ledger.reading() as reader:
            assert {series: reader.highest(series) for series in told} == told
            assert {series: reader.state.highest(series) for series in told} == told
        bridge.act("issue codes", kind="patients", count=3), bridge.act("void code", code=patient(902), why="lost")
        with ledger.reading() as reader:
            assert (reader.get("series", "A-K7").last, reader.get("label", patient(902)).voided) == (903, "lost")
            assert verify(reader).fault is None
        bridge.close()

    def test_a_desk_answers_the_same_scan_once(self, ledger):
        bridge = TarnBridge.over(ledger, close=False)
        one = bridge.new_set()
        bridge.scans("wash-1", TECHNICIAN, wash_load(1))
        scan = bridge.new_id()
        first = bridge.scan("wash-1", one, scan_id=scan)
        before = len(bridge.facts())
        assert bridge.scan("wash-1", one, scan_id=scan) == first
        assert len(bridge.facts()) == before
        assert isinstance(bridge.desk, Desk)
        bridge.close()


def whole_day(bridge):
    """Loads held, waiting, released, rejected and open; a case closed and one open; an override; an animal identified."""
    first, _ = bridge.ready("Released, its biological not read", 1)
    bridge.act(
        "place indicator", load=steam_load(1), indicator="biological", lot="B-1", control_lot="B-1", due="2026-03-06"
    )
    bridge.ready("Released and settled", 2)
    bridge.ready("Held", 3)
    bridge.act("hold", load=steam_load(3), why="door not shut")
    packs = {}
    for number, name in ((4, "Rejected"), (5, "Waiting")):
        packs[number] = bridge.new_set(name)
        bridge.wash([packs[number]], number)
        packs[number] = bridge.pack(packs[number])
        bridge.sterilise([packs[number]], number)
    bridge.act("reject", load=steam_load(4), why="wet inside")
    bridge.scans("wash-1", TECHNICIAN, wash_load(6), bridge.new_set("In the washer"))
    bridge.scans("theatre-1", NURSE, patient(812), first, "TURNED", "=10", "=10", "DONE", "YES", "=nobody counted")
    bridge.scans("theatre-1", patient(813), packs[5], SURGEON, "=no other", "TURNED")
    with bridge.desk.ledger.batch(NOW_MS) as batch:
        batch.keep_name(patient(813), "patient", "Juno", "dog")
    bridge.act("identify patient", patient=patient(813), was=patient(812))


def _timeless(value):
    return json.loads(
        json.dumps(
            value, default=lambda v: [getattr(v, f) for f in v.__slots__] if hasattr(v, "__slots__") else sorted(v)
        )
    )
