"""What happens in the three weeks, day by day. The second Wednesday but one goes before the camera."""

from datetime import date

from label_templates import codes
from service.demo import tarn_bridge as tb
from service.demo.diary import FILMED, Diary, Step


def write() -> Diary:
    """The whole diary: every step of 2 to 20 March, in the order of time."""
    diary = Diary()
    diary.furnish()
    _first_week(diary)
    _second_week(diary)
    _third_week(diary)
    return diary


def _day(number: int) -> date:
    return date(2026, 3, number)


def _ordinary(
    d: Diary, day: int, *cases: tuple[str, ...], also: tuple[str, ...] = (), first_hour: int = 8, **life: object
) -> str:
    """A day as most are: operations in the morning, then the sets go round. The steam load's code."""
    used: list[str] = [*also]
    for index, case in enumerate(cases):
        d.at(_day(day), first_hour + index, 30)
        d.operate(*case)
        used += case
    return _round(d, day, *used, **life)  # type: ignore[arg-type]


def _round(
    d: Diary, day: int, *names: str, short: tuple[str, str] = ("", ""), wet: str = "", biological: str | None = None,
    release: bool = True, hour: int = 11, sealed: tuple[str, ...] = (), programme: str = "1",
) -> str:  # fmt: skip
    d.at(_day(day), hour)
    d.wash(*names, sealed=sealed)
    d.at(_day(day), hour + 1)
    d.packing(*names, short=short)
    d.at(_day(day), hour + 3)
    return d.sterilise(*names, wet=wet, biological=biological, release=release, programme=programme)


def _first_week(d: Diary) -> None:
    """Every set goes round once. A wet pack, packed again; a set packed short."""
    first = _round(d, 2, "Eye set 3", "Dental extraction A", "Dental extraction B", "Dental scaling A", "Eye set 1",
                   "Fracture basic A", biological="B-61", hour=9)  # fmt: skip
    d.notable["expires"] = d.pack("Eye set 3")
    d.at(_day(2), 14)
    _round(d, 2, "Drape and towel clamps 1", "Drape and towel clamps 2", "Dental luxators", "Dental scaling B", hour=14)
    _round(d, 3, "Dental extraction C", "Dental extraction D", "Eye set 2", "Cornea set", "Fracture basic B", hour=9)
    _ordinary(d, 4, ("Dental extraction A", "Dental scaling A"), ("Eye set 1", "Drape and towel clamps 1"),
              ("Dental extraction D", "Dental scaling B"))  # fmt: skip
    d.post(f"/api/loads/{first}/indicators/read", tb.NURSE, indicator="biological", result="negative", lot="B-61",
           control="grew")  # fmt: skip
    _ordinary(d, 5, ("Dental extraction B", "Dental luxators"), ("Fracture basic A", "Drape and towel clamps 2"),
              ("Eye set 2",), wet="Dental extraction B")  # fmt: skip
    d.notable["wet"] = d.pack("Dental extraction B")
    d.at(_day(6), 8, 30)
    d.operate("Eye set 2", "Cornea set")
    d.operate("Dental extraction C", "Dental scaling B")
    d.at(_day(6), 11)
    d.wash("Eye set 2", "Cornea set", "Dental extraction C", "Dental scaling B")
    d.at(_day(6), 12)
    d.packing(
        "Eye set 2", "Cornea set", "Dental extraction C", "Dental scaling B", short=("Eye set 2", "Tenotomy scissors")
    )
    d.notable["short"] = d.pack("Eye set 2")
    d.at(_day(6), 13, 20)
    d.packing("Dental extraction B", again=("Dental extraction B",))
    d.at(_day(6), 14)
    d.sterilise("Eye set 2", "Cornea set", "Dental extraction C", "Dental scaling B", "Dental extraction B")


def _second_week(d: Diary) -> None:
    """A pale strip holds a load, which is rejected; an implant load waits for its biological."""
    _ordinary(d, 9, ("Dental extraction A", "Dental luxators"), ("Dental extraction D", "Drape and towel clamps 1"),
              ("Fracture basic A", "Cornea set"))  # fmt: skip
    pale_load = _ordinary(d, 10, ("Eye set 1",), ("Fracture basic B", "Drape and towel clamps 2"), programme="2")
    d.at(_day(11), 8, 30)
    d.operate("Eye set 1", pale="Eye set 1")
    d.notable["pale"], d.notable["pale_load"] = d.pack("Eye set 1"), pale_load
    d.operate("Dental extraction B", "Dental scaling A")
    d.operate("Dental extraction C")
    d.post(f"/api/loads/{pale_load}/reject", tb.MANAGER, why="pale strip inside one pack; cause not found")
    _round(d, 11, "Eye set 1", "Fracture basic B", "Drape and towel clamps 2", "Dental extraction B",
           "Dental scaling A", "Dental extraction C")  # fmt: skip
    d.at(_day(12), 8, 30)
    d.operate("Dental extraction A", "Dental luxators")
    d.operate("Fracture basic A", "Drape and towel clamps 1")
    implants = _round(d, 12, "Fracture plates", "Fracture pins", "Fracture basic A", "Drape and towel clamps 1",
                      "Dental extraction A", "Dental luxators", biological="B-64", release=False)  # fmt: skip
    d.notable["implant_load"] = implants
    d.release(implants, "stop")
    d.store("Fracture plates", "Fracture pins", "Fracture basic A", "Drape and towel clamps 1", "Dental extraction A",
            "Dental luxators", quarantine=True)  # fmt: skip
    _ordinary(
        d,
        13,
        ("Dental extraction D", "Dental scaling B"),
        ("Cornea set", "Dental scaling A"),
        ("Eye set 2", "Drape and towel clamps 2"),
    )


