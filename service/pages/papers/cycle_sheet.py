"""A judged cycle on paper: its chart, its criteria with their sources, and what they cannot tell."""

from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Paragraph, Spacer

from service.pages.load import HELD, criteria
from service.pages.papers.cycle_drawing import cycle_drawing
from service.pages.papers.paper import BODY, CAUTION, HEAD, PART, SMALL, TITLE, WIDE, Say, cells, printed, ruled
from service.steam.judge import Judged, Judgement


def cycle_parts(judged: Judged, say: Say, *, tall_mm: float) -> list[Any]:
    """The chart, the table of what was judged, and in words what was not."""
    head = cells([say(text) for text in ("Criterion", "Value", "Limit", "", "Source")], HEAD)
    told = criteria(judged.found)
    rows = [cells([say(text) for text in row], SMALL) for row in told if row[3] != HELD[None]]
    left = [f"{say(name)} ({say(value)})" for name, value, _, held, _ in told if held == HELD[None]]
    unjudged = f"{say('Not judged')}: {', '.join(left)}. " if left else ""
    return [
        cycle_drawing(judged, say, wide=WIDE, tall=tall_mm * mm),
        ruled([head, *rows], [26 * mm, 44 * mm, 40 * mm, 18 * mm, WIDE - 128 * mm], tight=True),
        *cells([unjudged + " ".join(say(note) for note in (f0_words(judged.found), *judged.found.notes))], SMALL),
    ]


def f0_words(found: Judgement) -> str:
    return f"F0 {found.f0_min:.2f} min, by the rule of sums within {found.f0_error_min:.2f} min."


def cycle_pdf(judged: Judged, title: str, sha256: str, say: Say = str) -> bytes:
    """`foldmark cycle --pdf`: one A4 page for a log that belongs to no ledger. `sha256` is the hash of its bytes."""
    found = judged.found
    verdict = f"{say('Verdict')}: {say(found.verdict)}"
    parts: list[Any] = [
        Paragraph(say("A steam cycle, judged"), TITLE),
        *cells([title, f"{verdict}, {say('programme')} {found.programme}"], BODY),
        Spacer(1, 3 * mm),
        Paragraph(say("What the machine did"), PART),
        *cycle_parts(judged, say, tall_mm=80),
        Spacer(1, 3 * mm),
        *cells([say(CAUTION), f"{say('The log')}: SHA-256 {sha256}"], SMALL),
    ]
    return printed(parts, title=title, foot=title, say=say)
