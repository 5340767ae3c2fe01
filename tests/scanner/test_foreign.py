"""Foreign codes: each is named, counted, and never posted."""

import json

import cv2
import numpy as np
import pytest
import qrcode

from label_templates.codes import card_code, pack_code, set_code
from scanner.decode import Sighting
from scanner.foreign import Foreign, looks_like, sort, sort_typed
from scanner.frames import Frame
from tests.command import foldmark
from tests.scanner.shown import NOON, PACK, Given, Heard, picture

OTHER_SITE = pack_code(set_code("X9", 42).text, 17).text


def seen(text):
    return Sighting(text, "QR", np.zeros((4, 2)), "zxing")


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("P-K7-0042-0017-X", "check"),
        ("https://example.org/P-K7-0042-0017-R", "address"),
        ("WIFI:S:practice;T:WPA;P:secret;;", "address"),
        ("BEGIN:VCARD\nFN:Somebody\nEND:VCARD", "address"),
        ("P-K7-0042-0017-R\n", "control"),
        ("\x1b[31mred", "control"),
        ("9" * 4000, "long"),
        ("A" * 4000, "long"),
        # GS1 General Specifications, figure 7.9: 629104150021 has the check digit 3; from memory.
        ("0106291041500213", "gs1"),
        ("010629104150021317261231", "gs1"),
        ("]C10106291041500213", "gs1"),
        ("(01)06291041500213", "gs1"),
        ("10ABC\x1d21XYZ", "gs1"),
        ("0106291041500214", "number"),
        ("6291041500213", "number"),
        ("hello", "text"),
        ("P-K7-0042-0017", "text"),
        ("\u202eP-K7", "text"),
    ],
)
def test_a_text_is_named_by_what_it_looks_like(text, kind):
    found = sort(seen(text), "K7")
    assert isinstance(found, Foreign)
    assert found.kind == kind
    assert found.words.isprintable()
    assert kind == "check" or text not in found.words


def test_a_code_of_another_site_is_named_with_both_sites():
    assert sort(seen(OTHER_SITE), "K7") == Foreign("site", f"{OTHER_SITE} is a pack of site X9, and this is K7")
    assert sort(seen(OTHER_SITE)) == OTHER_SITE
    assert sort(seen(OTHER_SITE), "X9") == OTHER_SITE
    assert sort(seen(card_code("WET").text), "K7") == card_code("WET").text


def test_a_wristband_of_the_sites_pattern_is_ours():
    assert sort(seen("PAT-12345"), "K7", r"PAT-\d{5}") == "PAT-12345"


def test_caps_lock_on_a_hand_scanner_does_no_harm():
    assert sort_typed(PACK.code.lower(), "K7") == PACK.code
    assert sort_typed("pat-12345", "K7", r"pat-\d{5}") == "pat-12345"
    assert sort_typed("p-k7-0042-0017-x", "K7").kind == "check"
    assert sort_typed(OTHER_SITE.lower(), "K7").kind == "site"
    assert sort_typed("hello", "K7") == looks_like("hello")


def test_a_hand_scanner_that_says_what_kind_of_code_it_read_is_understood():
    assert [sort_typed(f"{before}{PACK.code}", "K7") for before in ("]C0", "]Q1")] == [PACK.code] * 2
    assert sort_typed("]C10106291041500213").kind == "gs1"


def shown(text, frames=4):
    code = qrcode.QRCode(border=4, box_size=5)
    code.add_data(text)
    image = np.asarray(code.make_image().convert("L"))
    return [Frame(image, n, n / 15, NOON) for n in range(frames)]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        (OTHER_SITE, "site"), ("P-K7-0042-0017-X", "check"), ("9" * 4000, "long"), ("K-DONE-3\x07", "control"),
        ("https://example.org/", "address"), ("010629104150021310A\x1d21B", "gs1"),
    ],
)  # fmt: skip
def test_a_foreign_code_before_the_camera_is_told_once_counted_and_never_posted(tmp_path, service, text, kind):
    ours = [Frame(picture(PACK), n, 5 + n / 15, NOON) for n in range(3)]
    heard = Heard(Given(*shown(text), *ours), service.url, tmp_path / "o.db", site="K7")
    heard.watch.run()
    assert [one.kind for one in heard.foreign] == [kind]
    assert heard.watch.counts.foreign == {kind: 1}
    assert [body["code"] for body in service.came] == [PACK.code]


def test_the_command_names_and_counts_what_is_not_ours(tmp_path, service):
    folder = tmp_path / "pictures"
    folder.mkdir()
    for number, text in enumerate((OTHER_SITE, "https://example.org/", "https://example.com/", PACK.code)):
        cv2.imwrite(str(folder / f"{number}.png"), shown(text)[0].image)
    words = ("scan", "--station", "loading-1", "--source", folder, "--url", service.url, "--site", "K7", "--mute")
    done = foldmark(*words, cwd=tmp_path)
    assert [line.split()[1] for line in done.stdout.splitlines()] == ["NOT", "NOT", "NOT", "GO"]
    assert done.stderr.endswith("not ours: 2 address, 1 site.\n")
    rows = [json.loads(line) for line in foldmark(*words, "--json", cwd=tmp_path).stdout.splitlines()]
    assert [row.get("looks_like") for row in rows] == ["site", "address", "address", None, None]
    assert rows[-1]["foreign"] == {"site": 1, "address": 2}
    assert {body["code"] for body in service.came} == {PACK.code}
