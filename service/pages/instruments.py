"""Line drawings of instruments by their trade names: what a count sheet shows beside the words."""

import re

_POINT = re.compile(r"([\d.]+) ([\d.]+)")
_WORD = re.compile(r"[a-z0-9]+")


def _path(*d: str) -> str:
    return f'<path d="{"".join(d)}"/>'


def _solid(*d: str) -> str:
    return f'<path d="{"".join(d)}" fill="currentColor" stroke="none"/>'


def _ring(x: float, y: float, r: float) -> str:
    return f'<circle cx="{x:g}" cy="{y:g}" r="{r:g}"/>'


def _dot(x: float, y: float, r: float) -> str:
    return f'<circle cx="{x:g}" cy="{y:g}" r="{r:g}" fill="currentColor" stroke="none"/>'


def _oval(x: float, y: float, rx: float, ry: float) -> str:
    return f'<ellipse cx="{x:g}" cy="{y:g}" rx="{rx:g}" ry="{ry:g}"/>'


def _rect(x: float, y: float, width: float, height: float, rx: float = 1) -> str:
    return f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="{rx:g}"/>'


def _both(upper: str) -> str:
    """A path of absolute "x y" points, and its image below the instrument's axis."""
    return upper + _POINT.sub(lambda point: f"{point[1]} {60 - float(point[2]):g}", upper)


def _ticks(first: tuple[float, float], last: tuple[float, float], count: int, stroke: str) -> str:
    """The same short stroke at even steps from the first point to the last: knurls, teeth, threads, marks."""
    (x, y), (dx, dy) = first, ((last[0] - first[0]) / (count - 1), (last[1] - first[1]) / (count - 1))
    return "".join(f"M{round(x + i * dx, 1):g} {round(y + i * dy, 1):g}{stroke}" for i in range(count))


_RINGS = _oval(12.5, 12, 10.5, 8.5) + _oval(12.5, 48, 10.5, 8.5)
_RATCHET = "M31 20.5V31.5M35.5 38V28.5"


def _ring_handled(jaws: str, lock: int = 66, between: str = _RATCHET) -> str:
    """Two finger rings, shanks with a ratchet between them, a box lock nine wide, and the jaws beyond it."""
    shanks = _both(f"M21 16.9C32 22.5 {lock - 22} 27.5 {lock} 27.5")
    return _RINGS + _path(shanks, between) + _rect(lock, 25, 9, 10, 2) + jaws


def _scissors(blades: str, pivot: int) -> str:
    """Two finger rings, shanks that meet at the screw, and the blades beyond it."""
    return _RINGS + _path(_both(f"M21 16.9C36 22 {pivot - 16} 24 {pivot} 30")) + blades + _dot(pivot, 30, 3)


def _pliers(beak: str, between: str = "") -> str:
    """Two long grips without rings, a round joint, and the beak beyond it."""
    grips = _both("M66.5 26C50 13 28 3.5 8 3C1.5 3 1.5 9.3 7 10C28 12 46 20 64 31")
    return _path(grips, between) + _ring(69.5, 30, 5) + beak


def _thumb(tips: str, end: int = 96) -> str:
    """A thumb forceps: two leaves joined at the back, roughened where the fingers hold them."""
    outer, inner = f"M2.5 30C14 28 22 15 46 14C64 14 {end - 14} 23 {end} 25.5", f"M18 26C38 17 52 17.5 {end} 28"
    return _path(_both(outer + inner + "M40 15L40 19M47 14.5L47 19M54 15L54 20")) + tips


def _leaves(tip: str, pivot: int = 84) -> str:
    """A fine instrument closed by the fingers: two broad leaf springs joined at the back, a pivot, a small tip."""
    spring = f"M2.5 30C10 10 26 6 46 10C62 13 {pivot - 10} 22 {pivot} 30M12 26C22 14 34 13.5 46 16.5L64 22"
    return _path(_both(spring + "M36 9.5L36 14M43 10L43 15M50 12L50 17")) + tip + _dot(pivot, 30, 3)


