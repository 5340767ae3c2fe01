"""The sender is killed at every step, for real; the next one goes on, and no label comes out twice."""

import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from label_templates.printer.queue import Queue
from label_templates.printer.work import How, work
from tests.label_templates.printer.everywhere import until

ROOT = Path(__file__).resolve().parents[3]
WORK = """
import sys
from pathlib import Path
from label_templates.printer.queue import Queue
from label_templates.printer.work import How, work
work(Queue(Path(sys.argv[1])), sys.argv[2], How(print))
"""
STEPS = [
    ("Get-Jobs", True),
    ("Create-Job", True),
    ("Create-Job", False),
    ("Send-Document", True),
    ("Send-Document", False),
    ("Get-Job-Attributes", False),
]
"""Operations, and whether the kill comes before the printer has done it."""


def sending(path, uri):
    return subprocess.Popen([sys.executable, "-c", WORK, path, uri], env=os.environ | {"PYTHONPATH": str(ROOT)},
                            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)  # fmt: skip


def kill(process):
    process.kill()
    process.wait(10)
    process.stderr.close()


@pytest.mark.parametrize(("operation", "before"), STEPS, ids=str)
def test_a_sender_killed_at_any_step_is_followed_by_one_that_prints_the_label_once(played, sender, operation, before):
    job = sender.add(played.uri)
    reached, open_ = played.gate(operation, before)
    process = sending(sender.path, played.uri)
    assert reached.wait(30), process.stderr.read()
    kill(process)
    open_.set()
    sender.go(played.uri)
    assert sender.state(job) == "printed", sender.said
    assert len(played.arrived) == 1


@pytest.mark.parametrize("operation", ["Send-Document", "Get-Job-Attributes"])
def test_a_sender_killed_and_a_printer_that_forgot_leave_an_unsure_label_never_sent_again(played, sender, operation):
    job = sender.add(played.uri)
    reached, open_ = played.gate(operation, before=False)
    process = sending(sender.path, played.uri)
    assert reached.wait(30), process.stderr.read()
    kill(process)
    open_.set()
    played.forget()
    said = sender.go(played.uri)
    assert sender.state(job) == "unsure" and "may have been printed: look at the printer" in said
    assert sender.go(played.uri) == "" and len(played.arrived) == 1


def test_a_sender_killed_while_the_document_is_half_sent_is_followed_by_one_that_sends_it_whole(played, sender):
    job = sender.add(played.uri)
    reached, open_ = played.gate("Send-Document", before=True)
    played.cut["Send-Document"] = "before"
    process = sending(sender.path, played.uri)
    assert reached.wait(30), process.stderr.read()
    kill(process)
    open_.set()
    until(lambda: not played.cut, "the end of the connection")
    sender.go(played.uri)
    assert sender.state(job) == "printed" and len(played.arrived) == 1


def test_an_empty_job_that_timed_out_at_the_printer_is_not_taken_for_the_label(played, sender):
    job = sender.add(played.uri)
    reached, open_ = played.gate("Create-Job", before=False)
    process = sending(sender.path, played.uri)
    assert reached.wait(30), process.stderr.read()
    kill(process)
    open_.set()
    played.jobs[1][1:] = [8, ["aborted-by-system"]]
    sender.go(played.uri)
    assert sender.state(job) == "printed" and len(played.arrived) == 1


def test_a_sender_killed_while_a_real_printer_prints_is_followed_by_one_that_waits_for_it(everywhere, sender, tmp_path):
    gate = tmp_path / "gate"
    printer = everywhere(command=f"until [ -e {gate} ]; do sleep 0.05; done")
    job = sender.add(printer.uri)
    process = sending(sender.path, printer.uri)
    until(lambda: sender.state(job) == "printing", "the printing", printer)
    kill(process)
    gate.touch()
    sender.go(printer.uri)
    assert sender.state(job) == "printed" and len(printer.arrived) == 1


def test_while_one_process_works_a_printer_another_only_adds_and_the_first_prints_it(played, sender):
    first = sender.add(played.uri)
    reached, open_ = played.gate("Send-Document", before=True)
    said = []
    working = threading.Thread(target=in_its_own, args=(sender.path, played.uri, said))
    working.start()
    assert reached.wait(30)
    second = sender.add(played.uri)
    assert "another foldmark works the printer" in sender.go(played.uri)
    assert sender.state(second) == "waiting"
    open_.set()
    working.join()
    assert [sender.state(first), sender.state(second)] == ["printed", "printed"]
    assert len(played.arrived) == 2


def in_its_own(path, uri, said):
    with Queue(path) as queue:
        work(queue, uri, How(said.append))


def test_many_that_add_and_work_at_once_print_every_label_once(played, sender):
    def add_and_go():
        with Queue(sender.path) as queue:
            for _ in range(3):
                queue.add(sender.order(played.uri))
                work(queue, played.uri, How(lambda _: None))

    threads = [threading.Thread(target=add_and_go) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [job.state for job in sender.queue.jobs()] == ["printed"] * 9
    assert len(played.arrived) == 9
