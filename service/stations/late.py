"""A late stop: news about a pack that a theatre was told it may open, or has opened already."""

from typing import Any

from service.custody.facts import Fact
from service.custody.records import Pack
from service.ledger.batch import Batch, Part
from service.stations.hand import Hand

LATE_KINDS = frozenset({"held", "rejected", "recalled", "compromised"})


def late_stops(batch: Batch, part: Part, noted: list[Fact], speaking: str) -> dict[str, dict[str, Any]]:
    """Stations in theatre that hold a go which these facts withdraw, or a case with a pack they speak of."""
    stations: dict[str, dict[str, Any]] = {}
    grave = [fact for fact in noted if fact.kind in LATE_KINDS]
    for station, text in batch.hands().items() if grave else ():
        if not station.startswith("theatre") or station == speaking:
            continue
        hand = Hand.from_json(text)
        hit = _struck(part, hand, grave)
        if hit is None:
            continue
        fact, pack, opened = hit
        owner = part.state.set(pack.set)
        name = owner.name if owner else pack.set
        news = f"{fact.kind.capitalize()}: {fact.data.get('why') or 'look at the recall'}."
        body: dict[str, Any] = {
            "verdict": "stop",
            "headline": f"{name}: stop." if opened else f"Do not open {name}.",
            "detail": f"{'It was opened here. ' if opened else ''}{news}",
            "next": "Tell the surgeon now, then show YES." if opened else "Put it aside, then show YES.",
            "subject": pack.code,
            "facts": [],
            "rule": f"late_{fact.kind}",
            "at": fact.at,
            "late": True,
        }
        hand.asked = [code for code in hand.asked if code != pack.code]
        hand.late = hand.answer = body
        batch.keep_hand(station, hand.as_json())
        stations[station] = body
    return stations


def _struck(part: Part, hand: Hand, grave: list[Fact]) -> tuple[Fact, Pack, bool] | None:
    case = part.state.case(hand.case)
    opened = case.packs if case and not case.closed_at else ()
    for fact in grave:
        load = part.state.load(fact.load) if fact.pack is None else None
        spoken = load.packs if load else (fact.pack,)
        for code in (*hand.asked, *opened):
            pack = part.state.pack(code)
            if pack and code in spoken:
                return fact, pack, code in opened
    return None
