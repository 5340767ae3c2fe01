"""A small practice to test with: a ledger, a desk, a clock that only moves when told, and people who scan."""

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

from label_templates import codes
from service.custody.practice import Practice, ProgrammeLimits
from service.ledger.ids import uuid7
from service.ledger.sqlite import SqliteLedger, create
from service.stations.desk import Desk
from tests.words import Written

SITE = "K7"
TECHNICIAN, NURSE, SURGEON, MANAGER = (codes.badge_code(SITE, n).text for n in (3, 5, 1, 2))
QUARANTINE, SHELF = (codes.shelf_code(SITE, n).text for n in (9, 2))
SHEET = [
    {"group": "Forceps", "line": "Extraction forceps", "count": 2},
    {"group": "Forceps", "line": "Root tip forceps", "count": 1},
    {"group": "Elevators", "line": "Luxator 3 mm", "count": 3},
    {"group": "Gauze", "line": "Gauze swabs", "count": 10},
]
PROGRAMMES = {
    "134/3": ProgrammeLimits("134/3", 134),
    "121/15": ProgrammeLimits("121/15", 121),
    "134/3 immediate": ProgrammeLimits("134/3 immediate", 134, ("unwrapped", "hollow"), immediate=True),
}


def chosen(**choices):
    """The site's choices, with the tests' quarantine shelf and programmes."""
    told = {"site": SITE, "name": "Tarn Bridge", "quarantine_shelves": (QUARANTINE,), "programmes": PROGRAMMES}
    return Practice(**(told | choices))


def card(word):
    return codes.card_code(word).text


def wash_load(number, machine=1):
    return codes.load_code(f"W-{SITE}-{machine}", number).text


def steam_load(number, machine=1):
    return codes.load_code(f"L-{SITE}-{machine}", number).text


def patient(number):
    return codes.patient_code(SITE, number).text


