"""Public photographs with known answers: where they are, and when two texts are the same."""

import csv
import json
import os
import re
import unicodedata
from collections import defaultdict
from pathlib import Path

import cv2

HERE = Path(__file__).resolve().parents[2]


def folder():
    """The photographs, at FOLDMARK_PHOTOS or beside the project; None where they are not."""
    path = Path(os.environ.get("FOLDMARK_PHOTOS") or HERE.parent / "shared" / "photos")
    return path if (path / "manifest.csv").exists() else None


def answers(path):
    """Set → picture → the texts in it."""
    found = defaultdict(lambda: defaultdict(list))
    with (path / "manifest.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            name, picture = row["set"], row["file"]
            found[name][picture]
            if row["symbology"] != "NONE":
                found[name][picture].append(json.loads('"{}"'.format(row["text"].replace('"', r"\""))))
    return found


def plain(text):
    """A text as it is compared: see the photographs' README."""
    text = re.sub(
        r"<U\+([0-9A-Fa-f]+)>", lambda m: chr(int(m[1], 16)), text.replace("<NUL>", "\0").replace("<GS>", "\x1d")
    )
    text = text.replace("¥", "\\").replace("\r\n", "\n")
    text = unicodedata.normalize("NFC", text)
    text = re.sub(r"[^\x00-\x7f]+", "?", text).rstrip(" \r\n\t")
    if "\x1d" in text or text[:1] in "([":
        text = re.sub(r"[\x1d()]", "", text)
    return text


def image(path):
    """The BGR picture; see-through pixels count as white."""
    found = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if found.ndim == 2:
        return cv2.cvtColor(found, cv2.COLOR_GRAY2BGR)
    if found.shape[2] == 4:
        share = found[..., 3:].astype(float) / 255
        found = (found[..., :3] * share + 255 * (1 - share)).astype("uint8")
    return found


def score(read, path, name, pictures):
    """How many codes of a set `read` reads, and how many texts it returns that are not there."""
    reads = misreads = 0
    for picture, texts in pictures.items():
        left = [plain(text) for text in texts]
        seen = {plain(text) for text in read(image(path / name / picture))}
        for text in seen:
            gs1 = re.sub(r"[\x1d()]", "", text)
            match = next((one for one in left if one in {text, gs1} or re.sub(r"[\x1d()]", "", one) == gs1), None)
            if match is None:
                misreads += 1
            else:
                reads += 1
                left.remove(match)
    return reads, misreads
