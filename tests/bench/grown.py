"""Ledgers of any size: turns of sets as the office would write them, sealed and folded, or put down as rows.

Everything in them is generated; a ledger of rows has no valid hashes and is for measuring looks at it only.
"""

import hashlib
from itertools import count

from label_templates import codes
from service.custody.facts import Fact
from service.custody.records import InstrumentSet, Load, Pack
from service.ledger.tables import INSERT_FACT, UPSERT, fact_row, row_of

SITE, PACKS = "K7", 8
AT, NOW_MS = "2026-03-04T08:00:00.000Z", 1_772_611_200_000
MACHINES = "123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
A_LOAD = PACKS * 8 + 6
"""Facts that one load and its packs make."""


def fact(kind, data, **keys):
    whose = [keys.get(name) for name in ("set", "pack", "load", "patient")]
    return Fact(kind, AT, SITE, "office-1", None, *whose, data)


def opening():
    """The site, its people and the sets that go round."""
    badge = codes.badge_code(SITE, 3).text
    yield fact("site_opened", {"name": "Grown"})
    yield fact("staff_enrolled", {"badge": badge, "roles": ["technician"], "may_release": False})
    yield fact(
        "machine_registered",
        {"machine": "W-K7-1", "kind": "washer", "removal": None, "name": "Washer 1", "programmes": [], "steps": []},
    )
    for number in range(1, PACKS * 16 + 1):
        yield fact("set_registered", {"number": number, "name": f"Set {number}", "kind": "single", "implant": False, "mark": None, "wrap": "double",
                                      "bears_c": None, "sheet": [{"group": "g", "line": "l", "count": 1}]}, set=codes.set_code(SITE, number).text)  # fmt: skip


def load_codes(number):
    machine, at = MACHINES[9 + number // 9000], number % 9000 + 1
    return codes.load_code(f"W-{SITE}-{machine}", at).text, codes.load_code(f"L-{SITE}-{machine}", at).text


def members(number):
    """The sets of a load, each with the pack that this turn makes of it."""
    first, turn = number % 16 * PACKS, number // 16 + 1
    sets = [codes.set_code(SITE, first + n + 1).text for n in range(PACKS)]
    return [(one, codes.pack_code(one, turn).text) for one in sets], turn


def load_facts(number):
    """One load from soiled to opened."""
    wash, steam = load_codes(number)
    inside, turn = members(number)
    patient = codes.patient_code(SITE, 1 + number % 900).text
    for one, pack in inside:
        yield fact("received", {"turn": turn, "enter": "soiled"}, set=one, pack=pack)
        yield fact("wash_loaded", {}, set=one, pack=pack, load=wash)
    yield fact("wash_ended", {"result": "pass", "steps": ["clean"]}, load=wash)
    for one, pack in inside:
        yield fact("packed", {"lines": [{"group": "g", "line": "l", "expected": 1, "found": 1}], "short": [], "wrap": "double", "strip_lot": "24-117",
                              "mass_g": None, "implant": False, "shelf_days": 180}, set=one, pack=pack)  # fmt: skip
        yield fact("labelled", {}, set=one, pack=pack)
        yield fact("loaded", {}, set=one, pack=pack, load=steam)
    yield fact("cycle_started", {"programme": "134/3", "load_kind": "goods"}, load=steam)
    yield fact("cycle_ended", {"display": "complete"}, load=steam)
    for one, pack in inside:
        yield fact("unloaded", {"dry": True, "whole": True, "tape": "turned"}, set=one, pack=pack, load=steam)
        yield fact("stored", {"shelf": codes.shelf_code(SITE, 2).text}, set=one, pack=pack)
    yield fact(
        "cycle_judged",
        {"verdict": "pass", "basis": "log", "hold_s": 200, "f0_hundredths": 6000, "log_sha256": "0" * 64},
        load=steam,
    )
    yield fact("released", {"alone": False}, load=steam)
    yield fact(
        "indicator_placed", {"indicator": "biological", "lot": "B-77", "control_lot": None, "due": None}, load=steam
    )
    for one, pack in inside:
        yield fact("opened", {"case": None}, set=one, pack=pack, patient=patient)


def grow(ledger, facts, told=lambda _n: None):
    """Fill an empty ledger up to about `facts` facts, sealed and folded."""
    numbers = count()
    with ledger.batch(NOW_MS) as batch, batch.part() as part:
        part.note(list(opening()))
    seq = part.noted[-1].seq
    while seq < facts:
        with ledger.batch(NOW_MS) as batch, batch.part() as part:
            for _ in range(20):
                part.note(list(load_facts(next(numbers))))
        seq = part.noted[-1].seq
        told(seq)
    return seq


def rows(facts):
    """Rows of about `facts` facts and their packs and loads, a load at a time: fact rows, then (kind, row) pairs."""
    seq = 0
    for number in range(facts // A_LOAD):
        inside, turn = members(number)
        wash, steam = load_codes(number)
        told = []
        for one in load_facts(number):
            seq += 1
            digest = hashlib.sha256(seq.to_bytes(8)).hexdigest()
            fact_id = f"019cb600-0000-7{digest[:3]}-8{digest[3:6]}-{seq:012x}"
            told.append(fact_row(Fact(one.kind, one.at, one.site, one.station, one.by, one.set, one.pack, one.load, one.patient, one.data, seq,
                                      fact_id, AT, digest, digest)))  # fmt: skip
        packs = tuple(pack for _, pack in inside)
        kinds = [("load", Load(wash, wash[:6], AT, packs, result="pass", seq=seq)),
                 ("load", Load(steam, steam[:6], AT, packs, AT, seq, "134/3", "goods", ended_at=AT, verdict="pass", released_at=AT, seq=seq))]  # fmt: skip
        patient = codes.patient_code(SITE, 1 + number % 900).text
        kinds += [("pack", Pack(pack, one, turn, "soiled", AT, wash=wash, load=steam, packed_at=AT, loaded_at=AT, unloaded_at=AT, opened_at=AT,
                                patient=patient, seq=seq)) for one, pack in inside]  # fmt: skip
        if number < 16:
            kinds += [("set", InstrumentSet(one, one, "set", False, seq=seq)) for one, _ in inside]
        yield told, [(kind, (SITE, *row_of(kind, record))) for kind, record in kinds]


def into_sqlite(connection, facts):
    """Put the rows of a generated ledger into an empty file."""
    connection.execute("PRAGMA synchronous = OFF")
    connection.execute("PRAGMA cache_size = -1000000")
    connection.execute("BEGIN")
    total = 0
    for told, kinds in rows(facts):
        connection.executemany(INSERT_FACT, told)
        for kind, row in kinds:
            connection.execute(UPSERT[kind], row)
        total += len(told)
    connection.execute("COMMIT")
    return total


def into_postgres(connection, facts):
    """The same, by COPY, into an empty database with the site's partition."""
    total, held = 0, {"fact": [], "pack": [], "load": [], "set": []}

    def flush():
        for table, waiting in held.items():
            with connection.cursor().copy(f'COPY "{table}" FROM STDIN') as copying:
                for row in waiting:
                    copying.write_row(row)
            waiting.clear()

    for told, kinds in rows(facts):
        held["fact"] += told
        for kind, row in kinds:
            held[kind].append(row)
        total += len(told)
        if len(held["fact"]) > 100_000:
            flush()
    flush()
    return total
