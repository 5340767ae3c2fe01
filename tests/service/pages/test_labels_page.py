"""The labels' page: every design with the practice's own data, its picture dot for dot, and a PDF to print."""

import io

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from PIL import Image
from starlette.testclient import TestClient

from label_templates import designs, raster, stocks
from service.api.app import make_app
from service.pages.routes import add_pages
from service.stations.printed import pack_label
from tests.practice import TarnBridge

FORMATS = (zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.Code128)


@pytest.fixture
def site(tmp_path):
    bridge = TarnBridge(tmp_path)
    with TestClient(make_app(bridge.desk, add_pages)) as client:
        yield bridge, client


def codes_in(picture):
    return {result.text for result in zxingcpp.read_barcodes(np.asarray(picture.convert("L")), formats=FORMATS)}


def test_it_shows_every_design_with_what_the_practice_printed_last(site):
    bridge, client = site
    empty = client.get("/labels").text
    assert empty.count("An invented practice") >= 8
    pack, load = bridge.ready()
    page = client.get("/labels").text
    assert pack in page and load in page
    for kind in designs.names():
        answer = client.get(f"/labels/{kind}.png", params={"stock": "a4-8"})
        assert answer.headers["content-type"] == "image/png", kind
        assert codes_in(Image.open(io.BytesIO(answer.content))), kind
    with bridge.desk.ledger.reading() as reader:
        record = reader.state.pack(pack)
        owner = reader.state.set(record.set)
    shown = Image.open(io.BytesIO(client.get("/labels/pack.png", params={"stock": "roll-76x51"}).content))
    drawn = raster.picture(pack_label(owner, record, bridge.desk.practice.zone), stocks.stock("roll-76x51"))
    assert np.array_equal(np.asarray(shown.convert("1")), np.asarray(drawn))


def test_the_pdf_to_print_carries_the_same_code(site):
    bridge, client = site
    pack, _ = bridge.ready()
    answer = client.get("/labels/pack.pdf", params={"stock": "a4-21"})
    assert answer.headers["content-type"] == "application/pdf"
    page = pypdfium2.PdfDocument(answer.content)[0].render(scale=300 / 72).to_pil()
    assert codes_in(page) == {pack}


@pytest.mark.parametrize(
    "address",
    ["/labels?stock=nowhere", "/labels/nothing.png", "/labels/pack.pdf?stock=/etc/passwd.toml", "/labels/pack.png?stock=a4-page",
     "/labels/../pack.png?stock=x.toml"],
)  # fmt: skip
def test_what_is_not_there_is_said_in_words_and_no_file_is_opened(site, address):
    _, client = site
    answer = client.get(address)
    assert answer.status_code in {404, 422}
    assert "Traceback" not in answer.text


def test_a_stock_too_small_for_a_design_says_so_in_its_place(site):
    _, client = site
    assert "This stock has no room for it." in client.get("/labels", params={"stock": "roll-50x25"}).text