def _pen(shank: str, end: int = 58) -> str:
    """A slim round handle, knurled towards its working end, and what is in front of it."""
    return _rect(2, 24.5, end - 2, 11, 5) + _path(_ticks((end - 22, 25), (end - 6, 25), 4, "l-4 10"), shank)


def _palm(blade: str) -> str:
    """A pear-shaped handle for the palm, and its blade."""
    return _path(_both("M2.5 30C2.5 13 16 13 27 16C39 19 42 25.5 52 25.5"), "M52 25.5V34.5M11 30H32", blade)


def _bar(blade: str) -> str:
    """A straight grooved handle, and what is in front of it."""
    return _rect(2, 23, 50, 14, 5) + _path("M11 30H43", blade)


DRAWINGS: dict[str, str] = {
    # Ring-handled forceps and clamps.
    "forceps": _ring_handled(_path(_both("M75 27.5C90 24 104 22 117.5 22"))),
    "mosquito forceps": _ring_handled(_path("M73 28C92 28 106 22 113 8M73 32C97 33 112 26 117.5 12"), 64),
    "artery forceps": _ring_handled(
        _path(_both("M67 27.5L112 17.5Q117.5 17 117.5 22"), _ticks((78, 25.5), (112, 18), 6, "l.8 4.5"))
        + _path(_ticks((78, 34.5), (112, 42), 6, "l.8 -4.5")),
        58,
    ),
    "allis forceps": _ring_handled(
        _path(_both("M71 28C78 9 104 7 107 21M96.5 22L117.5 22"))
        + _solid("M96 22L99 29 102 22ZM104 22L107 29 110 22ZM112 22L115 29 118 22Z")
        + _solid("M100 38L103 31 106 38ZM108 38L111 31 114 38Z"),
        62,
    ),
    "babcock forceps": _ring_handled(
        _path(_both("M71 28C84 24 92 11 112 8Q117.5 8 117.5 26C104 25 98 22 90 17.5")), 62
    ),
    "swab holder": _ring_handled(
        _path(_both("M67 27.5C78 27 84 24 89 20C92 6 117 4 117.8 14C118 25 97 29 89 20M97 19C99 13 111 10 112 15")), 58
    ),
    "needle holder": _ring_handled(
        _path("M85 26.5L108 23Q115 30 108 37L85 33.5M85 30H112M93 27.5V32.5M99 27.5V32.5M105 27.5V32.5")
        + _path("M98 6C122 12 122 48 98 54"),
        76,
    ),
    "wire twister": _ring_handled(
        _path("M73 26L90 22.5Q93.5 30 90 37.5L73 34M73 30H90M93 28C98 28 98 33 102 33C108 33 110 18 117.5 16")
        + _path("M93 32C98 32 98 27 102 27C108 27 110 42 117.5 44"),
        64,
    ),
    "towel clamp": _ring_handled(_path(_both("M72 26.5C78 2 117 2 112 24C111 29 108 33 102 36")), 64),
    "reduction forceps": _ring_handled(
        _path(_both("M69 26.5C66 0 115 0 113 18"), "M36 10V50M32 10H40M32 50H40", _ticks((34, 15), (34, 45), 9, "h4"))
        + _solid(_both("M111 17L113.8 29.5 115.2 17Z")),
        60,
        "",
    ),
    "clamp": _ring_handled(_path(_both("M65 27.5C80 15 100 16 117.5 28.5"), _both("M72 27L106 28")), 56),
    "self-retaining retractor": _ring_handled(
        _path(_both("M71 28C82 26 84 15 92 15L116 15M92 15L92 4M104 15L104 4M116 15L116 4")),
        62,
        "M34 12V48" + _ticks((34, 22), (34, 38), 5, "h-4"),
    ),
    # Scissors.
    "scissors": _scissors(_path(_both("M66 30C84 18 104 14 117.5 13.5L66 30")), 66),
    "mayo scissors": _scissors(_path(_both("M60 30C70 14 94 8 110 9C118 10 119 17 113 18.5L60 30")), 60),
    "metzenbaum scissors": _scissors(
        _path("M80 30C96 24 106 16 110 6Q116 3 116.5 9C113 20 100 29 80 30C98 33 110 28 113.5 20Q118.5 19 118 25")
        + _path("M118 25C114 35 98 39 80 30"),
        80,
    ),
    "stitch scissors": _scissors(
        _path("M62 30C80 16 98 12 117.5 13L62 30C74 46 98 53 117.5 48.5L112.5 43.5C113 49 102 48 101.5 39L62 30"), 62
    ),
    "tenotomy scissors": _leaves(_path(_both("M84 30C94 20 106 16 117 16.5L84 30"))),
    # Forceps and cutters with grips like pliers.
    "extraction forceps": _pliers(_path(_both("M72.5 26C80 6 110 6 117 27C106 18 92 20 80 30"))),
    "root tip forceps": _pliers(_path("M74 27.5C90 25 100 17 108 3M74 32.5C98 32 111 22 117 7M101 14L105 20")),
    "bone holding forceps": _pliers(
        _path(_both("M72.5 26C78 4 112 4 117 22L112 26 108 21 104 25.5 99 21 95 26C90 24 84 27 79 30")),
        "M18 3.5C12 18 12 42 18 56.5",
    ),
    "rongeur": _pliers(
        _path(_both("M72.5 26C78 18 86 21 92 19C100 11 114 13 117.5 28C108 29 102 28 98 25")),
        _both("M16 11C24 22 36 28 54 29"),
    ),
    "pin cutter": _pliers(_path(_both("M72.5 26L80 8 100 8 117.5 27.5L79 27.5")) + _dot(87, 17, 3) + _dot(87, 43, 3)),
    # Thumb forceps, and fine instruments with leaf springs.
    "dressing forceps": _thumb(_path("M96 25.5H113Q120 30 113 34.5H96M102 26V34M107.5 26V34M113 26V34")),
    "tissue forceps": _thumb(
        _path(_both("M96 25.5L117 19M96 28L99 27.5"))
        + _solid("M107 21.5L110.5 30.5 114 20ZM102 37L105 30.5 108 39ZM113.5 40L116 30.5 118 41Z")
    ),
    "corneal forceps": _thumb(_path("M86 25.5L99 29.5C105 27 108 20 110 9M86 34.5L102 37C110 33 114 24 117 11"), 86),
    "needle holder, fine": _leaves(
        _path(_both("M84 30C94 22 108 22 117 28.5"), "M88 30H117M26 15V25L33 29M33 46V35L26 31"),
    ),
    "eyelid speculum": _path(_both("M3 30C3 16 20 19 42 22C60 24 70 20 77 16C80 3 117 1 117.5 8C118 16 96 16 88 20")),
    # Hand instruments.
    "scalpel handle": _path(
        "M6 21H56C64 21 66 25 74 25H86L90 27H112L118 31V34H90L86 36H74C66 36 64 40 56 40H6Q2 40 2 36V25Q2 21 6 21Z"
        "M96 30.5H110" + _ticks((42, 27), (54, 27), 4, "v7")
    ),
    "scalpel blade": _path("M8 20H74C96 20 112 28 117.5 42C98 45 74 40 60 39H3ZM18 29.5H50"),
    "beaver handle": _rect(2, 24, 78, 12, 5)
    + _path(_ticks((44, 24.5), (72, 24.5), 6, "v11"), "M80 25.5L100 27.5H117M80 34.5L100 32.5H117V27.5M90 30H117"),
    "luxator": _palm("M52 27.5H78L88 25H112Q121 30 112 35H88L78 32.5H52M92 30H108"),
    "winged elevator": _palm("M52 27.5H76C94 27 104 20 108 12Q118 30 108 48C104 40 94 33 76 32.5H52"),
    "elevator": _bar("M52 27H84C94 26 98 21 110 20Q119 30 110 40C98 39 94 34 84 33H52"),
    "periosteal elevator": _rect(38, 24.5, 38, 11, 5)
    + _path(_ticks((50, 25), (68, 25), 4, "l-4 10"), "M38 28L24 26.5C14 25.5 8 27 3 30C8 33 14 34.5 24 33.5L38 32")
    + _path(_both("M76 28C90 28 92 15 106 15C114 15 117.5 22 117.5 30M104 21C108.5 22 110 26 110 30")),
    "sickle scaler": _pen("M58 30H70C82 30 80 44 92 46C106 48 113 30 112 6C120 30 114 54 96 55C91 55 88 52 87 48"),
    "curette": _rect(36, 24.5, 48, 11, 5)
    + _path(
        _ticks((50, 25), (72, 25), 5, "l-4 10"),
        "M84 30L88 30C97 30 94 43 103 44C112 46 118 36 116.5 16C116 10 109.5 11 110 17C110.5 28 108 34 103 36"
        "M36 30L32 30C23 30 26 17 17 16C8 14 2 24 3.5 44C4 50 10.5 49 10 43C9.5 32 12 26 17 24",
    ),
    "periodontal probe": _pen("M58 30H72L90 50 112 8" + "M94 36L100 39M99 27L105 30M104 17L110 20") + _dot(112, 8, 3),
    "probe": _pen("M58 30H112") + _dot(114, 30, 4),
    "dental mirror": _pen("M58 30H68L84 27") + _ring(100.5, 25, 16.5) + _path("M91 23C92 18 96 15 101 15"),
    "bone curette": _bar("M52 28H86M52 32H86") + _oval(101.5, 30, 16, 10) + _oval(101.5, 30, 9, 4.5),
    "osteotome": _bar("M52 26H74L86 18H117.5V42H86L74 34H52M107 18V42"),
    "screwdriver": _path(
        _both("M2.5 30C2.5 20 4 19 10 19L36 19C43 19 44 25.5 52 25.5M52 27.5L102 27.5"),
        "M52 25.5V34.5M10 26H38M10 34H38M102 25H113L117.5 28V32L113 35H102Z",
    ),
    "spay hook": _bar("M52 30H98C112 30 118 24 117 16C115.5 8 104 9 104 18") + _dot(104, 19, 2.5),
    "hand-held retractor": _path(
        "M62 30C50 44 3 46 3 30C3 14 50 16 62 30H112Q116 30 116 35V54L110 57M52 30C44 38 12 38 12 30C12 22 44 22 52 30Z"
    ),
    "mallet": _rect(2, 24, 72, 12, 5)
    + _path("M11 30H46")
    + _rect(76, 12, 28, 36, 0)
    + _rect(72, 3, 36, 9, 3)
    + _rect(72, 48, 36, 9, 3),
    "suction tip": _path(
        "M3 20V32L8 30V22ZM8 22H12M8 30H12M12 20V32L17 30V22ZM17 22H30M17 30H30M30 16H50V36H30Z"
        "M50 22H70C88 22 98 28 117 45M50 30H68C84 30 94 36 112 51M117 45L112 51"
    )
    + _dot(40, 26, 4),
    "drill guide": _path(
        "M86 14H10Q3 14 3 18.5Q3 23 10 23H86M86 9H108V28H86ZM90 9V3H104V9M90 28V57L93.5 53 97 57 100.5 53 104 57V28"
    ),
    # Bone work.
    "plate": _rect(2, 19, 116, 22, 11) + "".join(_oval(12.8 + 13.5 * i, 30, 3.6, 5) for i in range(8)),
    "cortical screw": _path(
        _both("M3 30C3 20 7 14 16 12L16 23L108 23Q117 23 117.5 30"),
        "M16 23V37M4 26H10V34H4",
        _ticks((24, 41), (98, 41), 9, "l6 -22"),
    ),
    "intramedullary pin": _path("M17 26H103L117.5 30 103 34H17L2.5 30ZM103 26V34M17 26V34"),
    "kirschner wire": _path("M3 14H102M9 30H96M3 46H102")
    + _solid("M101 12.4L118.5 14 101 15.6ZM95 28.4L112.5 30 95 31.6ZM101 44.4L118.5 46 101 47.6Z"),
    "drill bit": _path(
        "M3 25H36V35H3ZM36 21H102L117 30 102 39H36ZM9 25V35M15 25V35",
        _ticks((44, 39), (86, 39), 4, "c12 0 2 -18 14 -18"),
    ),
    "bur": _path("M3 25H50L58 27H86M3 35H50L58 33H86M3 25V35M11 25V35")
    + _ring(101.5, 30, 16)
    + _path("M86 30H117", _both("M86.5 27C94 18.5 109 18.5 116.5 27")),
    # Soft goods and holloware.
    "gauze swabs": _path(
        "M36 14V51H86M28 20V57H80", _ticks((44, 3), (92, 3), 5, "v42"), _ticks((41, 6), (41, 42), 5, "h54")
    ),
    "drape": _path(
        "M4 5H116V49C107 57 98 57 89 50C80 43 70 43 61 50C52 57 42 57 33 50C24 44 13 44 4 51Z"
        "M33 50V42M61 50V43M89 50V42"
    )
    + _rect(38, 13, 44, 19, 8),
    "kidney dish": _path(
        "M34 6C12 6 2.5 22 3 36C4 52 20 58 34 53C44 49 50 47 60 47"
        "C70 47 76 49 86 53C100 58 116 52 117 36C117.5 22 108 6 86 6Z"
        "M36 14C18 14 11 26 11 35C12 46 22 49 32 45C42 41 50 39 60 39"
        "C70 39 78 41 88 45C98 49 108 46 109 35C109 26 102 14 84 14Z"
    ),
    "bowl": _oval(60, 14, 56, 10) + _path("M4 14C6 38 26 52 44 54H76C94 52 114 38 116 14"),
    "syringe": _rect(36, 15, 62, 30, 3)
    + _path("M36 6V54M3 16V44M3 26H50M3 34H50M98 26H114L117 28V32L114 34H98")
    + _path(_ticks((62, 15), (92, 15), 5, "v8"))
    + _rect(50, 15, 6, 30, 1),
    "suture needle": _path(
        "M38 10C30 66 108 72 111 22M38 10C40 2 32 2 32 9C31 16 38 16 38 10M32 9C22 10 26 30 14 28C4 26 10 46 3 52"
    )
    + _solid("M109.7 22L112.8 4 112.3 22.5Z"),
}

