"""Who works at Tarn Bridge, which animals come, which sets and machines there are. All of it is made up."""

from dataclasses import dataclass

from label_templates import codes

SITE = "K7"
NAME = "Tarn Bridge Small Animal Practice"
WASHER, STERILISER, SPARE = "W-K7-1", "L-K7-1", "L-K7-2"
PROGRAMMES = ("134/3", "121/15")
SHELF_DAYS = {"double": 14}
SHELF_SOURCE = "double cotton wrap, 10 to 14 days at 25 °C: ahkhsy.com NewsView 46"

Sheet = tuple[tuple[str, str, int], ...]

_EXTRACTION: Sheet = (
    ("Forceps", "Extraction forceps", 2),
    ("Forceps", "Root tip forceps", 1),
    ("Elevators", "Luxator 3 mm", 2),
    ("Elevators", "Periosteal elevator", 1),
    ("Gauze", "Gauze swabs", 10),
)
_SCALING: Sheet = (("Scalers", "Sickle scaler", 2), ("Scalers", "Curette", 2), ("Probes", "Periodontal probe", 1))
_LUXATORS: Sheet = (
    ("Elevators", "Luxator 2 mm", 1),
    ("Elevators", "Luxator 4 mm", 1),
    ("Elevators", "Winged elevator", 2),
)
_EYE: Sheet = (
    ("Forceps", "Tissue forceps, fine", 2),
    ("Scissors", "Tenotomy scissors", 1),
    ("Holders", "Eyelid speculum", 1),
    ("Holders", "Needle holder, fine", 1),
)
_CORNEA: Sheet = (("Blades", "Beaver handle", 1), ("Forceps", "Corneal forceps", 2), ("Holders", "Eyelid speculum", 1))
_FRACTURE: Sheet = (
    ("Forceps", "Bone holding forceps", 2),
    ("Forceps", "Reduction forceps", 2),
    ("Drivers", "Screwdriver", 1),
    ("Gauze", "Gauze swabs", 10),
)
_PLATES: Sheet = (("Plates", "Plate, eight holes", 4), ("Screws", "Cortical screw", 24), ("Drivers", "Screwdriver", 1))
_PINS: Sheet = (("Pins", "Intramedullary pin", 6), ("Cutters", "Pin cutter", 1))
_CLAMPS: Sheet = (("Clamps", "Towel clamp", 8), ("Drapes", "Drape", 2))


@dataclass(frozen=True, slots=True)
class DemoSet:
    """A set of the invented practice."""

    name: str
    sheet: Sheet
    mark: tuple[str, str]
    implant: bool = False
    wrap: str = "double"
    serial: int = 0

    @property
    def code(self) -> str:
        return codes.set_code(SITE, self.serial).text

    @property
    def groups(self) -> int:
        return len(dict.fromkeys(group for group, _, _ in self.sheet))

    @property
    def gauze(self) -> int:
        return sum(count for _, line, count in self.sheet if "auze" in line)


_SETS = (
    DemoSet("Dental extraction A", _EXTRACTION, ("blue", "solid")),
    DemoSet("Dental extraction B", _EXTRACTION, ("blue", "two bars")),
    DemoSet("Dental extraction C", _EXTRACTION, ("blue", "dots")),
    DemoSet("Dental extraction D", _EXTRACTION, ("blue", "diagonals")),
    DemoSet("Dental scaling A", _SCALING, ("yellow", "solid"), wrap="pouch"),
    DemoSet("Dental scaling B", _SCALING, ("yellow", "two bars"), wrap="pouch"),
    DemoSet("Dental luxators", _LUXATORS, ("yellow", "waves"), wrap="pouch"),
    DemoSet("Eye set 1", _EYE, ("green", "solid")),
    DemoSet("Eye set 2", _EYE, ("green", "two bars")),
    DemoSet("Eye set 3", _EYE, ("green", "dots")),
    DemoSet("Cornea set", _CORNEA, ("green", "checks")),
    DemoSet("Fracture basic A", _FRACTURE, ("red", "solid")),
    DemoSet("Fracture basic B", _FRACTURE, ("red", "two bars")),
    DemoSet("Fracture plates", _PLATES, ("red", "diagonals"), implant=True),
    DemoSet("Fracture pins", _PINS, ("red", "waves"), implant=True),
    DemoSet("Drape and towel clamps 1", _CLAMPS, ("white", "solid")),
    DemoSet("Drape and towel clamps 2", _CLAMPS, ("white", "two bars")),
)
SETS: dict[str, DemoSet] = {
    one.name: DemoSet(one.name, one.sheet, one.mark, one.implant, one.wrap, serial)
    for serial, one in enumerate(_SETS, 1)
}

SURGEON, MANAGER, TECHNICIAN, SECOND_TECHNICIAN, NURSE, AUDITOR = (
    codes.badge_code(SITE, number).text for number in range(1, 7)
)
STAFF = (
    (SURGEON, "Dr Ashdown", ["surgeon"], False),
    (MANAGER, "Wren Halloran", ["manager"], True),
    (TECHNICIAN, "Isla Fenn", ["technician"], False),
    (SECOND_TECHNICIAN, "Tobias Marsh", ["technician"], False),
    (NURSE, "Nora Quill", ["nurse"], True),
    (AUDITOR, "Odd Lindqvist", ["auditor"], False),
)
PATIENTS = tuple(
    (codes.patient_code(SITE, 800 + number).text, name, species)
    for number, (name, species) in enumerate(
        (
            ("Milo", "cat"), ("Fern", "dog"), ("Bramble", "dog"), ("Pip", "rabbit"), ("Juno", "cat"), ("Otis", "dog"),
            ("Hazel", "cat"), ("Rook", "dog"), ("Tansy", "cat"), ("Biscuit", "dog"), ("Moth", "cat"),
            ("Clover", "rabbit"),
            ("Dara", "dog"), ("Sorrel", "cat"), ("Kit", "ferret"), ("Maple", "dog"), ("Wisp", "cat"), ("Barley", "dog"),
            ("Nettle", "cat"), ("Flint", "dog"), ("Poppy", "cat"), ("Ash", "dog"), ("Linnet", "rabbit"),
            ("Thistle", "cat"),
            ("Robin", "dog"), ("Sedge", "cat"), ("Birch", "dog"), ("Plum", "cat"), ("Heron", "dog"), ("Teasel", "cat"),
        ),
        1,
    )
)  # fmt: skip
SHELVES = {1: "Dental", 2: "Eye and fracture", 9: "Quarantine"}
QUARANTINE = codes.shelf_code(SITE, 9).text


def shelf(number: int) -> str:
    return codes.shelf_code(SITE, number).text
