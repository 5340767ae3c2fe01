"""Other people's files that pages use: unchanged, with their licence, and under no more leave than they need."""

import hashlib
import re
from importlib import resources

import pytest
from starlette.testclient import TestClient

from service.api.app import make_app
from service.pages.routes import add_pages

READER = resources.files("service.pages").joinpath("static/vendor/zxing-wasm")


@pytest.fixture
def client(bridge):
    with TestClient(make_app(bridge.desk, add_pages)) as made:
        yield made


def test_the_reader_is_the_published_one_and_brings_its_licences():
    told = dict(re.findall(r"\| `(\S+)` \| `([0-9a-f]{64})` \|", READER.joinpath("README.md").read_text("utf-8")))
    assert set(told) == {"reader.js", "zxing_reader.wasm"}
    for name, digest in told.items():
        assert hashlib.sha256(READER.joinpath(name).read_bytes()).hexdigest() == digest
    assert "MIT License" in READER.joinpath("LICENSE").read_text("utf-8")
    assert "Apache License" in READER.joinpath("LICENSE.zxing-cpp").read_text("utf-8")


def test_webassembly_comes_as_such_and_only_the_cameras_worker_may_compile_it(client):
    wasm = client.get("/static/vendor/zxing-wasm/zxing_reader.wasm")
    assert (wasm.status_code, wasm.headers["content-type"]) == (200, "application/wasm")
    allowed = {
        path: "wasm-unsafe-eval" in client.get(path).headers["content-security-policy"]
        for path in ("/static/station/reading.js", "/static/station.js", "/stations/wash-1", "/", "/static/proof.html")
    }
    assert [path for path, yes in allowed.items() if yes] == ["/static/station/reading.js"]
