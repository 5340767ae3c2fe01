"""Labels to PDF, and with each symbol read back; one label to a picture; ten thousand in memory.

The anchors are the plain loop over qrcode and reportlab that a user would write, and the same with segno: the same QR
codes with the code under each, no layout.
"""

import io
import subprocess
import sys
import tempfile
from pathlib import Path

import qrcode
import segno
from reportlab.pdfgen.canvas import Canvas

from label_templates import codes, raster, sheet, stocks
from label_templates.labels import Mark, PackLabel
from tests.bench.rows import row, seconds

COUNT = 600
SINGLES = 60


def labels(serial, count=COUNT):
    owner = codes.set_code("K7", serial).text
    return [PackLabel(codes.pack_code(owner, turn).text, "Dental extraction A", Mark("blue", "two bars"), "B-K7-003-J", "2026-03-04T10:12")
            for turn in range(1, min(count, 9999) + 1)]  # fmt: skip


def by_qrcode(text):
    code = qrcode.QRCode(border=0, error_correction=qrcode.constants.ERROR_CORRECT_Q)
    code.add_data(text, optimize=0)
    code.make()
    return code.modules


def by_segno(text):
    return segno.make_qr(text, error="q", boost_error=False).matrix


def bare(serial, encode):
    canvas = Canvas(io.BytesIO())
    for label in labels(serial):
        for y, line in enumerate(encode(label.code)):
            for x, black in enumerate(line):
                if black:
                    canvas.rect(x, y, 1, 1, stroke=0, fill=1)
        canvas.drawString(0, 30, label.code)
        canvas.showPage()
    canvas.save()


def one_picture(path):
    """Milliseconds for a label to become a PNG on the disk, read back, warm; every label another one."""
    roll = stocks.stock("roll-62x40")
    several = labels(4, SINGLES + 1)
    raster.write_png(several[0], roll, path)
    return 1000 * seconds(lambda: [raster.write_png(label, roll, path) for label in several[1:]]) / SINGLES


MEASURE = """
import resource
from label_templates import sheet, stocks
from tests.bench.labels import labels
several = labels(5, 9999) + labels(6, 1)
sheet.pdf(several, stocks.stock("a4-24"), proved=False)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def run():
    a4 = stocks.stock("a4-24")
    sheet.pdf(labels(9)[:20], a4)
    qrcodes, segnos = (COUNT / seconds(lambda encode=encode: bare(1, encode)) for encode in (by_qrcode, by_segno))
    plain = COUNT / seconds(lambda: sheet.pdf(labels(2), a4, proved=False))
    proved = COUNT / seconds(lambda: sheet.pdf(labels(3), a4))
    with tempfile.TemporaryDirectory() as folder:
        single = one_picture(Path(folder) / "label.png")
    memory = float(subprocess.run([sys.executable, "-c", MEASURE], capture_output=True, text=True, check=True).stdout)
    return [row("labels to PDF (anchor: qrcode and reportlab)", plain, qrcodes, "labels/s", ">= 500/s", plain >= 500),
            row("labels to PDF (anchor: segno and reportlab)", plain, segnos, "labels/s", ">= 500/s", plain >= 500),
            row("labels to PDF, each symbol decoded back", proved, qrcodes, "labels/s", ">= 150/s", proved >= 150),
            row("one label to a PNG, read back, on the disk", single, None, "ms", "<= 15 ms", single <= 15, 1),
            row("10,000 labels in one PDF, resident", memory, None, "MB", "<= 300 MB", memory <= 300, 0)]  # fmt: skip
