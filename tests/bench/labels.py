"""Labels to PDF, and with each symbol read back; the anchor draws the same QR codes with qrcode and reportlab, no layout."""

import io

import qrcode
from reportlab.pdfgen.canvas import Canvas

from label_templates import codes, sheet, stocks
from label_templates.labels import Mark, PackLabel
from tests.bench.rows import row, seconds

COUNT = 600


def labels(serial):
    owner = codes.set_code("K7", serial).text
    return [PackLabel(codes.pack_code(owner, turn).text, "Dental extraction A", Mark("blue", "two bars"), "B-K7-003-J", "2026-03-04T10:12")
            for turn in range(1, COUNT + 1)]  # fmt: skip


def bare(serial):
    canvas = Canvas(io.BytesIO())
    for label in labels(serial):
        code = qrcode.QRCode(border=0, error_correction=qrcode.constants.ERROR_CORRECT_Q)
        code.add_data(label.code, optimize=0)
        code.make()
        for y, line in enumerate(code.modules):
            for x, black in enumerate(line):
                if black:
                    canvas.rect(x, y, 1, 1, stroke=0, fill=1)
        canvas.drawString(0, 30, label.code)
        canvas.showPage()
    canvas.save()


def run():
    a4 = stocks.stock("a4-24")
    sheet.pdf(labels(9)[:20], a4)
    anchor = COUNT / seconds(lambda: bare(1))
    plain = COUNT / seconds(lambda: sheet.pdf(labels(2), a4, proved=False))
    proved = COUNT / seconds(lambda: sheet.pdf(labels(3), a4))
    return [row("labels to PDF", plain, anchor, "labels/s", ">= 500/s", plain >= 500),
            row("labels to PDF, each symbol decoded back", proved, anchor, "labels/s", ">= 150/s", proved >= 150)]  # fmt: skip
