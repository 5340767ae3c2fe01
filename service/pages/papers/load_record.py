"""The load record: what was in a load, what its machine did, why it was released. An ordinary load fits one page."""

from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Paragraph, Spacer

from service.custody.facts import Fact
from service.custody.records import Load, Pack
from service.custody.rules.release import standing
from service.pages.load import log_of
from service.pages.looks import Looks
from service.pages.papers.cycle_sheet import cycle_parts
from service.pages.papers.paper import (
    CAUTION,
    DECISION,
    FINE_CODE,
    HEAD,
    PART,
    SMALL,
    TITLE,
    WIDE,
    Say,
    cells,
    escaped,
    printed,
    ruled,
)
from service.words.name import Name

TAPE = (
    "Turned tape shows only that a pack went through a cycle; strips speak when a pack is opened; readings and "
    "biological indicators speak for the load."
)
NOT_JUDGED = "No cycle log is kept with this load."


def load_record(looks: Looks, load: Load, say: Say = str) -> bytes:
    """The record of a steam load as an A4 PDF, in the words of `say`."""
    number, practice = load.code[7:11], looks.state.practice
    machine = looks.state.machine(load.machine)
    heading = say(f"Load record {number}")
    history = looks.reader.history("load", load.code)
    packs = [pack for code in load.packs if (pack := looks.state.pack(code))]
    parts: list[Any] = [
        Paragraph(f"{escaped(heading)} &nbsp; <font name='foldmark-mono' size='10'>{load.code}</font>", TITLE),
        Paragraph(f"{escaped(practice.name)}. {escaped(say(CAUTION))}", SMALL),
        Spacer(1, 2 * mm),
        _decision(looks, load, say),
        _facts_of(looks, load, history, Name(machine.name if machine else load.machine), say),
        Paragraph(escaped(say("For and against its release")), PART),
        _table(((say(side), say(words)) for side, words in standing(looks.state, load)), (22 * mm, WIDE - 22 * mm)),
        Paragraph(escaped(say("What the machine did")), PART),
        *_cycle(looks, load, say),
        Paragraph(escaped(say("What was in it")), PART),
        _contents(looks, packs, say),
        Spacer(1, 2 * mm),
        *cells([say(TAPE)], SMALL),
    ]
    if load.log_sha256:
        parts += cells([f"{say('The log')}: SHA-256 {load.log_sha256}"], SMALL)
    last = f"{say('The last fact of this record')}: {history[-1].seq}, {history[-1].hash}" if history else ""
    parts += cells([last], SMALL)
    return printed(parts, title=heading, foot=f"{heading} · {load.code}", say=say, top_mm=10)


def _decision(looks: Looks, load: Load, say: Say) -> Paragraph:
    """The one line a reader looks for first."""
    if load.rejected:
        words = f"{say('REJECTED')}: {escaped(load.rejected)}"
    elif load.held:
        words = f"{say('ON HOLD')}: {escaped(say(load.held))}"
    elif load.released_at:
        alone = f"; {say('by the person who packed it, alone: for a second look')}" if load.alone else ""
        who = escaped(looks.who(load.released_by))
        words = f"{say('RELEASED')}: {escaped(say(looks.said(load.released_at)))}, {who}{escaped(alone)}"
    else:
        words = say("NOT RELEASED")
    return Paragraph(words, DECISION)


def _facts_of(looks: Looks, load: Load, history: list[Fact], machine: str, say: Say) -> Any:
    """Two columns: what ran and by whom; what ended, and the indicators."""

    def by(kind: str) -> str:
        done = next((fact for fact in history if fact.kind == kind), None)
        return f"{say(looks.said(done.at))}, {looks.who(done.by)}" if done else say("not in the record")

    lot = load.biological_lot
    biological = f"{say('lot')} {lot}: {say(load.biological or 'not yet read')}" if lot else say("none in this load")
    control = f"{say('lot')} {load.control_lot}" if load.control_lot else say("none")
    judged = say("not judged")
    if load.verdict and load.basis:
        judged = f"{say(load.verdict)}, {say(load.basis)}"
    left = (("Machine", machine), ("Programme", f"{load.programme or ''}, {say(load.load_kind or '')}"),
            ("Started", by("cycle_started")), ("Ended", f"{by('cycle_ended')}, {say(load.display or '')}"))  # fmt: skip
    right = (("Cycle judged", judged), ("Biological", biological), ("Control vial", control),
             ("Judged", by("cycle_judged")))  # fmt: skip
    rows = [
        [*cells([say(one)], HEAD), *cells([told], SMALL), *cells([say(two)], HEAD), *cells([more], SMALL)]
        for (one, told), (two, more) in zip(left, right, strict=True)
    ]
    return ruled(rows, [24 * mm, WIDE / 2 - 24 * mm, 30 * mm, WIDE / 2 - 30 * mm], head=False, tight=True)


def _cycle(looks: Looks, load: Load, say: Say) -> list[Any]:
    kept = log_of(looks, load)
    if kept is None:
        return cells([say(NOT_JUDGED)], SMALL)
    return cycle_parts(kept, say, tall_mm=48)


def _contents(looks: Looks, packs: list[Pack], say: Say) -> Any:
    head = cells([say(text) for text in ("Pack", "Set", "Packed by", "Tape", "Strip inside", "State")], HEAD)
    rows = [
        [
            Paragraph(pack.code, FINE_CODE),
            *cells(
                [
                    looks.set_name(pack.set), looks.who(pack.packed_by), say(pack.tape or "not yet seen"),
                    say(pack.strip or "unseen"),
                    ", ".join(map(say, (looks.state.where(pack), *pack.compromised, *looks.state.flags(pack)))),
                ],
                SMALL,
            ),
        ]
        for pack in packs
    ]  # fmt: skip
    if not rows:
        rows = [cells([say("Nothing."), "", "", "", "", ""], SMALL)]
    return ruled([head, *rows], [33 * mm, 44 * mm, 28 * mm, 26 * mm, 27 * mm, WIDE - 158 * mm], tight=True)


def _table(rows: Any, widths: tuple[float, float]) -> Any:
    found = [cells(row, SMALL) for row in rows]
    return ruled(found or [cells(["", ""], SMALL)], widths, head=False, tight=True)
