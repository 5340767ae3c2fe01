"""The printable recall list: one row a pack, to walk with."""

import io
from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from label_templates import fonts
from service.custody.facts import moment

CAUTION = "Foldmark advises; the practice's own procedures, local codes and the licensed practitioner decide."
NOT_OFF = "A turned strip or a passing verdict never takes a pack off this list."


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def recall_pdf(  # noqa: PLR0913  (what a list of packs is made of)
    recall: dict[str, Any], *, set_names: dict[str, str], patient_names: dict[str, str], practice: str, zone: ZoneInfo,
    say: Callable[[str], str] = str,
) -> bytes:  # fmt: skip
    """`recall` (as `foldmark recall --json`) as an A4 PDF: a row a pack with a box to tick, patients, cautions.

    `say` puts its words into another language.
    """
    for weight in fonts.FILES:
        fonts.for_pdf(weight)
    body = ParagraphStyle("body", fontName="foldmark-regular", fontSize=9.5, leading=13)
    small = ParagraphStyle("small", parent=body, fontSize=8, leading=10)
    code = ParagraphStyle("code", parent=body, fontName="foldmark-mono", fontSize=8.5, leading=11)
    title = ParagraphStyle("title", parent=body, fontName="foldmark-bold", fontSize=17, leading=22)
    head = ParagraphStyle("head", parent=body, fontName="foldmark-bold", fontSize=9)
    counts = recall["counts"]
    heading = say(f"Recall of load {recall['load']}")
    reach, why = say("Reach"), say(f"{recall['why']}.")
    loads = ", ".join(recall["loads"])
    listed = f"{counts['packs']} packs, {counts['patients']} patients, {counts['loads']} loads: {loads}."
    parts: list[Any] = [
        Paragraph(heading, title),
        Paragraph(f"{_escaped(practice)}. {reach} <b>{say(recall['reach'])}</b>: {why}", body),
        Paragraph(say(listed), body),
        Paragraph(f"{say(NOT_OFF)} {say(CAUTION)}", small),
        Spacer(1, 4 * mm),
    ]  # fmt: skip
    rows: list[list[Any]] = [
        [Paragraph(say(text), head) for text in ("", "Pack", "Set", "Where", "Patient", "Found, by whom")]
    ]
    for row in recall["packs"]:
        flags = f" ({', '.join(map(say, row['flags']))})" if row["flags"] else ""
        place = f"shelf {int(row['shelf'].split('-')[2])}" if row["shelf"] else ""
        opened = f"{moment(row['opened_at']).astimezone(zone):%-d %B %H:%M}" if row["opened_at"] else ""
        where = ", ".join(part for part in (f"{say(row['state'])}{flags}", say(place), say(opened)) if part)
        who = "<br/>".join(f"{_escaped(patient_names.get(p, ''))} {_escaped(p)}" for p in row["patients"])
        name = _escaped(set_names.get(row["set"], row["set"]))
        rows.append([_Box(), Paragraph(row["pack"], code), Paragraph(name, body),
                     Paragraph(where, body), Paragraph(who, body), ""])  # fmt: skip
    table = Table(rows, colWidths=[8 * mm, 36 * mm, 36 * mm, 44 * mm, 34 * mm, 28 * mm], repeatRows=1)
    table.setStyle(TableStyle([
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.HexColor("#b5afa0")),
        ("LINEBELOW", (0, 0), (-1, 0), 1, colors.HexColor("#1b2430")),
        ("LEFTPADDING", (0, 0), (-1, -1), 2),
    ]))  # fmt: skip
    parts.append(table)
    file = io.BytesIO()
    document = SimpleDocTemplate(file, pagesize=A4, leftMargin=12 * mm, rightMargin=12 * mm,
                                 topMargin=14 * mm, bottomMargin=16 * mm, invariant=1,
                                 title=heading)  # fmt: skip

    def foot(canvas: Canvas, _document: Any) -> None:
        canvas.setFont("foldmark-regular", 8)
        canvas.drawString(12 * mm, 8 * mm, say(f"Recall of load {recall['load']}, reach {recall['reach']}"))
        canvas.drawRightString(A4[0] - 12 * mm, 8 * mm, say(f"page {canvas.getPageNumber()}"))

    document.build(parts, onFirstPage=foot, onLaterPages=foot)
    return file.getvalue()


class _Box(Table):
    """A box to tick."""

    def __init__(self) -> None:
        super().__init__([[""]], colWidths=[4 * mm], rowHeights=[4 * mm])
        self.setStyle(TableStyle([("BOX", (0, 0), (-1, -1), 0.8, colors.black)]))
