"""The labels' page: every design with this practice's own data, on a stock of one's choice, to look at and to print."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from label_templates import codes, designs, layout, raster, sheet, stocks
from label_templates.fonts import GlyphError
from label_templates.labels import BENCH_CARDS, BadgeLabel, Label, LabelError, LoadCard, SetTag, ShelfLabel
from label_templates.layout import LayoutError
from label_templates.samples import SAMPLES
from label_templates.stocks import Stock, StockError
from label_templates.symbols import SymbolError
from service.custody.records import Load, Pack
from service.pages.label_care import CARES, Care
from service.pages.looks import Looks
from service.stations.printed import load_slip, mark_of, pack_label
from service.stations.store import shelf_name
from service.words.name import Name

USUAL = "roll-62x40"
_SAYS = {
    "set": "The tag of a set",
    "pack": "The label of a pack",
    "slip": "The load slip of a pack",
    "load": "The card of a load",
    "badge": "A badge",
    "shelf": "A shelf",
    "patient": "A patient's card",
    "instrument": "An instrument",
    "card": "A bench card",
    "checkpoint": "A signed checkpoint",
    "outage": "A form for a day without the service",
}
_WHOLE_PAGE = ("outage",)
FAULTS = (LabelError, LayoutError, GlyphError, SymbolError, StockError)
"""What may be wrong with a label, or with what was asked of one."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A design as it is shown."""

    kind: str
    says: str
    code: str
    own: bool
    """Whether it shows data of this practice; otherwise an invented one's."""
    fits: bool
    """Whether this stock can bear it: `foldmark label design` says why not."""
    wide_mm: float
    high_mm: float


@dataclass(frozen=True, slots=True)
class LabelsPage:
    template = "labels.html"
    title: str
    stock: str
    stocks: tuple[tuple[str, str], ...]
    shown: tuple[Shown, ...]
    cares: tuple[Care, ...] = CARES


def labels_page(looks: Looks, wanted: str) -> LabelsPage:
    """Every design on the stock of that name. Raises StockError when there is none."""
    stock = _stock(wanted)
    shown = []
    for name, says in _SAYS.items():
        label, own = own_label(looks, name)
        there = _stock_for(name, stock)
        shown.append(Shown(name, says, label.code, own, _fits(label, there), *there.label_mm))
    choices = tuple((one, _said(stocks.stock(one))) for one in stocks.names())
    return LabelsPage("Labels", stock.name, choices, tuple(shown))


def _said(stock: Stock) -> str:
    size = Name(f"{stock.label_mm[0]:g} × {stock.label_mm[1]:g}")
    paper = "US Letter" if stock.name.startswith("letter") else "A4"
    match stock.kind:
        case "page":
            return f"A whole page, {paper}"
        case "sheet":
            return f"{paper}, {stock.each_page} labels of {size} mm"
        case "tag":
            return f"Fold-over tag, {size} mm"
        case "two-part":
            return f"Label in two parts, {size} mm"
    return f"Roll, {size} mm"


def _stock_for(name: str, stock: Stock) -> Stock:
    """The stock asked for; a form that needs a whole page has one."""
    return stocks.stock("a4-page") if name in _WHOLE_PAGE and stock.kind != "page" else stock


def _fits(label: Label, stock: Stock) -> bool:
    try:
        layout.lay_out(label, stock)
    except FAULTS:
        return False
    return True


def own_label(looks: Looks, kind: str) -> tuple[Label, bool]:
    """The label of a kind with the practice's latest data, and whether there is any; else an invented one."""
    found = _OWN[kind](looks) if kind in _OWN else None
    if found is None:
        return SAMPLES[kind], kind in _ALWAYS
    copy = _copies(looks, found.code)
    return replace(found, copy=copy) if copy > 1 else found, True


_ALWAYS = frozenset({"card"})
"""Kinds that are the same everywhere."""


def _copies(looks: Looks, code: str) -> int:
    """Which copy of a label was printed last."""
    if code[0] == "P":
        pack = looks.state.pack(code)
        return pack.prints if pack else 0
    label = looks.state.label(code)
    return label.prints if label else 0


def _last_pack(looks: Looks) -> Pack | None:
    packs = (looks.state.pack(owner.pack) for owner in looks.state.sets())
    return max((pack for pack in packs if pack and pack.packed_at), key=lambda pack: pack.packed_at or "", default=None)


def _last_load(looks: Looks) -> Load | None:
    return next(iter(looks.reader.loads(1, "L")), None)


def _set(looks: Looks) -> Label | None:
    owner = next((one for one in reversed(looks.state.sets()) if not one.retired), None)
    return SetTag(owner.code, owner.name, mark_of(owner)) if owner else None


def _pack(looks: Looks) -> Label | None:
    pack = _last_pack(looks)
    owner = looks.state.set(pack.set) if pack else None
    return pack_label(owner, pack, looks.zone) if pack and owner else None


def _load(looks: Looks) -> Label | None:
    load = _last_load(looks)
    machine = looks.state.machine(load.machine) if load else None
    return LoadCard(load.code, machine.name if machine else load.machine) if load else None


def _slip(looks: Looks) -> Label | None:
    load = _last_load(looks)
    pack = looks.state.pack(load.packs[0]) if load and load.packs else None
    if load is None or pack is None or load.started_at is None:
        return None
    return load_slip(load, looks.state.machine(load.machine), pack, looks.zone)


def _badge(looks: Looks) -> Label | None:
    person = next((one for one in looks.state.people() if not one.left_at), None)
    return BadgeLabel(person.code, looks.reader.name(person.code) or "") if person else None


def _shelf(looks: Looks) -> Label | None:
    pack = next((one for owner in looks.state.sets() if (one := looks.state.pack(owner.pack)) and one.shelf), None)
    return ShelfLabel(pack.shelf, shelf_name(pack.shelf)) if pack and pack.shelf and codes.is_code(pack.shelf) else None


_OWN: dict[str, Callable[[Looks], Label | None]] = {
    "set": _set, "pack": _pack, "load": _load, "slip": _slip, "badge": _badge, "shelf": _shelf,
    "card": lambda _: BENCH_CARDS[0],
}  # fmt: skip


def picture(looks: Looks, kind: str, stock_name: str) -> bytes:
    """A kind's label as a PNG, dot for dot. Raises FAULTS."""
    label, stock = _asked(looks, kind, stock_name)
    return raster.png(raster.picture(label, stock), stock)


def paper(looks: Looks, kind: str, stock_name: str) -> bytes:
    """The same as a PDF to print, its symbols read back."""
    label, stock = _asked(looks, kind, stock_name)
    return sheet.pdf([label], stock)


def _asked(looks: Looks, kind: str, stock_name: str) -> tuple[Label, Stock]:
    label, _ = own_label(looks, designs.known(kind).kind)
    return label, _stock_for(kind, _stock(stock_name))


def _stock(name: str) -> Stock:
    """A stock of ours: files of one's own are for the command line, never for an address."""
    return stocks.known(name or USUAL)
