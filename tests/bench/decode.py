"""The decoder alone on clean 720p frames, and on public photographs, beside stock zxing-cpp and zbar in the same run."""

import cv2
import numpy as np
import pyzbar.pyzbar as zbar
import zxingcpp

from label_templates import raster, stocks
from label_templates.labels import Mark, PackLabel
from scanner.decode import read
from scanner.watch import MOST_S
from tests.bench.legible import HARD
from tests.bench.rows import row, seconds
from tests.scanner import corpus, made

A_FRAME_S = 1 / 30
FORMATS = (zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128)


def frame():
    """A pack label on a grey bench, 1280 × 720."""
    label = PackLabel(
        "P-K7-0042-0017-R", "Dental extraction A", Mark("blue", "two bars"), "B-K7-003-J", "2026-03-04T10:12"
    )
    picture = np.asarray(raster.picture(label, stocks.stock("roll-62x40")).convert("L"))
    return on_bench(picture)


def on_bench(picture=None):
    """A grey bench before the camera, 1280 × 720, with a picture (8-bit grey) lying on it."""
    scene = np.full((720, 1280, 3), 128, np.uint8)
    if picture is not None:
        picture = picture[:700, :1200]
        top, left = (720 - picture.shape[0]) // 2, (1280 - picture.shape[1]) // 2
        scene[top : top + picture.shape[0], left : left + picture.shape[1]] = picture[..., None]
    noise = np.random.default_rng(5).normal(0, 3, scene.shape).astype(np.int16)
    return cv2.add(scene, noise, dtype=cv2.CV_8U)


def hard():
    """Seconds that frames at the far end of what can be read take, each as `foldmark scan` reads it: 6 of each damage."""
    took = []
    for symbology, damages in HARD.items():
        for damage, (_, most) in damages.items():
            scenes = [on_bench(made.trial(symbology, damage, most, seed)[0]) for seed in range(6)]
            took += [seconds(lambda scene=scene: read(scene, MOST_S)) for scene in scenes]
    return took


def beside_stock(scene):
    """Milliseconds: ours as `foldmark scan` reads a frame, and stock zxing-cpp, in turns; medians of 60."""
    both = [(seconds(lambda: read(scene, MOST_S)), seconds(lambda: stock(scene))) for _ in range(60)]
    mine, theirs = np.median(np.array(both), axis=0) * 1000
    return float(mine), float(theirs)


def stock(image):
    return [r.text for r in zxingcpp.read_barcodes(image, formats=FORMATS, text_mode=zxingcpp.TextMode.Plain)]


def either(image):
    grey = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
    kinds = [zbar.ZBarSymbol.QRCODE, zbar.ZBarSymbol.CODE128]
    return {*stock(image), *(r.data.decode("utf-8", "replace") for r in zbar.decode(grey, symbols=kinds))}


def run():
    scene = frame()
    assert [s.text for s in read(scene)] == stock(scene) == ["P-K7-0042-0017-R"]
    cv2.setNumThreads(1)
    mine, theirs = beside_stock(scene)
    rows = [row("clean 720p frame, decoder alone", mine, theirs, "ms", "<= 1.1 x stock", mine <= 1.1 * theirs, 3)]
    mine, theirs = beside_stock(on_bench())
    rows.append(row("empty 720p frame, decoder alone", mine, theirs, "ms", "<= 1.3 x stock", mine <= 1.3 * theirs, 3))
    took = np.array(hard()) * 1000
    late = (MOST_S + A_FRAME_S) * 1000
    usual, most = float(np.median(took)), float(np.percentile(took, 99))
    rows += [
        row("hard 720p frame, median", usual, MOST_S * 1000, "ms", "<= the budget and a frame", usual <= late, 1),
        row(
            "hard 720p frame, 99th percentile", most, MOST_S * 1000, "ms", "<= the budget and a frame", most <= late, 1
        ),
    ]
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
