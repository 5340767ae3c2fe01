"""Three weeks at Tarn Bridge as a list of steps: who scans what, where and when, and what must be answered."""

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from label_templates import codes
from service.demo import tarn_bridge as tb
from service.demo.tarn_bridge import SETS, DemoSet

ZONE = ZoneInfo("Europe/London")
FIRST, FILMED, LAST = date(2026, 3, 2), date(2026, 3, 18), date(2026, 3, 20)
STRIP_LOT = "24-117"


@dataclass(frozen=True, slots=True)
class Step:
    """A scan (station and code) or a call of the office's (path and body). `expect` is the verdict it must get."""

    at: datetime
    station: str
    code: str = ""
    path: str = ""
    body: dict[str, Any] = field(default_factory=dict)
    cycle: str = ""
    expect: str = "go"
    filmed: bool = False


class Diary:
    """Writes the steps down. It knows the sets' turns itself, so that labels can be made before the day comes."""

    def __init__(self) -> None:
        self.steps: list[Step] = []
        self.now = datetime.combine(FIRST, time(8), ZONE)
        self.turn = dict.fromkeys(SETS, 0)
        self.washes = self.loads = 0
        self.tested: date | None = None
        self.strip_known = False
        self.patients = iter(tb.PATIENTS)
        self.notable: dict[str, str] = {}
        self.filmed_packs: list[str] = []

    def at(self, day: date, hour: int, minute: int = 0) -> None:
        self.now = datetime.combine(day, time(hour, minute), ZONE)

    def scan(self, station: str, code: str, expect: str = "go", seconds: int = 20) -> None:
        """Somebody shows a code, or a card by its word, `seconds` after the step before."""
        self.now += timedelta(seconds=seconds)
        text = code if "-" in code or code.startswith("=") else codes.card_code(code).text
        filmed = self.now.date() == FILMED
        self.steps.append(Step(self.now, station, text, expect=expect, filmed=filmed))

    def post(self, path: str, by: str = tb.MANAGER, expect: str = "go", cycle: str = "", **body: Any) -> None:
        self.now += timedelta(seconds=30)
        self.steps.append(Step(self.now, "office-1", path=path, body={"by": by} | body, cycle=cycle, expect=expect))

    def pack(self, name: str) -> str:
        """The code of this set's present pack."""
        return codes.pack_code(SETS[name].code, self.turn[name]).text

    def furnish(self) -> None:
        for badge, name, roles, may_release in tb.STAFF:
            if badge != tb.MANAGER:  # who was there before anybody else
                self.post("/api/staff", badge=badge, name=name, roles=roles, may_release=may_release)
        self.post("/api/machines", machine=tb.WASHER, kind="washer", removal=None, name="Washer 1",
                  steps=["clean", "rinse", "disinfect", "dry"], programmes=[])  # fmt: skip
        self.post("/api/machines", machine=tb.STERILISER, kind="steriliser", removal="active", name="Steriliser 1",
                  steps=[], programmes=list(tb.PROGRAMMES))  # fmt: skip
        self.post("/api/machines", machine=tb.SPARE, kind="steriliser", removal="active", name="Steriliser 2",
                  steps=[], programmes=list(tb.PROGRAMMES))  # fmt: skip
        for one in SETS.values():
            sheet = [{"group": group, "line": line, "count": count} for group, line, count in one.sheet]
            mark = {"colour": one.mark[0], "pattern": one.mark[1]}
            self.post(
                "/api/sets", name=one.name, kind="set", implant=one.implant, sheet=sheet, mark=mark, wrap=one.wrap
            )
        for code, name, species in tb.PATIENTS:
            self.post("/api/patients", code=code, name=name, species=species)

    # The circle

    def wash(self, *names: str, sealed: tuple[str, ...] = ()) -> None:
        """A wash load; a set in `sealed` was not opened by the record, and the wash asks."""
        self.washes += 1
        load = codes.load_code(tb.WASHER, 119 + self.washes).text
        self.scan("wash-1", tb.TECHNICIAN)
        self.scan("wash-1", load)
        for name in names:
            self.turn[name] += 1
            self.scan("wash-1", SETS[name].code, "ask" if name in sealed else "go", 40)
            if name in sealed:
                self.scan("wash-1", "YES")
        self.scan("wash-1", "DONE", "ask", 60)
        self.now += timedelta(minutes=18)
        self.scan("wash-1", "PASS")

    def pack_set(self, name: str, short: str = "", again: bool = False) -> None:
        """Inspect, count, strip, close, label. `short` is a line that lacks one; `again` packs an unopened set anew."""
        one = SETS[name]
        if again:
            self.scan("packing-1", one.code, "ask")
            self.turn[name] += 1
            self.scan("packing-1", "1", "ask")
        else:
            self.scan("packing-1", one.code, "ask")
        self.scan("packing-1", "YES", "ask")
        for group in dict.fromkeys(group for group, _, _ in one.sheet):
            lines = [(line, count) for g, line, count in one.sheet if g == group]
            if short and short in dict(lines):
                self._count_short(lines, short)
            else:
                self.scan("packing-1", "YES", "ask")
        if short:
            self.scan("packing-1", tb.NURSE, "ask")
        self.scan("packing-1", "YES" if self.strip_known else f"={STRIP_LOT}", "ask")
        self.strip_known = True
        self.scan("packing-1", "DONE", "go", 50)
        self.scan("packing-1", self.pack(name))
        if self.now.date() == FILMED:
            self.filmed_packs.append(name)

    def _count_short(self, lines: list[tuple[str, int]], short: str) -> None:
        total = sum(count for _, count in lines) - 1
        self.scan("packing-1", f"={total}", "ask")
        for line, count in lines:
            self.scan("packing-1", f"={count - 1}" if line == short else "YES", "ask")

    def packing(self, *names: str, short: tuple[str, str] = ("", ""), again: tuple[str, ...] = ()) -> None:
        self.scan("packing-1", tb.SECOND_TECHNICIAN)
        for name in names:
            self.pack_set(name, short[1] if short[0] == name else "", name in again)

    def sterilise(
        self, *names: str, wet: str = "", biological: str | None = None, release: bool = True, programme: str = "1"
    ) -> str:
        """Load, run, unload, judge, release, store. `biological` is the lot of one placed in the load."""
        self.scan("loading-1", tb.TECHNICIAN)
        if self.tested != self.now.date():
            self._air_removal_test()
        load = self._next_load()
        self.scan("loading-1", load)
        for name in names:
            self.scan("loading-1", self.pack(name))
        if biological:
            due = (self.now + timedelta(days=2)).date().isoformat()
            self.post(f"/api/loads/{load}/indicators", tb.TECHNICIAN, indicator="biological", lot=biological,
                      control_lot=biological, due=due)  # fmt: skip
        self.scan("loading-1", "DONE", "ask")
        self.scan("loading-1", programme)
        self.now += timedelta(minutes=48)
        self.scan("unloading-1", tb.TECHNICIAN)
        self.scan("unloading-1", load)
        self.scan("unloading-1", "END", "ask")
        self.scan("unloading-1", "PASS")
        for name in names:
            self.scan("unloading-1", self.pack(name))
            if name == wet:
                self.scan("unloading-1", "WET")
        self.scan("unloading-1", "DONE")
        self.post(f"/api/loads/{load}/cycle", tb.MANAGER, cycle=tb.PROGRAMMES[int(programme) - 1])
        if release:
            self.release(load)
            self.store(*(name for name in names if name != wet))
        return load

    def _next_load(self) -> str:
        self.loads += 1
        return codes.load_code(tb.STERILISER, 319 + self.loads).text

    def _air_removal_test(self) -> None:
        self.tested = self.now.date()
        self.air_removal_test(self._next_load())
        self.scan("loading-1", tb.TECHNICIAN)

    def air_removal_test(self, load: str, result: str = "pass") -> None:
        """The day's first load runs alone, with the test sheet in it."""
        self._empty(load, "1", timedelta(minutes=14))
        self.post(
            f"/api/loads/{load}/indicators/read", tb.TECHNICIAN, indicator="air removal", result=result, lot="A-9"
        )

    def proving_load(self, lot: str) -> str:
        """An empty chamber with a biological in it, the cycle judged from its log."""
        load = self._next_load()
        due = (self.now + timedelta(days=2)).date().isoformat()
        self.scan("loading-1", tb.TECHNICIAN)
        self._empty(load, "3", timedelta(minutes=40))
        self.post(
            f"/api/loads/{load}/indicators", tb.TECHNICIAN, indicator="biological", lot=lot, control_lot=lot, due=due
        )
        self.post(f"/api/loads/{load}/cycle", tb.MANAGER, cycle=tb.PROGRAMMES[0])
        return load

    def _empty(self, load: str, test: str, runs: timedelta) -> None:
        self.scan("loading-1", load)
        self.scan("loading-1", "DONE", "ask")
        self.scan("loading-1", test)
        self.now += runs
        self.scan("unloading-1", tb.TECHNICIAN)
        self.scan("unloading-1", load)
        self.scan("unloading-1", "END", "ask")
        self.scan("unloading-1", "PASS")

    def release(self, load: str, expect: str = "go", **more: Any) -> None:
        self.post(f"/api/loads/{load}/release", tb.NURSE, expect, **more)

    def store(self, *names: str, quarantine: bool = False) -> None:
        self.now += timedelta(minutes=31)
        self.scan("store-1", tb.TECHNICIAN)
        by_shelf: dict[str, list[str]] = {}
        for name in names:
            place = tb.QUARANTINE if quarantine else tb.shelf(1 if name.startswith("Dental") else 2)
            by_shelf.setdefault(place, []).append(name)
        for place, there in by_shelf.items():
            self.scan("store-1", place)
            for name in there:
                self.scan("store-1", self.pack(name))

    def operate(self, *names: str, pale: str = "", back: str = "", refused: tuple[str, ...] = ()) -> str:
        """One case: the patient, each pack and its strip, gauze before and after. The patient's code.

        `refused` packs are asked about and stopped; `back` comes back sealed; `pale` has a pale strip.
        """
        patient, _, _ = next(self.patients)
        self.scan("theatre-1", tb.NURSE)
        self.scan("theatre-1", patient)
        for name in refused:
            self.scan("theatre-1", self.pack(name), "stop")
        for name in names:
            self.scan("theatre-1", self.pack(name))
            if name == back:
                self.scan("theatre-1", "RETURN", "ask")
                self.scan("theatre-1", tb.shelf(1 if name.startswith("Dental") else 2))
            elif name == pale:
                self.scan("theatre-1", "PALE", "stop")
            else:
                self.scan("theatre-1", "TURNED")
        opened = [SETS[name] for name in names if name != back]
        self._gauze(opened)
        self.now += timedelta(minutes=9)
        self._gauze(opened)
        self.scan("theatre-1", "DONE")
        return patient

    def _gauze(self, opened: list[DemoSet]) -> None:
        gauze = sum(one.gauze for one in opened)
        if not gauze:
            return
        for digit in str(gauze):
            self.scan("theatre-1", digit, "ask", 8)
        self.scan("theatre-1", "DONE")
