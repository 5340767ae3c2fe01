"""The printable recall list: one row a pack, to walk with."""

from typing import Any
from zoneinfo import ZoneInfo

from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.platypus import Paragraph, Spacer, Table, TableStyle

from service.custody.facts import moment
from service.pages.papers.paper import BODY, CAUTION, CODE, HEAD, SMALL, TITLE, Say, escaped, printed, ruled

NOT_OFF = "A turned strip or a passing verdict never takes a pack off this list."


def recall_pdf(  # noqa: PLR0913  (what a list of packs is made of)
    recall: dict[str, Any], *, set_names: dict[str, str], patient_names: dict[str, str], practice: str, zone: ZoneInfo,
    say: Say = str,
) -> bytes:  # fmt: skip
    """`recall` (as `foldmark recall --json`) as an A4 PDF: a row a pack with a box to tick, patients, cautions.

    `say` puts its words into another language.
    """
    counts = recall["counts"]
    heading = say(f"Recall of load {recall['load']}")
    reach, why = say("Reach"), say(f"{recall['why']}.")
    loads = ", ".join(recall["loads"])
    listed = f"{counts['packs']} packs, {counts['patients']} patients, {counts['loads']} loads: {loads}."
    parts: list[Any] = [
        Paragraph(heading, TITLE),
        Paragraph(f"{escaped(practice)}. {reach} <b>{say(recall['reach'])}</b>: {why}", BODY),
        Paragraph(say(listed), BODY),
        Paragraph(f"{say(NOT_OFF)} {say(CAUTION)}", SMALL),
        Spacer(1, 4 * mm),
    ]  # fmt: skip
    rows: list[list[Any]] = [
        [Paragraph(say(text), HEAD) for text in ("", "Pack", "Set", "Where", "Patient", "Found, by whom")]
    ]
    for row in recall["packs"]:
        flags = f" ({', '.join(map(say, row['flags']))})" if row["flags"] else ""
        place = f"shelf {int(row['shelf'].split('-')[2])}" if row["shelf"] else ""
        opened = f"{moment(row['opened_at']).astimezone(zone):%-d %B %H:%M}" if row["opened_at"] else ""
        where = ", ".join(part for part in (f"{say(row['state'])}{flags}", say(place), say(opened)) if part)
        who = "<br/>".join(f"{escaped(patient_names.get(p, ''))} {escaped(p)}" for p in row["patients"])
        name = escaped(set_names.get(row["set"], row["set"]))
        rows.append([_Box(), Paragraph(row["pack"], CODE), Paragraph(name, BODY),
                     Paragraph(where, BODY), Paragraph(who, BODY), ""])  # fmt: skip
    parts.append(ruled(rows, [8 * mm, 36 * mm, 36 * mm, 44 * mm, 34 * mm, 28 * mm]))
    foot = say(f"Recall of load {recall['load']}, reach {recall['reach']}")
    return printed(parts, title=heading, foot=foot, say=say)


class _Box(Table):
    """A box to tick."""

    def __init__(self) -> None:
        super().__init__([[""]], colWidths=[4 * mm], rowHeights=[4 * mm])
        self.setStyle(TableStyle([("BOX", (0, 0), (-1, -1), 0.8, colors.black)]))
