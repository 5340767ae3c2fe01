"""Printers for tests: real ones where they are installed, and one that is played."""

import pytest

from label_templates.printer.drawing import document, paper
from label_templates.printer.queue import Order, Queue
from label_templates.printer.work import How, work
from tests.label_templates.printer.everywhere import Everywhere, program
from tests.label_templates.printer.one_pack import CODE, PACK, ROLL
from tests.label_templates.printer.played import played as playing
from tests.label_templates.printer.queues import PROGRAM, Cups


@pytest.fixture
def everywhere(tmp_path):
    """Make a real IPP server; all of them end with the test."""
    if not program():
        pytest.skip("ippeveprinter or dbus-daemon is not installed: nothing is printed to a real IPP server")
    made = []

    def make(**more):
        made.append(Everywhere(tmp_path, **more))
        return made[-1]

    yield make
    for printer in made:
        printer.end()


@pytest.fixture
def cups(tmp_path):
    """Make a CUPS with a queue to the printer at an address."""
    if not PROGRAM:
        pytest.skip("cupsd is not installed: nothing is printed through a CUPS queue")
    made = []

    def make(device):
        made.append(Cups(tmp_path, device))
        return made[-1]

    yield make
    for server in made:
        server.end()


@pytest.fixture
def played():
    with playing() as printer:
        yield printer


@pytest.fixture(scope="session")
def drawn():
    """One pack's label, ready to print."""
    return document([PACK], ROLL)


class Sender:
    """A queue, and what was said of its jobs."""

    def __init__(self, path, drawn):
        self.path, self.queue, self.drawn, self.said, self.last = path, Queue(path), drawn, [], []

    def add(self, uri, document=None, stock=ROLL, copies=1, codes=(CODE,)):
        return self.queue.add(self.order(uri, document, stock, copies, codes))

    def order(self, uri, document=None, stock=ROLL, copies=1, codes=(CODE,)):
        return Order(document or self.drawn, paper(stock), uri, "Dental extraction A", codes, copies)

    def go(self, uri, patience_s=10.0, on_line=lambda _: None, **more):
        """Work the printer's jobs; what was said, as one text. Each line is handed to `on_line` when it is said."""
        said = []

        def tell(line):
            said.append(line)
            on_line(line)

        self.last = work(self.queue, uri, How(tell, patience_s=patience_s, **more))
        self.said += said
        return "\n".join(said)

    def state(self, job):
        return self.queue.job(job.id).state


@pytest.fixture
def sender(tmp_path, drawn, monkeypatch):
    monkeypatch.setattr("label_templates.printer.work._LATEST", 0.05)
    made = Sender(tmp_path / "queue.db", drawn)
    yield made
    made.queue.close()