def _third_week(d: Diary) -> None:
    """The biological of the implants is negative; another, two days after a dental pack was used, is positive."""
    implants = d.notable["implant_load"]
    d.at(_day(16), 7, 30)
    d.post(f"/api/loads/{implants}/indicators/read", tb.NURSE, indicator="biological", result="negative", lot="B-64",
           control="grew")  # fmt: skip
    d.release(implants)
    d.store("Fracture plates", "Fracture pins", "Fracture basic A", "Drape and towel clamps 1", "Dental extraction A",
            "Dental luxators")  # fmt: skip
    d.at(_day(16), 8, 50)
    d.operate("Fracture plates", "Fracture basic A")
    _ordinary(d, 16, ("Dental extraction C", "Dental scaling A"), ("Eye set 2", "Dental extraction D"),
              also=("Fracture basic A",), biological="B-65", first_hour=9)  # fmt: skip
    bad = _ordinary(d, 17, ("Dental extraction B", "Dental luxators"), ("Eye set 1", "Drape and towel clamps 1"),
                    biological="B-66")  # fmt: skip
    d.notable["bad_load"] = bad
    _filmed_day(d)
    _recall(d, bad)


def _filmed_day(d: Diary) -> None:
    """The day before the camera. Everything a person shows a scanner today is filmed; nobody types."""
    d.at(FILMED, 8, 15)
    d.notable["opened"] = d.pack("Dental extraction B")
    d.notable["patient"] = d.operate("Dental extraction B", "Drape and towel clamps 2")
    d.at(FILMED, 9, 20)
    d.operate("Eye set 1", "Cornea set", refused=("Eye set 3",), back="Cornea set")
    d.notable["returned"] = d.pack("Cornea set")
    d.at(FILMED, 10, 10)
    d.operate("Fracture basic B", "Dental extraction D")
    d.at(FILMED, 11)
    used = ("Dental extraction B", "Drape and towel clamps 2", "Eye set 1", "Fracture basic B", "Dental extraction D")
    d.wash(*used)
    d.at(FILMED, 12)
    d.packing(*used)
    d.scan("packing-1", tb.PATIENTS[0][0], "stop")
    d.at(FILMED, 14)
    load = d.sterilise(*used, biological="B-67", release=False)
    d.notable["filmed_load"] = load
    d.at(FILMED, 15, 30)
    d.scan("theatre-1", tb.NURSE)
    d.scan("theatre-1", next(d.patients)[0])
    d.scan("theatre-1", d.pack("Eye set 1"), "stop")
    d.scan("theatre-1", "DONE")
    d.release(load)
    d.store(*used)


def _recall(d: Diary, bad: str) -> None:
    d.at(_day(19), 9)
    d.post(f"/api/loads/{bad}/indicators/read", tb.NURSE, indicator="biological", result="positive", lot="B-66",
           control="grew")  # fmt: skip
    d.post("/api/recalls", tb.MANAGER, load=bad, reach="since", why="biological indicator positive, lot B-66")
    d.at(_day(19), 10)
    for name, where in (("Dental luxators", "on shelf 1"), ("Drape and towel clamps 1", "on shelf 2")):
        d.post(f"/api/recalls/{bad}/1/accounted", tb.TECHNICIAN, pack=d.pack(name), found=where)
    d.post(f"/api/recalls/{bad}/1/accounted", tb.NURSE, pack=d.notable["opened"], found="owner called, patient well")
    _proving_day(d, bad)


def _proving_day(d: Diary, bad: str) -> None:
    """The steriliser is proven again after the engineer's visit; the spare one fails its own test."""
    d.at(_day(19), 15)
    d.post(f"/api/machines/{tb.STERILISER}/serviced", tb.MANAGER, what="repair", why="vacuum pump seal replaced",
           counter=2204)  # fmt: skip
    d.at(_day(20), 7, 40)
    d.scan("loading-1", tb.TECHNICIAN)
    d.notable["failed_test"] = codes.load_code(tb.SPARE, 1).text
    d.air_removal_test(d.notable["failed_test"], "fail")
    d.at(_day(20), 8, 30)
    d.notable["void"] = d.proving_load("B-71")
    d.at(_day(20), 9, 30)
    d.notable["pending"] = d.proving_load("B-72")
    d.at(_day(20), 10, 30)
    d.post(f"/api/loads/{d.notable['void']}/indicators/read", tb.NURSE, indicator="biological", result="negative",
           lot="B-71", control="no growth")  # fmt: skip
    d.post(f"/api/machines/{tb.STERILISER}/return", tb.MANAGER, "stop", why="it ran well")
    d.release(bad, "stop", why="the owners are waiting")


def filmed(diary: Diary) -> list[Step]:
    return [step for step in diary.steps if step.filmed and step.code]
