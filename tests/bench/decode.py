"""The decoder alone on clean 720p frames, and on public photographs, beside stock zxing-cpp and zbar in the same run."""

import cv2
import numpy as np
import pyzbar.pyzbar as zbar
import zxingcpp

from label_templates import raster, stocks
from label_templates.labels import Mark, PackLabel
from scanner.decode import read
from tests.bench.rows import row, seconds
from tests.scanner import corpus

FORMATS = (zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128)


def frame():
    """A pack label on a grey bench, 1280 × 720."""
    label = PackLabel(
        "P-K7-0042-0017-R", "Dental extraction A", Mark("blue", "two bars"), "B-K7-003-J", "2026-03-04T10:12"
    )
    picture = np.asarray(raster.picture(label, stocks.stock("roll-62x40")).convert("L"))
    scene = np.full((720, 1280, 3), 128, np.uint8)
    scene[180 : 180 + picture.shape[0], 380 : 380 + picture.shape[1]] = picture[..., None]
    noise = np.random.default_rng(5).normal(0, 3, scene.shape).astype(np.int16)
    return cv2.add(scene, noise, dtype=cv2.CV_8U)


def stock(image):
    return [r.text for r in zxingcpp.read_barcodes(image, formats=FORMATS, text_mode=zxingcpp.TextMode.Plain)]


def either(image):
    grey = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
    kinds = [zbar.ZBarSymbol.QRCODE, zbar.ZBarSymbol.CODE128]
    return {*stock(image), *(r.data.decode("utf-8", "replace") for r in zbar.decode(grey, symbols=kinds))}


def run():
    scene = frame()
    assert [s.text for s in read(scene)] == stock(scene) == ["P-K7-0042-0017-R"]
    ours, anchor = [], []
    for _ in range(60):
        ours.append(seconds(lambda: read(scene)))
        anchor.append(seconds(lambda: stock(scene)))
    mine, theirs = float(np.median(ours)) * 1000, float(np.median(anchor)) * 1000
    rows = [row("clean 720p frame, decoder alone", mine, theirs, "ms", "<= 1.1 x stock", mine <= 1.1 * theirs, 3)]
    path = corpus.folder()
    if path is None:
        return rows
    for name, pictures in corpus.answers(path).items():
        codes = sum(len(texts) for texts in pictures.values())
        reads, misreads = corpus.score(lambda image: [s.text for s in read(image)], path, name, pictures)
        union, _ = corpus.score(either, path, name, pictures)
        met = misreads == 0 and (reads > union if union < codes else reads == union)
        rows.append(
            row(
                f"photographs {name} ({codes} codes, {misreads} misread)",
                reads,
                union,
                "reads",
                "above either stock reader",
                met,
                0,
            )
        )
    return rows
