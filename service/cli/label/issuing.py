"""Codes from the ledger for labels: issued first, then drawn; printed again as copies; nothing by luck."""

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import click

from label_templates import codes
from label_templates.codes import CodeError
from label_templates.labels import (
    BadgeLabel,
    InstrumentLabel,
    Label,
    LoadCard,
    PatientCard,
    SetTag,
    ShelfLabel,
)
from service.cli.label.drawing import WRONG, Output, marked
from service.cli.open import fail, open_ledger, settings_of
from service.custody.chain import number_in
from service.custody.rules.issuing import MOST_AT_ONCE, code_in
from service.ledger.ids import uuid7
from service.ledger.store import Reader
from service.stations.desk import Desk
from service.stations.printed import mark_of, pack_label

Make = Callable[[Reader, str], Label]


@contextmanager
def office(ctx: click.Context, code: str | None = None) -> Iterator[Desk]:
    """The ledger's office, for as long as a command takes."""
    ledger, practice = open_ledger(settings_of(ctx), code)
    desk = Desk(ledger, practice).start()
    try:
        yield desk
    except WRONG as error:
        raise fail(str(error)) from error
    finally:
        desk.close()


def ask(desk: Desk, does: str, **body: Any) -> dict[str, Any]:
    """Have the office do something, and its answer. Raises fail with what it refuses."""
    act = uuid7(int(desk.clock().timestamp() * 1000), os.urandom(10))
    answer = desk.act(act, does, by=None, body=body).result(60)
    if answer["verdict"] != "go":
        raise fail(" ".join(answer[part] for part in ("headline", "detail", "next") if answer[part]))
    return answer


def named(told: Sequence[str], *letters: str) -> list[str]:
    """The codes that were named, one by one or as FIRST..LAST. Raises fail for what is none of this kind."""
    found: list[str] = []
    try:
        for text in told:
            first, dots, last = text.partition("..")
            ends = [codes.parse_as(end, *letters).text for end in (first, last) if end]
            found += _between(*ends) if dots and len(ends) == 2 else ends
    except CodeError as error:
        raise fail(f"{error}") from error
    return found


def _between(first: str, last: str) -> list[str]:
    series = first.rsplit("-", 2)[0]
    if first[0] in "SP" or not last.startswith(f"{series}-"):
        raise fail(f"{first}..{last} is not a row of codes: name them one by one")
    numbers = range(number_in(series, first), number_in(series, last) + 1)
    if not 1 <= len(numbers) <= MOST_AT_ONCE:
        raise fail(f"{first}..{last} is a row of {len(numbers)} codes: name 1 to {MOST_AT_ONCE} at once")
    return [code_in(series, number) for number in numbers]


def reprinted(desk: Desk, told: Sequence[str], make: Make, output: Output) -> list[Label]:
    """The labels of codes that are in the ledger, each marked as the copy it is, once the record says so.

    What cannot be drawn is found out before.
    """
    wanted = [code for code in told for _ in range(output.copies)]
    output.check(len(wanted))
    with desk.ledger.reading() as reader:
        labels = [make(reader, code) for code in wanted]
    for label in labels:
        output.fits(label, len(labels))
    answer = ask(desk, "print label", codes=wanted)
    with desk.ledger.reading() as reader:
        facts = [fact for one in answer["facts"] if (fact := reader.fact(one))]
    return [marked(label, fact.data["copy"]) for label, fact in zip(labels, facts, strict=True)]


def first_printed(desk: Desk, issued: Sequence[str], make: Make, output: Output) -> list[Label]:
    """The labels of codes just issued by number, which counts as their first print; further copies come after them."""
    with desk.ledger.reading() as reader:
        labels = [make(reader, code) for code in issued]
    more = output.copies - 1
    return labels + (reprinted(desk, issued, make, replace(output, copies=more)) if more else [])


@contextmanager
def told_if_unprinted(issued: Sequence[str], again: str) -> Iterator[None]:
    """What goes wrong once codes are issued is told with the way to print them after all."""
    try:
        yield
    except click.ClickException as error:
        row = issued[0] if len(issued) == 1 else f"{issued[0]}..{issued[-1]}"
        names = " ".join(issued) if issued[0][0] == "S" else row
        why = f"{error.message}. {row} is in the ledger all the same: print it with  {again} {names}"
        raise fail(why, error.exit_code) from error


def _machine(reader: Reader, load: str) -> str:
    machine = reader.state.machine(load[:6])
    return machine.name if machine else load[:6]


def set_tag(reader: Reader, code: str) -> Label:
    owner = reader.state.set(code)
    if owner is None:
        raise fail(f"no set is registered under {code} in this ledger: check the code")
    return SetTag(owner.code, owner.name, mark_of(owner))


def label_of_pack(reader: Reader, code: str) -> Label:
    pack = reader.state.pack(code)
    owner = reader.state.set(pack.set) if pack else None
    if pack is None or owner is None:
        raise fail(f"no pack was packed under {code} in this ledger: check the code")
    return pack_label(owner, pack, reader.state.practice.zone)


MAKE: dict[str, Make] = {
    "patients": lambda reader, code: PatientCard(code, reader.name(code) or ""),
    "badges": lambda reader, code: BadgeLabel(code, reader.name(code) or ""),
    "shelves": lambda reader, code: ShelfLabel(code, reader.name(code) or ""),
    "instruments": lambda reader, code: InstrumentLabel(code, reader.name(code) or ""),
    "loads": lambda reader, code: LoadCard(code, _machine(reader, code)),
}