class TarnBridge:
    """Tarn Bridge at work. `at` is the time; every scan moves it on by ten seconds.

    Every answer is looked at: all of it must be in the catalogues of words.
    """

    def __init__(self, folder: Path, **choices):
        self.path = folder / "practice.db"
        fresh = not self.path.exists()
        if fresh:
            create(self.path)
        self._begin(SqliteLedger(self.path, chosen(**choices)), fresh=fresh)

    @classmethod
    def over(cls, ledger, *, fresh=True, close=True, printer=None):
        """The practice over a ledger that is open; `close` says whether its end closes the ledger."""
        self = cls.__new__(cls)
        self._begin(ledger, fresh=fresh, close=close, printer=printer)
        return self

    def _begin(self, ledger, *, fresh, close=True, printer=None):
        self.practice = ledger.practice
        self.at = datetime(2026, 3, 4, 8, 0, tzinfo=UTC)
        self.desk = Desk(ledger, self.practice, clock=lambda: self.at, printer=printer, closes=close).start()
        self.written = Written(self.practice.name, list(self.practice.programmes))
        if fresh:
            self.furnish()
        else:
            with ledger.reading() as reader:
                self.written.take_ledger(reader)

    def close(self):
        self.desk.close()

    def new_id(self):
        return uuid7(int(self.at.timestamp() * 1000), os.urandom(10))

    def wait(self, minutes):
        self.at += timedelta(minutes=minutes)

    def scan(self, station, code, scan_id=None, seen_at=None):
        """Scan a code, a card's word, or typed text with `=`; the answer."""
        self.at += timedelta(seconds=10)
        text = code if "-" in code or code.startswith("=") else card(code)
        body = {"id": scan_id or self.new_id(), "station": station, "code": text, "seen_at": seen_at}
        if text.startswith("="):
            self.written.take(text)
        answer = self.desk.scan(body).result(10)
        self.written.check(answer)
        return answer

    def scans(self, station, *texts):
        """Scan one after another; the last answer."""
        return [self.scan(station, text) for text in texts][-1]

    def act(self, does, by=MANAGER, *, set=None, pack=None, load=None, patient=None, **body):  # noqa: A002
        keys = {"set": set, "pack": pack, "load": load, "patient": patient}
        self.written.take_body(body)
        answer = self.desk.act(self.new_id(), does, by=by, body=body, **keys).result(10)
        self.written.check(answer)
        return answer

    def furnish(self):
        self.act("open site", by=None)
        for badge, roles, may_release in (
            (MANAGER, ["manager"], True),
            (TECHNICIAN, ["technician"], False),
            (NURSE, ["nurse"], True),
            (SURGEON, ["surgeon"], False),
        ):
            by = None if badge == MANAGER else MANAGER  # the first manager is made by nobody
            self.act("enrol staff", by=by, badge=badge, roles=roles, may_release=may_release)
        self.act("register machine", machine="W-K7-1", kind="washer", removal=None, name="Washer 1", steps=["clean"])
        self.act("register machine", machine="L-K7-1", kind="steriliser", removal="gravity", name="Steriliser 1",
                 programmes=["134/3", "121/15", "134/3 immediate"])  # fmt: skip

    def pump(self):
        """Let the steriliser pump its air out, as programme 134/3 needs it."""
        self.act("register machine", machine="L-K7-1", kind="steriliser", removal="active", name="Steriliser 1",
                 programmes=["134/3", "121/15", "134/3 immediate"])  # fmt: skip
        return self

    def air_removal_test(self, number=9000):
        """Pass today's test of the pump, as load `number`."""
        test = steam_load(number)
        self.scans("loading-1", TECHNICIAN, test, "DONE", "1")
        self.scans("unloading-1", TECHNICIAN, test, "END", "PASS")
        return self.act("read indicator", load=test, indicator="air removal", result="pass", lot="A-9")

    def new_set(self, name="Dental extraction A", **more):
        told = {"name": name, "kind": "set", "implant": False, "sheet": SHEET, "wrap": "double", "bears_c": None}
        return self.act("register set", **(told | more))["subject"]

    def pack_of(self, set_code):
        with self.desk.ledger.reading() as reader:
            return reader.state.set(set_code).pack

    def record(self, kind, code):
        with self.desk.ledger.reading() as reader:
            return reader.get(kind, code)

    def where(self, pack):
        with self.desk.ledger.reading() as reader:
            return reader.state.where(reader.state.pack(pack))

    def flags(self, pack):
        with self.desk.ledger.reading() as reader:
            return reader.state.flags(reader.state.pack(pack))

    def facts(self, kind=None):
        with self.desk.ledger.reading() as reader:
            return [fact for fact in reader.facts() if kind in {None, fact.kind}]

    # Steps of the circle, each as people do it

    def wash(self, sets, number=1):
        self.scans("wash-1", TECHNICIAN, wash_load(number), *sets, "DONE", "PASS")

    def pack(self, set_code, lot="24-117"):
        """Inspect, count, wrap, label; the pack's code."""
        self.scan("packing-1", TECHNICIAN)
        self.scans("packing-1", set_code, "YES", "YES", "YES", "YES", f"={lot}", "DONE")
        pack = self.pack_of(set_code)
        self.scan("packing-1", pack)
        return pack

    def sterilise(self, packs, number=1, verdict="pass", programme="1", unload=True):
        """Load, run and unload; judged, and not released."""
        load = steam_load(number)
        self.scans("loading-1", TECHNICIAN, load, *packs, "DONE", programme)
        self.wait(40)
        self.scans("unloading-1", TECHNICIAN, load, "END", "PASS")
        if unload:
            self.scans("unloading-1", *packs, "DONE")
        self.judge(load, verdict)
        return load

    def judge(self, load, verdict="pass"):
        return self.act("judge cycle", load=load, verdict=verdict, basis="log", hold_s=200, f0_hundredths=6000,
                        log_sha256="0" * 64)  # fmt: skip

    def release(self, load, by=NURSE, **more):
        return self.act("release", by=by, load=load, **more)

    def ready(self, name="Dental extraction A", number=1, **more):
        """A set all the way to released; its pack and its load."""
        set_code = self.new_set(name, **more)
        self.wash([set_code], number)
        pack = self.pack(set_code)
        load = self.sterilise([pack], number)
        assert self.release(load)["verdict"] == "go"
        return pack, load
