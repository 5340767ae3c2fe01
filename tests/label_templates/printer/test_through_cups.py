"""Labels through a CUPS queue: found, printed, and told of when its printer is away."""

import re
import threading

from label_templates.printer.find import Found, in_cups
from label_templates.printer.work import cancel
from tests.label_templates.printer.reading import pages, read


def test_a_label_goes_through_a_cups_queue_to_its_printer_once_and_whole(everywhere, cups, sender):
    printer = everywhere(command="exit 0")
    queue = cups(printer.uri)
    assert in_cups(queue.server) == [Found("labels", queue.uri, "CUPS")]
    job = sender.add(queue.uri)
    said = sender.go(queue.uri, patience_s=60)
    assert sender.state(job) == "printed", said
    (arrived,) = printer.arrived
    assert arrived.read_bytes() == sender.drawn.pdf
    (page,) = pages(arrived, 203.2)
    assert read(page) == list(job.codes)


def test_a_queue_whose_printer_is_off_says_so_keeps_the_label_and_is_followed_on(everywhere, cups, sender):
    printer = everywhere(command="exit 0")
    queue = cups(printer.uri)
    printer.kill()
    job = sender.add(queue.uri)
    told = threading.Event()

    def turn_on():
        told.wait(60)
        printer.start()

    turning = threading.Thread(target=turn_on)
    turning.start()
    said = sender.go(queue.uri, patience_s=60, on_line=lambda line: told.set() if "unavailable" in line else None)
    turning.join()
    assert "its queue says, The printer may not exist or is unavailable" in said
    assert sender.state(job) == "printed" and len(printer.arrived) == 1


def test_a_job_is_cancelled_in_a_cups_queue(everywhere, cups, sender):
    printer = everywhere(command="exit 0")
    queue = cups(printer.uri)
    printer.kill()
    job = sender.add(queue.uri)
    sender.go(queue.uri, patience_s=0)
    assert "the printer was told" in cancel(sender.queue, sender.queue.job(job.id))
    assert re.search("cancelled (by somebody at a computer|at the printer)", sender.go(queue.uri))
    assert sender.state(job) == "cancelled"
    assert printer.arrived == []
