"""A pack's page: what is known of it, and its custody as a line."""

from label_templates.symbols import qr
from service.custody.chain import custody_facts, expired, gaps, use_by
from service.custody.facts import Fact
from service.custody.records import InstrumentSet, Load, Pack
from service.custody.rules.overrides import unconfirmed
from service.pages import drawing
from service.pages.custody import custody_line
from service.pages.looks import Looks
from service.pages.views import (
    PackPage,
)


def pack_page(looks: Looks, pack: Pack) -> PackPage:
    owner = looks.state.set(pack.set)
    facts = custody_facts(looks.state, pack)
    load = looks.state.load(pack.load)
    missing = gaps(facts)
    waiting = unconfirmed(facts)
    flags = looks.state.flags(pack)
    out = not pack.opened_at and expired(pack, load, looks.now, looks.zone)
    lacks = "a gap in the record" if len(missing) == 1 else f"{len(missing)} gaps in the record"
    tags = (*flags, *(["out of date"] if out else []), *(["SHORT"] if pack.short else []),
            *_override_tags(pack, waiting), *([lacks] if missing else []))  # fmt: skip
    return PackPage(
        looks.set_name(pack.set), pack.code, pack.set, tuple(_pack_rows(looks, pack, owner, load)), tags,
        drawing.qr_svg(qr(pack.code)), custody_line(looks, facts, [gap["step"] for gap in missing]),
        tuple(f"{gap['why']}, before {gap['before'].replace('_', ' ')}" for gap in missing), looks.facts(facts),
        bool(waiting),
    )  # fmt: skip


def _override_tags(pack: Pack, waiting: list[Fact]) -> list[str]:
    if not pack.overridden:
        return []
    said = "opened by override" if pack.opened_at else "overridden"
    return [f"{said}, unconfirmed" if waiting else said]


def _pack_rows(looks: Looks, pack: Pack, owner: InstrumentSet | None, load: Load | None) -> list[tuple[str, str]]:
    state = looks.state.where(pack)
    if pack.opened_at:
        said = looks.said(pack.opened_at)
        state = f"opened for {looks.patient(pack.patient)}, {said}" if pack.patient else f"opened, and not used, {said}"
    rows = [("State", state), ("Turn", str(pack.turn))]
    if owner and owner.mark_colour:
        rows.append(("Mark", f"{owner.mark_colour}, {owner.mark_pattern}"))
    if pack.packed_at:
        rows.append(("Packed", f"{looks.said(pack.packed_at)} by {looks.who(pack.packed_by)}; gauze {pack.gauze}"))
    if pack.short:
        rows.append(("SHORT", "; ".join(pack.short)))
    if load:
        rows.append(("Load", f"{load.code[7:11]}, {load.programme or 'not started'}"))
        last = use_by(pack, load, looks.zone)
        if load.ended_at:
            words = f"{last:%-d %B %Y}; not at all if wet, torn or dropped" if last else "no date: look at the wrap"
            rows.append(("Use by", words))
    strip = {None: "not yet seen", "turned": "turned", "pale": "PALE"}[pack.strip]
    rows.append(("Strip inside", strip))
    if pack.compromised:
        rows.append(("Kept out of use", ", ".join(pack.compromised)))
    rows.append(("Place", looks.place(pack)))
    return rows
