"""Browsers at a running Tarn Bridge, before open doors and before closed ones."""

import pytest

from service.api.app import make_app
from service.pages.routes import add_pages
from tests.browser import launched
from tests.entry import Entry
from tests.practice import TarnBridge
from tests.served import running

PATIENCE_MS = 120_000
"""A busy machine is slow, and no test here is about how fast it is."""


@pytest.fixture(scope="module")
def chromium():
    """One browser for a file of tests: to start it takes longer than most of them."""
    with launched() as started:
        yield started


@pytest.fixture
def browser(chromium):
    """The file's browser, with nothing left open or kept by the test before."""
    yield chromium
    for context in chromium.contexts:
        context.close()


@pytest.fixture
def page(tmp_path, browser):
    """A page of a running Tarn Bridge in the system's Chromium, with the bridge and a way to end the service."""
    bridge = TarnBridge(tmp_path)
    with running(make_app(bridge.desk, add_pages)) as service:
        shown = browser.new_page(viewport={"width": 1280, "height": 800}, base_url=service.url)
        shown.set_default_timeout(PATIENCE_MS)
        shown.errors = []
        shown.on("pageerror", lambda error: shown.errors.append(str(error)))
        yield shown, bridge, service.end
        shown.context.close()
        assert shown.errors == []


@pytest.fixture
def closed(tmp_path, browser):
    """Two browsers at a running Tarn Bridge behind closed doors: the manager's, and a tablet's; with the entry."""
    bridge = TarnBridge(tmp_path)
    entry = Entry(bridge.desk)
    with running(make_app(bridge.desk, add_pages, None, entry.doors)) as service:
        pages, errors = [], []
        for width, height in ((1280, 800), (800, 1280)):
            context = browser.new_context(viewport={"width": width, "height": height}, base_url=service.url)
            context.set_default_timeout(PATIENCE_MS)
            pages.append(context.new_page())
            pages[-1].on("pageerror", lambda error: errors.append(str(error)))
            pages[-1].on("console", lambda said: errors.append(said.text) if "Content Security" in said.text else None)
        yield pages, bridge, entry
        for shown in pages:
            shown.context.close()
        assert errors == []