# The words by which a line is recognised, most specific first; a line may hold a name's words in any order.
NAMES: dict[str, tuple[str, ...]] = {
    "mosquito forceps": ("mosquito forceps", "halsted forceps", "mosquito"),
    "artery forceps": ("artery forceps", "spencer wells", "kelly forceps", "crile forceps", "haemostat", "hemostat"),
    "allis forceps": ("allis tissue forceps", "allis forceps", "allis"),
    "babcock forceps": ("babcock tissue forceps", "babcock forceps", "babcock"),
    "swab holder": ("sponge forceps", "sponge holder", "swab forceps", "swab holder", "rampley"),
    "needle holder": ("needle forceps", "needle holder", "needle driver", "olsen hegar", "mayo hegar", "holder"),
    "needle holder, fine": ("castroviejo needle holder", "micro needle holder", "fine needle holder"),
    "wire twister": ("wire twister cutter", "wire twister", "wire cutter"),
    "towel clamp": ("towel forceps", "towel clamp", "towel clip", "drape clamp", "drape clip", "backhaus"),
    "reduction forceps": ("pointed reduction forceps", "reduction forceps", "reduction clamp"),
    "clamp": ("intestinal forceps", "bowel forceps", "doyen forceps", "clamp"),
    "self-retaining retractor": ("self retaining retractor", "self retaining", "weitlaner", "gelpi"),
    "mayo scissors": ("mayo scissors",),
    "metzenbaum scissors": ("metzenbaum scissors", "metzenbaum"),
    "stitch scissors": ("suture scissors", "stitch scissors", "stitch cutter"),
    "tenotomy scissors": ("tenotomy scissors", "westcott scissors", "corneal scissors", "tenotomy"),
    "extraction forceps": ("extraction forceps", "dental forceps", "tooth forceps"),
    "root tip forceps": ("root tip extraction forceps", "root tip forceps", "root extraction forceps", "root forceps"),
    "bone holding forceps": ("bone holding forceps", "bone holding clamp", "kern forceps"),
    "rongeur": ("rongeur forceps", "rongeur"),
    "pin cutter": ("pin cutter", "bolt cutter"),
    "dressing forceps": ("debakey tissue forceps", "dressing forceps", "debakey"),
    "tissue forceps": ("rat tooth forceps", "dissecting forceps", "tissue forceps", "thumb forceps", "adson forceps"),
    "corneal forceps": ("corneal forceps", "colibri"),
    "eyelid speculum": ("eyelid speculum", "barraquer speculum", "lid speculum", "eye speculum"),
    "scalpel handle": ("scalpel handle", "bard parker", "scalpel", "handle"),
    "scalpel blade": ("scalpel blade", "surgical blade"),
    "beaver handle": ("beaver handle",),
    "luxator": ("luxating elevator", "luxator"),
    "winged elevator": ("winged elevator", "winged luxator", "winged"),
    "periosteal elevator": ("periosteal elevator", "periosteal", "freer elevator", "molt elevator"),
    "sickle scaler": ("sickle scaler", "scaler"),
    "curette": ("periodontal curette", "curette", "curet"),
    "periodontal probe": ("periodontal probe", "dental probe", "perio probe"),
    "dental mirror": ("dental mirror", "mouth mirror", "mirror"),
    "bone curette": ("volkmann curette", "bone curette", "bone curet", "volkmann spoon"),
    "osteotome": ("osteotome", "bone chisel", "chisel"),
    "screwdriver": ("screwdriver", "screw driver"),
    "spay hook": ("ovariohysterectomy hook", "ovariectomy hook", "spay hook", "snook hook"),
    "hand-held retractor": ("hand held retractor", "handheld retractor", "langenbeck", "retractor"),
    "mallet": ("mallet", "bone hammer"),
    "suction tip": ("suction tip", "suction cannula", "frazier suction", "poole suction"),
    "drill guide": ("drill sleeve", "drill guide"),
    "plate": ("bone plate", "plate"),
    "cortical screw": ("cortical screw", "bone screw", "screw"),
    "intramedullary pin": ("intramedullary pin", "steinmann pin", "pin"),
    "kirschner wire": ("kirschner wire", "k wire", "kwire"),
    "drill bit": ("drill bit", "drill"),
    "bur": ("dental bur", "burr", "bur"),
    "gauze swabs": ("gauze swab", "gauze sponge", "gauze", "swab"),
    "drape": ("fenestrated drape", "drape"),
    "kidney dish": ("kidney dishes", "kidney dish", "kidney bowl", "kidney tray"),
    "bowl": ("bowl", "gallipot"),
    "syringe": ("syringe",),
    "suture needle": ("suture needle", "needle"),
    "forceps": ("forceps",),
    "scissors": ("scissors",),
    "elevator": ("elevator",),
    "probe": ("probe",),
}
_FALLBACKS = {"forceps", "scissors", "elevator", "holder", "retractor", "clamp", "handle", "probe"}


def _words(text: str) -> frozenset[str]:
    """The words of a line, without the plural's s: two luxators are drawn as one is."""
    return frozenset(word.removesuffix("s") for word in _WORD.findall(text.lower()))


_LOOK = sorted(
    (
        (name in _FALLBACKS, -len(name), _words(name), DRAWINGS[drawn])
        for drawn, names in NAMES.items()
        for name in names
    ),
    key=lambda look: look[:2],
)


def drawing_of(line: str) -> str | None:
    """The drawing for a count sheet's line: the longest name in it, a kind such as "forceps" last, or None."""
    words = _words(line)
    return next((drawing for _, _, name, drawing in _LOOK if name <= words), None)
